"""Core tables as workbooks, as AGS4, and in the user's own words and units."""

from __future__ import annotations

import numpy as np
import pytest

from reclaim.site.ags import read_groups
from reclaim.site.problems import Findings

METHODS = {"collars.csv": "Collars", "intervals.csv": "Log", "samples.csv": "Sorting"}


def as_rows(text):
    def typed(cell):
        try:
            return float(cell)
        except ValueError:
            return cell or None

    return [[typed(cell) for cell in line.split(",")] for line in text.splitlines()]


def write_workbook(path, sheets):
    openpyxl = pytest.importorskip("openpyxl")
    book = openpyxl.Workbook()
    book.remove(book.active)
    for name, rows in sheets.items():
        sheet = book.create_sheet(name)
        for row in rows:
            sheet.append(row)
    book.save(path)


def with_workbook(site, names):
    """Put the three tables into one workbook, written by openpyxl."""
    sheets = {names[name]: as_rows(site.tables[name]) for name in METHODS}
    write_workbook(site.folder / "cores.xlsx", sheets)
    for name in METHODS:
        site.edit(f'"{name}"', '"cores.xlsx"')


def assert_same_cores(read, expected):
    for kind in ("collars", "intervals", "samples", "lab"):
        ours, theirs = getattr(read, kind), getattr(expected, kind)
        assert list(ours.columns) == list(theirs.columns)
        for column in ours.columns.drop("row", errors="ignore"):
            if ours[column].dtype == float:
                np.testing.assert_allclose(ours[column], theirs[column], rtol=1e-12)
            else:
                assert list(ours[column]) == list(theirs[column]), column


def test_a_workbook_reads_as_the_same_cores(site):
    expected = site.read().cores
    with_workbook(site, {"collars.csv": "Collars", "intervals.csv": "intervals",
                         "samples.csv": " Samples "})  # fmt: skip
    assert_same_cores(site.read().cores, expected)


def test_sheets_can_be_named(site):
    expected = site.read().cores
    with_workbook(site, METHODS)
    messages = site.errors()
    assert any("none called 'intervals'" in m and "[cores.sheets]" in m for m in messages)
    site.edit("[waste]", '[cores.sheets]\nintervals = "Log"\nsamples = "Sorting"\n\n[waste]')
    assert_same_cores(site.read().cores, expected)
    site.edit('"Sorting"', '"Sortings"')
    (message,) = site.errors()
    assert "no sheet 'Sortings'" in message
    assert "Sorting" in message


def test_a_formula_without_a_value_is_an_error(site):
    """A workbook written by a program holds no values of its formulas until it is saved again."""
    rows = as_rows(site.tables["lab.csv"])
    rows[1][3] = "=8.5*1"
    write_workbook(site.folder / "lab.xlsx", {"lab": rows})
    site.edit('"lab.csv"', '"lab.xlsx"')
    (message,) = site.errors()
    assert "lab.xlsx sheet 'lab' row 2, column 4" in message
    assert "never calculated" in message


def test_dates_of_a_workbook_are_dates(site):
    from datetime import datetime

    rows = as_rows(site.tables["collars.csv"])
    for row in rows[1:]:
        row[5] = datetime(2024, 5, 3)  # noqa: DTZ001  # spreadsheets know no time zone
    write_workbook(site.folder / "collars.xlsx", {"Sheet1": rows})
    site.edit('"collars.csv"', '"collars.xlsx"')
    assert list(site.read().cores.collars["drilled_on"]) == ["2024-05-03"] * 4


