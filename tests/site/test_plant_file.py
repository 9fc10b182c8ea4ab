"""The plant file: the default line is right, and a wrong one is told all that is wrong."""

from __future__ import annotations

import pytest

from reclaim.reference import data_path, products, read_rows
from reclaim.site.plantfile import DEFAULT_LINE

PLANT = data_path(DEFAULT_LINE).read_text(encoding="utf-8")


@pytest.fixture
def plant(site):
    site.edit("[uncertainty]", '[plant]\nfile = "plant.toml"\n\n[uncertainty]')

    def write(old="", new=""):
        assert old in PLANT
        text = PLANT.replace(old, new, 1)
        (site.folder / "plant.toml").write_text(text, encoding="utf-8")
        return site

    return write


def test_default_line(site):
    line = site.read().line
    assert line.source_file == "default line"
    assert line.feed in {machine.name for machine in line.machines}
    assert set(line.products) == set(products())


def test_a_file_like_the_default_line_is_the_default_line(plant):
    read = plant().read()
    assert read.line.source_file == "plant.toml"
    assert [machine.name for machine in read.line.machines] == [
        line.split('"')[1] for line in PLANT.split("[[machine]]", 1)[1].splitlines()
        if line.startswith("name")
    ]  # fmt: skip
    assert "plant.toml" in {item.path for item in read.inputs}


def test_outlets_are_those_of_the_kind(site):
    outlets = {row["kind"]: set(row["outlets"].split()) for row in read_rows("machines.csv")}
    for machine in site.read().line.machines:
        assert set(machine.outlets) == outlets[machine.kind]


def test_shares_and_power_may_be_replaced(plant):
    line = (
        plant(
            'outlets = { glass = "glass", rest = "aggregate" }',
            'outlets = { glass = "glass", rest = "aggregate" }\n'
            "power_kwh_t = {low = 1, mode = 2, high = 4}\n"
            "shares.glass.glass = {low = 0.5, mode = 0.6, high = 0.7}\n"
            "shares.glass.stone_ceramic = 0.01",
        )
        .read()
        .line
    )
    machine = line.machines[-1]
    assert machine.shares["glass", "glass"].central == 0.6
    assert machine.shares["glass", "stone_ceramic"].kind == "fixed"
    assert machine.settings["power_kwh_t"].numbers == (1, 2, 4)
    assert machine.settings["power_kwh_t"].given
    assert not machine.settings["throughput_t_h"].given


def test_settings_of_the_kind_may_be_replaced(plant):
    old = 'outlets = { undersize = "soil", oversize = "picking_belt" }'
    line = (
        plant(old, f"{old}\ncut_mm = 25\nsharpness = {{low = 2, mode = 3, high = 5}}").read().line
    )
    screen = next(machine for machine in line.machines if machine.name == "trommel")
    assert screen.settings["cut_mm"].central == 25
    assert screen.settings["sharpness"].numbers == (2, 3, 5)


def test_a_shipped_line_by_name(site):
    site.edit("[uncertainty]", '[plant]\nline = "separate_only"\n\n[uncertainty]')
    line = site.read().line
    assert line.name == "separate_only"
    assert line.source_file == "line separate_only"


@pytest.mark.parametrize(
    ("plant_section", "parts"),
    [
        ('line = "seperate_only"', ("[plant] line", "Did you mean 'separate_only'?")),
        ('line = "separate_only"\nfile = "plant.toml"', ("[plant] line", "Both")),
    ],
)
def test_wrong_line_name(site, plant_section, parts):
    (site.folder / "plant.toml").write_text(PLANT, encoding="utf-8")
    site.edit("[uncertainty]", f"[plant]\n{plant_section}\n\n[uncertainty]")
    (message,) = site.errors()
    assert all(part in message for part in parts), message


