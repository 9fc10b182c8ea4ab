from __future__ import annotations

import csv
import re
import tomllib
from pathlib import Path

import pytest

import reclaim.reference
from reclaim.reference import (
    assumption_defaults,
    machine_shares,
    material_names,
    material_properties,
    materials,
    products,
    read_rows,
    sources,
)

FOLDER = Path(reclaim.reference.__file__).parent
FILES = sorted(path.name for path in FOLDER.glob("*.csv"))
ASSUMPTION_SECTIONS = {
    "excavation",
    "waste",
    "plant",
    "schedule",
    "airspace",
    "money",
    "options",
    "carbon",
    "hazards",
    "investigations",
}
STATUSES = {"published", "common practice", "from memory", "judgement"}


def numbers(name):
    return [row for row in read_rows(name) if {"low", "mode", "high"} <= row.keys()]


@pytest.mark.parametrize("name", FILES)
def test_every_row_has_every_column(name) -> None:
    with (FOLDER / name).open(encoding="utf-8", newline="") as file:
        header, *rows = csv.reader(file)
    assert rows
    for row in rows:
        assert len(row) == len(header), row


@pytest.mark.parametrize("name", [name for name in FILES if "status" in read_rows(name)[0]])
def test_source_and_status(name) -> None:
    for row in read_rows(name):
        assert row["status"] in STATUSES, row
        assert row["source"] in sources(), row
        if row["source"] == "judgement":
            assert row["status"] == "judgement", row


@pytest.mark.parametrize("name", [name for name in FILES if numbers(name)])
def test_ranges_are_in_order(name) -> None:
    for row in numbers(name):
        assert float(row["low"]) <= float(row["mode"]) <= float(row["high"]), row


def test_every_source_is_used() -> None:
    used = {row["source"] for name in FILES for row in read_rows(name) if "source" in row}
    assert set(sources()) - used == set()


def test_every_material_has_every_property() -> None:
    properties = {name for _, name in material_properties()}
    for material in material_names():
        for name in properties:
            assert (material, name) in material_properties()


def test_fractions_stay_fractions() -> None:
    for (material, name), quantity in material_properties().items():
        if quantity.unit.startswith("fraction"):
            assert quantity.low >= 0, (material, name)
            assert quantity.high <= 1, (material, name)


def test_defaults_lie_inside_their_bounds() -> None:
    for default in assumption_defaults().values():
        assert default.minimum <= default.quantity.low, default.key
        assert default.quantity.high <= default.maximum, default.key
        sections = (
            "excavation|waste|plant|schedule|airspace|money|options|carbon|hazards|investigations"
        )
        assert re.fullmatch(rf"({sections})\.[a-z0-9_]+", default.key)


def test_machine_shares_name_known_things_and_leave_a_rest() -> None:
    outlets = {row["kind"]: row["outlets"].split() for row in read_rows("machines.csv")}
    for kind, outlet, material in machine_shares():
        assert outlet in outlets[kind][1:], (kind, outlet)
        assert material in material_names()
    for kind, names in outlets.items():
        for material in material_names():
            total = sum(
                machine_shares()[kind, outlet, material].mode
                for outlet in names[1:]
                if (kind, outlet, material) in machine_shares()
            )
            assert total <= 1, (kind, material)


def test_shipped_lines_name_known_things() -> None:
    kinds = {row["kind"] for row in read_rows("machines.csv")}
    for path in (FOLDER / "lines").glob("*.toml"):
        line = tomllib.loads(path.read_text(encoding="utf-8"))
        names = {machine["name"] for machine in line["machine"]}
        for machine in line["machine"]:
            assert machine["kind"] in kinds
            assert set(machine["outlets"].values()) <= names | set(products())


def test_decay_classes_exist() -> None:
    classes = {row["decay_class"] for row in read_rows("decay_rates.csv")}
    assert {material.decay_class for material in materials()} - {""} == classes


def test_no_money_default_is_richer_than_evidence_allows() -> None:
    # Derived from published yields and prices: metal income of mixed old waste is about 3 EUR per
    # tonne dug (2.2 % iron at 82 % and 90 EUR/t, 0.5 % non-iron at 45 % and 600 EUR/t); defaults
    # that give more than 8 need evidence.
    iron = assumption_defaults()["money.price_ferrous_per_t"].quantity.high
    other = assumption_defaults()["money.price_nonferrous_per_t"].quantity.high
    assert 0.022 * 0.82 * iron + 0.005 * 0.45 * other < 8