def test_the_users_words_and_units(site):
    expected = site.read().cores
    samples = site.tables["samples.csv"].replace("core_id", "Hole ID").replace(
        "bulk_density_t_m3", "Unit weight"
    )  # fmt: skip
    rows = [line.split(",") for line in samples.splitlines()]
    for row in rows[1:]:
        row[3] = f"{float(row[3]) * 1000:g}"
        row[4] = f"{float(row[4]) * 100:g}" if row[4] else ""
        row[5] = f"{float(row[5]) * 1000:g}" if row[5] else ""
        row[6:] = [f"{float(cell) * 1000:g}" for cell in row[6:]]
    site.tables["samples.csv"] = "\n".join(",".join(row) for row in rows)
    site.tables["intervals.csv"] = (
        site.tables["intervals.csv"].replace(",waste,", ",Made Ground,").replace("natural", "Till")
    )
    site.edit(
        "[waste]",
        '[cores.columns]\n"Hole ID" = "core_id"\n"Unit weight" = "bulk_density_t_m3"\n'
        '[cores.units]\nwet_mass_kg = "g"\nmoisture = "%"\nbulk_density_t_m3 = "kg/m3"\n'
        '[cores.layers]\n"made ground" = "waste"\n"till" = "natural"\n\n[waste]',
    )
    assert_same_cores(site.read().cores, expected)


@pytest.mark.parametrize(
    ("text", "parts"),
    [
        ('[cores.units]\nmoisture = "percent"', ("cores.units", "'percent'", "fraction, %")),
        ('[cores.units]\ndepth_m = "ft"', ("cores.units", "Only columns that end")),
        ('[cores.layers]\n"till" = "naturl"', ("cores.layers", "'naturl'", "natural")),
        ('[cores.sheets]\ncolars = "A"', ("cores.sheets", "'colars'", "collars")),
    ],
)
def test_words_that_are_not_known(site, text, parts):
    site.edit("[waste]", f"{text}\n\n[waste]")
    (message,) = site.errors()
    assert all(part in message for part in parts), message


def test_a_missing_column_is_told_with_the_way_to_map_it(site):
    site.edit("core_id,from_m,to_m,layer", "Bohrung,from_m,to_m,layer", "intervals.csv")
    (message,) = site.errors()
    assert "[cores.columns]" in message


# By hand from the rules and the data dictionary of AGS4, edition 4.1.1 (AGS, 2025).
AGS = """\
"GROUP","PROJ"
"HEADING","PROJ_ID","PROJ_NAME"
"UNIT","",""
"TYPE","ID","X"
"DATA","P1","Small ""Tip"" site"

"GROUP","LOCA"
"HEADING","LOCA_ID","LOCA_TYPE","LOCA_NATE","LOCA_NATN","LOCA_GL","LOCA_FDEP","LOCA_STAR"
"UNIT","","","m","m","m","m","yyyy-mm-dd"
"TYPE","ID","PA","2DP","2DP","2DP","2DP","DT"
"DATA","A","RC","500020.00","5400020.00","20.60","9.40","2024-05-01"
"DATA","B","RC","500100.00","5400020.00","22.20","10.20","2024-05-01"

"GROUP","HDIA"
"HEADING","LOCA_ID","HDIA_DPTH","HDIA_DIAM"
"UNIT","","m","mm"
"TYPE","ID","2DP","0DP"
"DATA","A","4.00","150"
"DATA","A","9.40","120"

"GROUP","GEOL"
"HEADING","LOCA_ID","GEOL_TOP","GEOL_BASE","GEOL_DESC","GEOL_LEG","GEOL_GEOL"
"UNIT","","m","m","","",""
"TYPE","ID","2DP","2DP","X","PA","PA"
"DATA","A","0.00","0.50","Soft, brown clayey TOPSOIL","101","TS"
"DATA","A","0.50","8.40","MADE GROUND: household waste, ""black bags"" found","102","MG"
"DATA","A","8.40","9.40","Medium dense SAND","301","SD"
"DATA","B","0.00","0.50","TOPSOIL","101","TS"
"DATA","B","0.50","9.20","MADE GROUND","102","MG"
"DATA","B","9.20","10.20","SAND","301","SD"

"GROUP","SAMP"
"HEADING","LOCA_ID","SAMP_TOP","SAMP_REF","SAMP_TYPE","SAMP_ID","SAMP_BASE"
"UNIT","","m","","","","m"
"TYPE","ID","2DP","X","PA","ID","2DP"
"DATA","A","1.00","1","B","S1","4.00"

"GROUP","GRAT"
"HEADING","LOCA_ID","SAMP_TOP","SAMP_REF","SAMP_TYPE","SAMP_ID","GRAT_SIZE","GRAT_PERP"
"UNIT","","m","","","","mm","%"
"TYPE","ID","2DP","X","PA","ID","3SF","0DP"
"DATA","A","1.00","1","B","S1","20.0","62"
"DATA","A","1.00","1","B","S1","63.0","80"

"GROUP","MOND"
"HEADING","LOCA_ID","MONG_ID","MONG_DIS","MOND_DTIM","MOND_TYPE","MOND_RDNG","MOND_UNIT"
"UNIT","","","m","yyyy-mm-ddThh:mm","","",""
"TYPE","ID","X","2DP","DT","PA","XN","PU"
"DATA","A","P1","3.00","2024-06-01T10:00","TGM","35","%"
"DATA","A","P1","3.00","2024-06-01T10:00","GCD","28","%"
"DATA","A","P1","3.00","2024-06-01T10:00","HYS","12","ppm"
"DATA","A","P1","3.00","2024-06-01T10:00","GM","700","%LEL"
"DATA","A","P1","3.00","2024-06-01T10:00","WDEP","6.20","m"
"DATA","A","P1","3.00","2024-07-01T10:00","WDEP","5.90","m"
"""