@pytest.mark.parametrize(
    ("old", "new", "parts"),
    [
        ('kind = "trommel"', 'kind = "tromel"', ("'trommel' kind", "Did you mean 'trommel'?")),
        ('light = "fuel"', 'light = "feul"', ("'light'", "'feul'", "Did you mean 'fuel'?")),
        ("light =", "ligth =", ("'ligth'", "Did you mean 'light'?")),
        ("light =", "ligth =", ("outlet 'light'", "leads nowhere")),
        ('feed = "coarse_screen"', 'feed = "screen"', ("line feed", "'coarse_screen'")),
        ('label = "Dry, then separate"\n', "", ("line label", "missing")),
        ('feed = "coarse', 'fead = 1\nfeed = "coarse', ("line fead", "Did you mean 'feed'?")),
        ('name = "magnet"\n', 'name = "trommel"\n', ("'trommel'", "Two machines")),
        ('name = "magnet"\n', 'name = "magnet"\nsize = 3\n', ("size", "There is no key")),
        ('name = "trommel"\n', 'name = "trommel"\ncut_m = 3\n', ("Did you mean 'cut_mm'?",)),
        ('name = "trommel"\n', 'name = "trommel"\ncut_mm = 0\n', ("cut_mm", "1 to 500 mm")),
        ('name = "magnet"\n', 'name = "magnet"\ncut_mm = 3\n', ("cut_mm", "kind 'magnet'")),
        ('rest = "aggregate"', 'rest = "glass_sorter"\nrest2', ("plant.toml", "not valid TOML")),
        ('dried = "trommel"', 'dried = "residue"', ("'trommel'", "Nothing reaches")),
        ('dried = "trommel"', 'dried = "drying_box"', ("'drying_box'", "round for ever")),
    ],
)
def test_wrong_line(plant, old, new, parts):
    messages = plant(old, new).errors()
    assert any(
        message.startswith("plant.toml") and all(part in message for part in parts)
        for message in messages
    ), messages


@pytest.mark.parametrize(
    ("share", "parts"),
    [
        ("shares.glas.glass = 0.5", ("shares glas", "Give the shares of glass")),
        ("shares.rest.glass = 0.5", ("shares rest", "takes what the others leave")),
        ("shares.glass.glas = 0.5", ("shares glass glas", "Did you mean 'glass'?")),
        ("shares.glass.glass = 50", ("shares glass glass", "between 0 and 1")),
        ("power_kwh_t = -1", ("power_kwh_t", "0 to 1000", "kWh/t")),
    ],
)
def test_wrong_share(plant, share, parts):
    old = 'outlets = { glass = "glass", rest = "aggregate" }'
    (message,) = plant(old, f"{old}\n{share}").errors()
    assert all(part in message for part in parts), message


def test_shares_that_give_more_than_there_is(plant):
    old = 'outlets = { combustible = "fuel", mineral = "glass_sorter", middlings = "residue" }'
    new = f"{old}\nshares.combustible.wood = 0.9\nshares.mineral.wood = 0.2"
    (message,) = plant(old, new).errors()
    assert "shares wood" in message
    assert "1.1" in message


def test_a_shredder_that_cuts_in_a_circle_is_refused(plant):
    old = '[[machine]]\nname = "picking_belt"'
    mill = 'name = "mill"\nkind = "shredder"\noutlets = { shredded = "trommel" }'
    new = f"[[machine]]\n{mill}\n\n{old}"
    site = plant(old, new)
    path = site.folder / "plant.toml"
    text = path.read_text().replace('oversize = "picking_belt"', 'oversize = "mill"', 1)
    path.write_text(text.replace('middlings = "residue"', 'middlings = "picking_belt"'))
    messages = site.errors()
    assert any("'mill'" in m and "comes back" in m for m in messages), messages


def test_a_loop_with_a_way_out_is_let_pass(plant):
    line = plant('middlings = "residue"', 'middlings = "trommel"').read().line
    assert any("trommel" in machine.outlets.values() for machine in line.machines)


def test_all_problems_of_the_line_at_once(plant):
    site = plant('kind = "trommel"', 'kind = "tromel"')
    path = site.folder / "plant.toml"
    path.write_text(path.read_text().replace('light = "fuel"', 'light = "feul"'))
    site.edit("A,1,4,100", "A,1,4,-100", "samples.csv")
    messages = site.errors()
    for part in ("tromel", "feul", "samples.csv row 2"):
        assert any(part in message for message in messages)
