"""Readers of the data files in this folder: CSV in, frozen records out, nothing changed."""

from __future__ import annotations

import csv
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Literal

Status = Literal["published", "common practice", "from memory", "judgement"]


@dataclass(frozen=True, slots=True)
class Source:
    """A source by its key: the full reference in words."""

    key: str
    reference: str


@dataclass(frozen=True, slots=True)
class Quantity:
    """A number as the data files hold it.

    Attributes
    ----------
    low, mode, high
        Range and best value; all the same where the number is fixed.
    unit, source, status, note
        `source` is a key of ``sources.csv``.
    """

    low: float
    mode: float
    high: float
    unit: str
    source: str
    status: Status
    note: str


@dataclass(frozen=True, slots=True)
class Material:
    """One of the materials waste is sorted into.

    Attributes
    ----------
    name, label
        For files and for readers.
    group
        ``combustible``, ``metal``, ``mineral``, ``fines`` or ``hazardous``.
    decay_class
        A class of ``decay_rates.csv``, empty for what does not rot.
    """

    name: str
    label: str
    group: str
    decay_class: str


@dataclass(frozen=True, slots=True)
class Default:
    """The default of one assumption of the site file.

    Attributes
    ----------
    key, label
        Section and key (``waste.moisture``), and words for readers.
    quantity
        The number.
    minimum, maximum
        Bounds on what a user may give and on what a draw may take.
    """

    key: str
    label: str
    quantity: Quantity
    minimum: float
    maximum: float


def data_path(name: str) -> Path:
    """Return the path of a data file in this folder."""
    return Path(str(files("reclaim.reference").joinpath(name)))


@cache
def read_rows(name: str) -> tuple[dict[str, str], ...]:
    """Read a CSV file of this folder; one dict of text per row, keyed by column."""
    with data_path(name).open(encoding="utf-8", newline="") as file:
        return tuple(csv.DictReader(file))


def quantity_of(row: dict[str, str]) -> Quantity:
    """Turn the columns low, mode, high, unit, source, status and note of a row into a quantity."""
    return Quantity(
        low=float(row["low"]),
        mode=float(row["mode"]),
        high=float(row["high"]),
        unit=row["unit"],
        source=row["source"],
        status=row["status"],  # type: ignore[arg-type]  # a test holds the column to the list
        note=row["note"],
    )


@cache
def sources() -> dict[str, Source]:
    """Return every source by key."""
    return {row["key"]: Source(row["key"], row["reference"]) for row in read_rows("sources.csv")}


@cache
def materials() -> tuple[Material, ...]:
    """Return the materials in reference order."""
    return tuple(
        Material(row["name"], row["label"], row["group"], row["decay_class"])
        for row in read_rows("materials.csv")
    )


@cache
def material_names() -> tuple[str, ...]:
    """Return the material names in reference order."""
    return tuple(material.name for material in materials())


@cache
def heavy_metals() -> dict[str, str]:
    """Return the heavy metals that are followed beside mercury, name to symbol; arsenic is one."""
    return {row["name"]: row["symbol"] for row in read_rows("heavy_metals.csv")}


@cache
def material_properties() -> dict[tuple[str, str], Quantity]:
    """Return properties by (material, property), e.g. ``("glass", "ash")``."""
    return {
        (row["material"], row["property"]): quantity_of(row)
        for row in read_rows("material_properties.csv")
    }


@cache
def machine_shares() -> dict[tuple[str, str, str], Quantity]:
    """Return transfer shares by (machine kind, outlet, material) [-]."""
    return {
        (row["kind"], row["outlet"], row["material"]): quantity_of(row)
        for row in read_rows("machine_shares.csv")
    }


@cache
def machine_settings() -> dict[tuple[str, str], Default]:
    """Return what can be set on a machine by (kind, setting), e.g. ``("trommel", "cut_mm")``."""
    return {
        (row["kind"], row["setting"]): Default(
            f"{row['kind']}.{row['setting']}",
            f"{row['setting']} of {row['kind']}",
            quantity_of(row),
            float(row["minimum"]),
            float(row["maximum"]),
        )
        for row in read_rows("machine_settings.csv")
    }


@cache
def products() -> dict[str, str]:
    """Return the products a line can make, name to label, in the order they are shown."""
    return {row["name"]: row["label"] for row in read_rows("products.csv")}


@cache
def assumption_defaults() -> dict[str, Default]:
    """Return the default of every assumption by its key."""
    return {
        row["key"]: Default(
            row["key"], row["label"], quantity_of(row), float(row["minimum"]), float(row["maximum"])
        )
        for row in read_rows("assumptions.csv")
    }


@cache
def constant(key: str) -> float:
    """Return a number of ``constants.csv`` by its key."""
    return float(next(row for row in read_rows("constants.csv") if row["key"] == key)["value"])