@pytest.fixture
def ags_site(site):
    (site.folder / "cores.ags").write_bytes(AGS.replace("\n", "\r\n").encode())
    site.edit('collars = "collars.csv"\nintervals = "intervals.csv"\n', 'ags = "cores.ags"\n')
    for line in ('lab = "lab.csv"\n', 'gas = "gas.csv"\n'):
        site.edit(line, "")
    samples = site.tables["samples.csv"].splitlines()
    site.tables["samples.csv"] = "\n".join(samples[:4])
    site.edit("[waste]", '[cores.layers]\nTS = "cover"\nMG = "waste"\nSD = "natural"\n\n[waste]')
    return site


def change_ags(site, old, new):
    path = site.folder / "cores.ags"
    text = path.read_text()
    assert old in text
    path.write_text(text.replace(old, new, 1))


def test_an_ags_file_gives_collars_and_logs(ags_site):
    read = ags_site.read()
    collars = read.cores.collars
    assert list(collars["core_id"]) == ["A", "B"]
    np.testing.assert_allclose(collars["elevation_m"], [20.6, 22.2])
    np.testing.assert_allclose(collars["depth_m"], [9.4, 10.2])
    assert list(collars["drilled_on"]) == ["2024-05-01"] * 2
    assert list(collars["method"]) == ["RC", "RC"]
    assert collars["diameter_mm"].iloc[0] == 150
    assert np.isnan(collars["diameter_mm"].iloc[1])
    log = read.cores.intervals
    assert list(log["layer"]) == ["cover", "waste", "natural"] * 2
    assert log["note"].iloc[1] == 'MADE GROUND: household waste, "black bags" found'


def test_an_ags_file_gives_sieves_gas_and_water(ags_site):
    read = ags_site.read()
    sizes = read.cores.sizes
    assert list(sizes["size_mm"]) == [20, 63]
    np.testing.assert_allclose(sizes["passing"], [0.62, 0.80])
    assert set(sizes["to_m"]) == {4.0}
    (gas,) = read.cores.gas.to_dict("records")
    assert (gas["depth_m"], gas["ch4_pct"], gas["co2_pct"], gas["h2s_ppm"]) == (3, 35, 28, 12)
    assert np.isnan(gas["o2_pct"])
    assert gas["date"] == "2024-06-01"
    assert list(read.cores.water["water_m"]) == [6.2, 5.9]
    assert read.cores.collars["water_m"].iloc[0] == 5.9  # the later one
    messages = [str(check) for check in read.checks]
    assert any("1 readings GM" in text and "explosive limit" in text for text in messages)
    assert any("A. Such bores read density about 11 to 38 %" in text for text in messages)


