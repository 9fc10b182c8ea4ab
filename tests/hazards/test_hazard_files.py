"""The user's own files, and gas tables with bad numbers: one clear message each."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from pyproj import CRS

from reclaim.hazards.gas import gas_cautions
from reclaim.site import Findings
from reclaim.site.coretables import read_gas
from reclaim.site.hazardfiles import read_local_limits, read_local_words
from reclaim.site.receptors import read_receptors
from reclaim.site.spreadsheet import Sheet, read_sheet

from .conftest import collar_table

if TYPE_CHECKING:
    from pathlib import Path

GAS_HEADER = "core_id,depth_m,ch4_pct,co2_pct,o2_pct,h2s_ppm,co_ppm,date\n"
LIMIT_HEADER = "key,value,gas,direction,unit,level,limit,jurisdiction,edition,who_decides\n"


def written(folder: Path, text: str, name: str = "table.csv") -> Path:
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


def sheet_of(folder: Path, text: str, findings: Findings) -> Sheet:
    sheet = read_sheet(written(folder, text), "gas.csv", findings)
    assert sheet is not None
    return sheet


@pytest.mark.parametrize(
    ("row", "what"),
    [
        ("C1,2,-1,5,15,0,0,", "-1 is not a percentage"),
        ("C1,2,120,0,0,0,0,", "120 is not a percentage"),
        ("C1,2,5000,0,20,0,0,", "ppm is 10,000 times the per cent"),
        ("C1,2,60,40,15,0,0,", "add up to 115 %"),
        ("C1,,50,40,1,0,0,", "The cell is empty"),
        ("C1,2,50,40,1,-3,0,", "-3 ppm is outside"),
        ("C1,2,50,40,1,0,0,31.03.2025", "is not a date"),
    ],
)
def test_bad_gas_numbers_are_errors_that_name_the_row(tmp_path: Path, row: str, what: str) -> None:
    findings = Findings()
    read_gas(sheet_of(tmp_path, GAS_HEADER + row + "\n", findings), "m", findings)
    assert all("gas.csv row 2" in error.where for error in findings.errors)
    assert any(what in f"{error.what} {error.what_to_do}" for error in findings.errors)


def test_a_table_in_fractions_passes_the_reader_and_the_caution_takes_both(tmp_path: Path) -> None:
    findings = Findings()
    sheet = sheet_of(tmp_path, GAS_HEADER + "C1,2,0.5,0.4,0.02,0,0,2025-01-02\n", findings)
    gas = read_gas(sheet, "m", findings)
    assert not findings.errors
    cautions, _ = gas_cautions(gas, collar_table("C1"), file="gas.csv")
    found = {caution.key: caution for caution in cautions}
    assert found["methane_flammable"].level == "stop"
    assert found["gas_units_doubtful"].records == ("gas.csv row 2",)


def test_a_published_limit_is_replaced_and_a_new_one_added(tmp_path: Path) -> None:
    findings = Findings()
    text = (
        LIMIT_HEADER
        + "methane_excavation,0.5,,,,,,Newtown,2024,\n"
        + "city,0.2,ch4_pct,above,% v/v,stop,city code 7,Newtown,2024,the fire marshal\n"
        + "protective_system,1.0,,,,,,Newtown,,\n"
    )
    limits = read_local_limits(written(tmp_path, text), "limits.csv", findings)
    assert not findings.errors
    assert [limit.where for limit in limits] == [f"limits.csv row {row}" for row in (2, 3, 4)]


@pytest.mark.parametrize(
    ("row", "what"),
    [
        ("methane_excavatoin,0.5,,,,,,,,", "must state gas, direction, unit, level"),
        ("asbestos,1,,,,,,,,", "has no number"),
        ("methane_excavation,0.5,,,ppm,,,,,", "'ppm' differs from '% v/v'"),
        ("methane_excavation,0.5,,,,halt,,,,", "no level 'halt'"),
        ("methane_excavation,101,,,,,,,,", "outside what is possible (0 to 100"),
        ("city,1,ch5_pct,above,% v/v,act,x,y,,", "no gas 'ch5_pct'"),
        ("city,1,ch4_pct,over,% v/v,act,x,y,,", "no direction 'over'"),
        ("city,1,h2s_ppm,above,% v/v,act,x,y,,", "unit of h2s_ppm is 'ppm'"),
        ("methane_excavation,,,,,,,,,", "The cell is empty"),
    ],
)
def test_bad_limits_are_errors_with_their_row(tmp_path: Path, row: str, what: str) -> None:
    findings = Findings()
    read_local_limits(written(tmp_path, LIMIT_HEADER + row + "\n"), "limits.csv", findings)
    assert findings.errors
    assert all("limits.csv row 2" in error.where for error in findings.errors)
    assert any(what in error.what for error in findings.errors), findings.errors


def test_the_same_key_twice_and_a_looser_limit_are_told(tmp_path: Path) -> None:
    findings = Findings()
    rows = "methane_excavation,3,,,,,,,,\nmethane_excavation,2,,,,,,,,\n"
    read_local_limits(written(tmp_path, LIMIT_HEADER + rows), "limits.csv", findings)
    assert any("more than once" in check.what for check in findings.errors)
    looser = [check for check in findings.checks if "is looser than" in check.what]
    assert looser[0].level == "warning"


@pytest.mark.parametrize(
    ("row", "what"),
    [
        ("asbestoss,azbest,pl,", "no hazard 'asbestoss'"),
        ("asbestos,azbest,pl,about", "no way to match"),
        ("asbestos,--,pl,", "no letter or digit"),
        ("asbestos,,pl,", "The cell is empty"),
    ],
)
def test_bad_words_are_errors_with_their_row(tmp_path: Path, row: str, what: str) -> None:
    findings = Findings()
    path = written(tmp_path, "key,word,language,match\n" + row + "\n")
    read_local_words(path, "words.csv", findings)
    assert any(what in error.what for error in findings.errors)
    assert all("words.csv row 2" in error.where for error in findings.errors)


def test_words_are_read_as_exact_unless_told_otherwise(tmp_path: Path) -> None:
    findings = Findings()
    path = written(tmp_path, "key,word\nasbestos,azbest\n")
    (word,) = read_local_words(path, "words.csv", findings)
    assert (word.key, word.word, word.match) == ("asbestos", "azbest", "exact")


POINTS = """{"type": "FeatureCollection", "crs": {"type": "name",
 "properties": {"name": "EPSG:32631"}}, "features": [
 {"type": "Feature", "properties": {"name": "School"},
  "geometry": {"type": "Point", "coordinates": [500100, 5800000]}},
 {"type": "Feature", "properties": {"name": ""},
  "geometry": {"type": "Point", "coordinates": [500200, 5800000]}}]}"""


def test_receptors_come_in_metres_with_names(tmp_path: Path) -> None:
    findings = Findings()
    path = written(tmp_path, POINTS, "receptors.geojson")
    wkt = CRS.from_epsg(32631).to_wkt()
    school, other = read_receptors(path, "receptors.geojson", wkt, 1.0, findings)
    assert not findings.checks
    assert (school.name, other.name) == ("School", "receptor 2")
    assert school.shape.x == pytest.approx(500_100)
    halved = read_receptors(path, "receptors.geojson", wkt, 0.5, findings)
    assert halved[0].shape.x == pytest.approx(250_050)


def test_a_layer_without_names_is_numbered_and_said(tmp_path: Path) -> None:
    findings = Findings()
    path = written(tmp_path, POINTS.replace('name": "School', 'label": "School').replace(
        '"name": ""', '"label": ""'), "receptors.geojson")  # fmt: skip
    found = read_receptors(path, "r.geojson", CRS.from_epsg(32631).to_wkt(), 1.0, findings)
    assert [receptor.name for receptor in found] == ["receptor 1", "receptor 2"]
    assert "no field 'name'" in findings.checks[0].what


def test_a_layer_that_is_none_is_an_error(tmp_path: Path) -> None:
    findings = Findings()
    path = written(tmp_path, "no vector data", "receptors.geojson")
    assert read_receptors(path, "r.geojson", CRS.from_epsg(32631).to_wkt(), 1.0, findings) == ()
    assert "cannot be read as vector data" in findings.errors[0].what
