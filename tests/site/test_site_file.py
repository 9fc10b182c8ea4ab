"""A wrong site file: each message names the key and what to do, and all come at once."""

from __future__ import annotations

import pytest

from reclaim.site import SiteError, read_core_tables, read_site


@pytest.mark.parametrize(
    ("old", "new", "parts"),
    [
        ("lift_m", "lift_hight_m", ("[excavation] lift_hight_m", "Did you mean 'lift_m'")),
        ("moisture =", "moistur =", ("[waste] moistur", "Did you mean 'moisture'?")),
        ("[excavation]", "[excavations]", ("[excavations]", "Did you mean 'excavation'?")),
        ("[waste]", "[plant]\ncapacity = 5\n[waste]", ("[plant]", "'capacity_t_y'")),
        ("[waste]", "[money]\nprice_fuel = 5\n[waste]", ("[money]", "'price_fuel_per_t'")),
        ('currency = "EUR"\n', "", ("[site] currency", "missing")),
        ('"EUR"', '"GBP"', ("[money] currency_per_eur", "GBP", "defaults are in EUR")),
        ('"EUR"', '"Euro"', ("'Euro' is not a currency code", "ISO 4217")),
        ("2025", '"2025"', ("[site] price_year", "'2025'", "valid integer")),
        ("1961", "1988", ("[site] closed", "before it opened")),
        ("closed = 1987", "closed = 198", ("[site] closed", "1800 to 2200")),
        ("lift_m = 2.5", "lift_m = 0", ("[excavation] lift_m", "0.25 to 50")),
        ("lift_m = 2.5", "lift_m = nan", ("[excavation] lift_m", "finite")),
        ("lift_m = 2.5", "lift_m = true", ("[excavation] lift_m", "valid number")),
        ("draws = 50", "draws = 0", ("[uncertainty] draws", "1 to")),
        ("mode = 0.3", "mode = 0.5", ("[waste] moisture", "low <= mode <= high")),
        ("mode = 0.3", "median = 0.3", ("[waste] moisture", "{low, mode, high}")),
        ("high = 0.4", "high = 40", ("[waste] moisture", "outside")),
        ('"plastic_film"', '"plastic_foil"', ("[waste.names]", "Did you mean 'plastic_film'?")),
        ("[surfaces]\n", '[surfaces]\nvertical_unit = "feet"\n', ("vertical_unit", "'us-ft'")),
        ("cover_m", "base_elevation_m = 1\ncover_m", ("[surfaces]", "2 times", "exactly one")),
        ('base = "base.tif"\n', "", ("[surfaces]", "base of the waste is not given")),
        ("cover_m", "cover_from_cores = true\ncover_m", ("[surfaces] cover_m", "Keep one")),
        ("[cores]", "[cores.x]", ("[cores]",)),
        ("[site]", "name = 1\n[site]", ("outside every section",)),
        ("[site]", "site = 1\n[sites]", ("must be a section",)),
        ("[site]", "[site", ("site.toml", "not valid TOML", "line 1")),
        ('"survey.tif"', '["a.tif", "b.tif"]', ("[surfaces] survey", "Several files", "mosaic")),
        ('"footprint.geojson"', '["a", "b"]', ("[footprint] file", "Several files", "Name one,")),
        ("seed = 7", "seed = 7\n[waste.composition]\nwood = 1", ("composition", "Keep one")),
    ],
)
def test_wrong_key(site, old, new, parts):
    site.edit(old, new)
    messages = site.errors()
    assert any(all(part in message for part in parts) for message in messages), messages


def test_all_problems_at_once(site):
    site.edit("lift_m", "lift_hight_m")
    site.edit("seed = 7", "seed = -7")
    site.edit("survey.tif", "surveys.tif")
    site.edit("1961", "1990")
    messages = site.errors()
    assert len(messages) == 4
    for part in ("lift_hight_m", "seed", "surveys.tif", "opened"):
        assert sum(part in message for message in messages) == 1


@pytest.mark.parametrize(
    ("old", "new", "parts"),
    [
        ("survey.tif", "no/survey.tif", ("[surfaces] survey", "'no/survey.tif' does not exist")),
        ("survey.tif", ".", ("[surfaces] survey", "is a folder")),
        ("footprint.geojson", "fp.gpkg", ("[footprint] file", "'fp.gpkg' does not exist")),
        ("lab.csv", "labor.csv", ("[cores] lab", "'labor.csv' does not exist")),
        ("[uncertainty]", '[plant]\nfile = "p.toml"\n[uncertainty]', ("[plant] file", "'p.toml'")),
        ("survey.tif", "https://example.org/s.tif", ("not a local file", "Download")),
        ("base.tif", "/vsicurl/https://example.org/s.tif", ("not a local file",)),
    ],
)
def test_missing_and_remote_files(site, old, new, parts):
    site.edit(old, new)
    (message,) = site.errors()
    assert all(part in message for part in parts), message


def test_an_absolute_path_is_not_shown(site):
    site.edit('"survey.tif"', f'"{site.folder.as_posix()}/gone.tif"')
    (message,) = site.errors()
    assert "'gone.tif' does not exist" in message


def test_missing_sections_are_all_named(tmp_path):
    path = tmp_path / "empty.toml"
    path.write_text("")
    with pytest.raises(SiteError) as caught:
        read_site(path)
    text = str(caught.value)
    assert all(f"[{name}] is missing" in text for name in ("site", "footprint", "surfaces"))
    with pytest.raises(SiteError, match=r"\[cores\] is missing"):
        read_core_tables(path)


def test_missing_site_file(tmp_path):
    with pytest.raises(SiteError, match=r"nowhere\.toml: There is no such site file"):
        read_site(tmp_path / "nowhere.toml")


def test_site_file_that_is_not_utf8(site):
    path = site.write()
    path.write_bytes(site.toml.replace("Small", "Små").encode("cp1252"))
    with pytest.raises(SiteError, match="not UTF-8"):
        read_site(path)


def test_a_byte_order_mark_is_let_pass(site):
    site.toml = "\ufeff" + site.toml
    assert site.read().name == "Small Tip"


def test_composition_must_add_to_one_and_name_materials(site):
    site.edit('samples = "samples.csv"\n', "")
    site.toml += "\n[waste.composition]\nfines = 0.6\nwood = 0.3\n"
    (message,) = site.errors()
    assert "[waste.composition]" in message
    assert "0.9" in message
    site.edit("wood = 0.3", "woods = 0.4")
    (message,) = site.errors()
    assert "Did you mean 'wood'?" in message