def test_ags_depths_stay_metres_where_other_tables_are_in_feet(ags_site):
    ags_site.edit("[surfaces]", '[surfaces]\nvertical_unit = "ft"')
    (first, *_) = ags_site.read_core_tables().cores.intervals["to_m"]
    assert first == 0.5


@pytest.mark.parametrize(
    ("old", "new", "parts"),
    [
        ('"GROUP","GEOL"', '"GROUP","GEOX"', ("group GEOL is missing",)),
        ('"UNIT","","m","m","","",""\n', '"UNIT","","ft","m","","",""\n',
         ("group GEOL, heading GEOL_TOP", "'ft', not 'm'")),
        ('"Medium dense SAND",', '"Medium, dense" SAND",', ("line 27", "quote")),
        ('"DATA","A","8.40"', '"DATTA","A","8.40"', ("line 27", "DATTA")),
        ('"MG"', '"MX"', ("column GEOL_GEOL", "'mx'", "[cores.layers]")),
        ('"8.40","9.40","Medium', '"8.00","9.40","Medium', ("overlap from 8 to 8.4 m",)),
        ('"GROUP","HDIA"', '"GROUP","LOCA"', ("group LOCA appears twice",)),
        ('"TGM","35","%"', '"TGM","35","ppm"', ("line 49", "TGM is in 'ppm'")),
    ],
)  # fmt: skip
def test_bad_ags_files_name_line_and_heading(ags_site, old, new, parts):
    change_ags(ags_site, old, new)
    messages = ags_site.errors()
    assert any(
        message.startswith("cores.ags") and all(part in message for part in parts)
        for message in messages
    ), messages


def test_a_file_that_is_no_ags(ags_site):
    (ags_site.folder / "cores.ags").write_text("core_id,x,y\nA,1,2\n")
    assert any("line 1: The line begins with 'core_id'" in text for text in ags_site.errors())


def test_groups_are_those_of_the_standards_own_library(tmp_path):
    """Reference: python-ags4, in an environment of its own since it asks for an older pandas."""
    library = pytest.importorskip("python_ags4.AGS4")
    path = tmp_path / "cores.ags"
    path.write_bytes(AGS.replace("\n", "\r\n").encode())
    theirs, _ = library.AGS4_to_dataframe(str(path))
    ours = read_groups(path, "cores.ags", Findings())
    assert set(theirs) == set(ours)
    for name, group in ours.items():
        data = theirs[name][theirs[name]["HEADING"] == "DATA"].drop(columns="HEADING")
        assert data.to_dict("records") == [dict(row.cells) for row in group.rows]


SAMPLE_CHECKS = [
    ("A,1,4,100,0.30,1.1,20,10,10,60,110,", ("row 2", "more than the wet mass"), "error"),
    ("A,1,4,100,0.30,1.1,20,10,10,60,60,", ("row 2", "0.30", "0.40", "0.67"), "warning"),
    ("A,1,4,100,0.30,1.1,20,10,10,60,,0.5", ("row 2", "Only 50 %"), "warning"),
    ("A,1,4,100,0.30,1.1,20,10,10,60,,1.3", ("row 2", "130 %", "fell in"), "warning"),
    ("A,1,4,100,0.30,1.1,20,10,10,60,,80", ("row 2", "per cent"), "error"),
]


@pytest.mark.parametrize(("row", "parts", "level"), SAMPLE_CHECKS)
def test_dry_mass_and_recovery(site, row, parts, level):
    text = site.tables["samples.csv"].replace("fines\n", "fines,dry_mass_kg,recovery\n")
    site.tables["samples.csv"] = text.replace("A,1,4,100,0.30,1.1,20,10,10,60", row)
    messages = site.errors() if level == "error" else site.warnings()
    assert any(all(part in message for part in parts) for message in messages), messages


def test_moisture_comes_from_wet_and_dry_mass_where_it_is_not_given(site):
    text = site.tables["samples.csv"].replace("fines\n", "fines,dry_mass_kg\n")
    site.tables["samples.csv"] = text.replace(
        "C,1,8,100,,,20,10,10,60", "C,1,8,100,,,20,10,10,60,72"
    )
    assert site.read().cores.samples["moisture"].iloc[3] == pytest.approx(0.28)


def test_mass_lost_in_sorting_shows_in_long_form_too(site):
    site.tables["samples.csv"] = (
        "core_id,from_m,to_m,material,wet_mass_kg,sample_mass_kg\n"
        "A,1,4,wood,30,100\nA,1,4,fines,66,100\n"
    )
    (warning,) = [text for text in site.warnings() if "add up to" in text]
    assert "96 kg, the sample has 100 kg (-4.0 %)" in warning


def test_water_levels_and_sieves_from_tables(site):
    site.edit('gas = "gas.csv"', 'gas = "gas.csv"\nwater = "water.csv"\nsizes = "sizes.csv"')
    site.tables["water.csv"] = "core_id,water_m,date\nA,6.0,2024-07-01\nA,6.5,2024-05-01\n"
    site.tables["sizes.csv"] = "core_id,from_m,to_m,size_mm,passing\nA,1,4,63,0.8\nA,1,4,20,0.6\n"
    cores = site.read().cores
    assert cores.collars["water_m"].iloc[0] == 6.0
    assert len(cores.water) == 2
    assert list(cores.sizes.columns) == ["core_id", "from_m", "to_m", "size_mm", "passing"]
    site.edit("63,0.8", "63,0.5", "sizes.csv")
    site.edit("A,6.0,", "Z,6.0,", "water.csv")
    messages = site.errors()
    assert any("sizes.csv row 2" in text and "Less passes" in text for text in messages)
    assert any("no collar for the core 'Z'" in text for text in messages)


def test_water_below_the_hole_is_warned_of(site):
    site.edit('gas = "gas.csv"', 'gas = "gas.csv"\nwater = "water.csv"')
    site.tables["water.csv"] = "core_id,water_m\nA,16.0\n"
    assert any("water.csv row 2" in text and "below the hole" in text for text in site.warnings())


def test_narrow_bores_are_warned_of_and_mixed_methods_too(site):
    site.edit("auger,900", "auger,150", "collars.csv")
    warnings = site.warnings()
    assert any("1 of 4 sampled cores are bores narrower than 300 mm: A." in w for w in warnings)
    assert any("are mixed in one campaign" in w for w in warnings)


def test_a_trial_pit_is_not_narrow_whatever_its_width(site):
    site.edit("auger,900", "Trial pit,200", "collars.csv")
    assert site.warnings() == []


def test_methods_that_are_not_recorded_are_noted(site):
    site.tables["collars.csv"] = "\n".join(
        ",".join(line.split(",")[:6]) for line in site.tables["collars.csv"].splitlines()
    )
    (note,) = site.checks("note")
    assert "Neither method nor diameter" in note.what


def test_moisture_by_material_is_kept_apart(site):
    site.tables["samples.csv"] = (
        "core_id,from_m,to_m,material,wet_mass_kg,moisture,dry_mass_kg\n"
        "A,1,4,wood,30,0.5,\nA,1,4,glass,10,,9.8\nA,1,4,fines,60,,\n"
        "B,1,8,wood,30,0.4,\nB,1,8,fines,60,0.4,\n"
    )
    cores = site.read().cores
    table = cores.material_moisture
    assert list(table["material"]) == ["wood", "glass"]  # B was dried as a whole
    np.testing.assert_allclose(table["moisture"], [0.5, 0.02])
    assert cores.samples["moisture"].iloc[1] == pytest.approx(0.4)


def test_wide_samples_have_no_moisture_by_material(site):
    assert site.read().cores.material_moisture.empty
