"""Core tables as they come from spreadsheets, wrong in one way at a time."""

from __future__ import annotations

import pytest

from reclaim.site import SiteError, read_site

CASES = {
    "text for a number": (
        "samples.csv", "A,1,4,100", "A,1,4,heavy",
        ("samples.csv row 2, column wet_mass_kg", "'heavy' is not a number"),
    ),
    "empty number": ("collars.csv", "20.6", "", ("collars.csv row 2", "elevation_m", "empty")),
    "below a limit": ("lab.csv", "0.4\n", "<0.05\n", ("lab.csv row 2", "half the limit")),
    "per cent sign": ("lab.csv", "0.45", "45%", ("lab.csv row 2, column ash", "25 % is 0.25")),
    "not a number word": ("lab.csv", "8.5", "nan", ("lab.csv row 2", "'nan' is not a number")),
    "thousands": ("samples.csv", "A,1,4,100,", 'A,1,4,"1,000",', ("row 2", "thousands")),
    "decimal comma in a comma file": (
        "samples.csv", "0.30,1.1", "0,30,1,1", ("samples.csv row 2", "12 cells under 10"),
    ),
    "missing column": (
        "samples.csv", "wet_mass_kg", "wet_mas_kg",
        ("samples.csv row 1", "'wet_mass_kg' is missing", "'wet_mas_kg'"),
    ),
    "missing coordinate": ("collars.csv", "id,x,y", "id,east,y", ("collars.csv row 1", "'x'")),
    "repeated column": ("gas.csv", "co2_pct", "ch4_pct", ("gas.csv row 1", "ch4_pct", "twice")),
    "unknown material": (
        "samples.csv", "glass", "glas", ("column glas", "Did you mean 'glass'", "[waste.names]"),
    ),
    "negative mass": ("samples.csv", ",20,10,10,60", ",20,-10,10,60", ("row 2, column wood",)),
    "negative sample": ("samples.csv", "A,1,4,100", "A,1,4,-100", ("row 2", "-100 kg")),
    "no mass": ("samples.csv", "A,1,4,100", "A,1,4,0", ("row 2", "has no mass")),
    "moisture in per cent": (
        "samples.csv", "100,0.30", "100,30", ("row 2, column moisture", "divide it by 100"),
    ),
    "density in kg/m3": ("samples.csv", "0.30,1.1", "0.30,1100", ("row 2", "divide it by 1000")),
    "ash in per cent": ("lab.csv", "0.45", "45", ("lab.csv row 2", "divide it by 100")),
    "sum far off": (
        "samples.csv", ",20,10,10,60", ",20,10,10,40", ("row 2", "80 kg", "100 kg", "-20.0 %"),
    ),
    "fractions for masses": (
        "samples.csv", ",20,10,10,60", ",0.2,0.1,0.1,0.6", ("row 2", "look like fractions"),
    ),
    "per cent for masses": (
        "samples.csv", "A,1,4,100,0.30", "A,1,4,250,0.30", ("row 2", "look like per cent"),
    ),
    "unknown core": ("samples.csv", "A,1,4", "E,1,4", ("row 2", "no collar for the core 'E'")),
    "duplicate core": ("collars.csv", "B,500100", "A,500100", ("rows 2, 3", "'A' appears 2")),
    "unknown layer": (
        "intervals.csv", "8.4,waste", "8.4,wastes",
        ("intervals.csv row 3, column layer", "Did you mean 'waste'?"),
    ),
    "range upside down": ("intervals.csv", "0.5,8.4", "8.4,0.5", ("row 3", "swap or correct")),
    "overlap": (
        "intervals.csv", "A,0.5,8.4", "A,0.3,8.4",
        ("intervals.csv rows 2 and 3", "'A' overlap from 0.3 to 0.5 m"),
    ),
    "log deeper than the hole": (
        "intervals.csv", "8.4,9.4,natural", "8.4,12,natural",
        ("row 4", "goes to 12 m", "hole to 9.4 m"),
    ),
    "sample below the log": (
        "samples.csv", "A,4,8,", "A,9.6,11,", ("samples.csv row 3", "outside the logged"),
    ),
    "sample partly below the log": (
        "samples.csv", "A,4,8,", "A,4,11,", ("samples.csv row 3", "partly outside the logged"),
    ),
    "depth above ground": ("samples.csv", "A,1,4,", "A,-1,4,", ("row 2, column from_m", "-1 m")),
    "gas over the whole": ("gas.csv", "35,28", "75,28", ("gas.csv row 2", "104 %")),
    "gas percentage": ("gas.csv", "35,28", "350000,28", ("row 2, column ch4_pct", "ppm")),
    "negative gas": ("gas.csv", "35,28", "-1,28", ("gas.csv row 2, column ch4_pct",)),
    "negative trace gas": ("gas.csv", "0.5,12", "0.5,-12", ("row 2, column h2s_ppm",)),
    "elevation in centimetres": ("collars.csv", "22.2", "22200", ("row 3", "-450 to 8900")),
}  # fmt: skip


@pytest.mark.parametrize("case", CASES)
def test_error(site, case):
    file, old, new, parts = CASES[case]
    site.edit(old, new, file)
    messages = site.errors()
    assert any(file in message and all(part in message for part in parts) for message in messages)


@pytest.mark.parametrize(
    ("file", "old", "new", "parts"),
    [
        ("samples.csv", ",20,10,10,60", ",20,10,10,55", ("row 2", "95 kg", "-5.0 %")),
        ("intervals.csv", "A,0.5,8.4", "A,0.9,8.4", ("rows 2 and 3", "gap from 0.5 to 0.9 m")),
        ("intervals.csv", "A,0,0.5", "A,0.2,0.5", ("row 2", "starts at 0.2 m")),
        ("intervals.csv", "8.4,9.4,natural", "8.4,9.6,natural", ("row 4", "hole to 9.4 m")),
        ("samples.csv", "A,1,4", "A,0.2,4", ("row 2", "0.3 m of cover")),
        ("samples.csv", "A,1,4", "A,8.5,9", ("row 2", "natural, no waste")),
        ("samples.csv", "A,4,8", "A,3,8", ("rows 2 and 3", "overlap in depth")),
        ("gas.csv", "A,3", "A,30", ("row 2", "below the hole")),
        ("collars.csv", "500020,5400020", "500400,5400020", ("row 2", "290 m outside")),
        ("collars.csv", "20.6", "21.8", ("row 2", "core 'A' is at 21.80 m", "20.60 m")),
        ("intervals.csv", "B,0.5,9.2,waste,\nB,9.2", "B,0.5,7.2,waste,\nB,7.2", ("'B'", "2.00 m")),
    ],
)
def test_warning(site, file, old, new, parts):
    site.edit(old, new, file)
    warnings = site.warnings()
    assert any(file in text and all(part in text for part in parts) for text in warnings), warnings


def test_a_core_without_a_log_is_warned_of(site):
    lines = site.tables["intervals.csv"].splitlines(keepends=True)
    site.tables["intervals.csv"] = "".join(line for line in lines if not line.startswith("D,"))
    assert any("core 'D' has no intervals" in text for text in site.warnings())


def test_several_problems_of_a_table_at_once(site):
    site.edit("A,1,4,100", "A,1,4,-100", "samples.csv")
    site.edit("B,1,8,100,0.35", "B,1,8,100,35", "samples.csv")
    site.edit("C,1,8", "C,8,1", "samples.csv")
    site.edit("D,1,8", "X,1,8", "samples.csv")
    messages = site.errors()
    for row in (2, 4, 5, 6):
        assert any(f"samples.csv row {row}" in message for message in messages), messages


def test_a_wrong_word_does_not_hide_wrong_depths(site):
    site.edit("D,0,0.5,cover", "D,0,0.5,cver", "intervals.csv")
    site.edit("B,0.5,9.2,waste", "B,0.3,9.2,waste", "intervals.csv")
    messages = site.errors()
    assert any("row 11" in message and "'cver'" in message for message in messages), messages
    assert any("'B' overlap from 0.3 to 0.5 m" in message for message in messages), messages


def test_collars_all_in_degrees(site):
    for place in ("500020,5400020", "500100,5400020", "500020,5400080", "500100,5400080"):
        site.edit(place, "15.0,48.7", "collars.csv")
    (message,) = site.errors()
    assert "collars.csv" in message
    assert "degrees" in message


def shifted_collars(site, change):
    header, *rows = [line.split(",") for line in site.tables["collars.csv"].splitlines()]
    for row in rows:
        row[3] = f"{change(float(row[3])):.3f}"
    site.tables["collars.csv"] = "\n".join(",".join(row) for row in [header, *rows])


def test_a_datum_shift_is_named_with_its_value(site):
    shifted_collars(site, lambda elevation: elevation + 2.3)
    assert any(
        "collars.csv" in text and "constant datum shift of +2.30 m fits best" in text
        for text in site.warnings()
    )


def test_feet_read_as_metres_are_named(site):
    # NIST SP 811 (2008), app. B.6: 1 ft = 0.3048 m.
    shifted_collars(site, lambda elevation: elevation / 0.3048)
    (warning,) = site.warnings()  # the base in the logs is off for the same reason: not told too
    assert "feet read as metres fit best" in warning


def test_a_survey_in_feet_is_named(site):
    site.write_raster("survey.tif", 1.0, lambda u, v: (20 + 0.02 * u + 0.01 * v) / 0.3048)
    assert any("survey in feet read as metres fits best" in text for text in site.warnings())


def test_a_misfit_that_nothing_explains(site):
    changes = iter([3.0, -6.0, 9.0, 12.0])
    shifted_collars(site, lambda elevation: elevation + next(changes))
    assert any("Neither a constant shift" in text for text in site.warnings())


def test_a_biased_base_is_told_with_its_bias(site):
    site.write_raster("base.tif", 2.0, lambda u, _: 10.5 + 0.01 * u)
    (warning,) = site.warnings()  # once, not core by core
    assert "[surfaces] base" in warning
    assert "1.50 m below" in warning


def test_a_base_above_the_ground_at_a_core(site):
    site.write_raster("base.tif", 2.0, lambda u, _: 25 + 0.01 * u)
    assert any("above the collars of: A (4.60 m), B (3.80 m)" in text for text in site.warnings())


def test_a_spreadsheet_with_semicolons_and_decimal_commas(site):
    expected = site.read().cores.samples
    for name, text in site.tables.items():
        site.tables[name] = text.replace(",", ";").replace(".", ",")
    site.edit("A;1;4;100;0,30", "A;1;4;1e2;0.30", "samples.csv")  # a point is understood too
    read = site.read()
    assert read.cores.samples.equals(expected)
    assert {check.level for check in read.checks} == {"note"}
    assert any(
        "samples.csv" in str(check) and "decimal comma" in str(check) for check in read.checks
    )


def test_a_point_beside_decimal_commas_may_be_thousands(site):
    site.tables["samples.csv"] = site.tables["samples.csv"].replace(",", ";").replace(".", ",")
    site.edit("A;1;4;100", "A;1;4;1.000", "samples.csv")
    (message,) = site.errors()
    assert message.startswith("samples.csv row 2, column wet_mass_kg")
    assert "thousands" in message


def test_a_damaged_workbook_is_refused(site):
    path = site.write()
    (site.folder / "lab.csv").write_bytes(b"PK\x03\x04 and so on")
    with pytest.raises(SiteError, match=r"lab\.csv: The workbook cannot be read"):
        read_site(path)


def test_a_table_that_is_not_utf8_is_read_with_a_warning(site):
    path = site.write()
    (site.folder / "intervals.csv").write_bytes(
        site.tables["intervals.csv"].replace("clayey soil", "Löß").encode("cp1252")
    )
    read = read_site(path)
    assert read.cores.intervals["note"].iloc[0] == "Löß"
    (check,) = read.checks
    assert (check.level, check.where) == ("warning", "intervals.csv row 2")
    assert "UTF-8" in check.what_to_do


@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16"])
def test_marks_of_order_are_let_pass(site, encoding):
    path = site.write()
    (site.folder / "collars.csv").write_text(site.tables["collars.csv"], encoding=encoding)
    assert read_site(path).checks == ()


def test_headers_may_differ_in_case_and_blanks(site):
    old, new = "core_id,from_m,to_m,wet_mass_kg", " Core ID ,FROM_M,To m,Wet mass kg "
    site.edit(old, new, "samples.csv")
    assert site.read().checks == ()


def test_rows_are_counted_as_a_spreadsheet_counts_them(site):
    site.edit("A,4,8,80", "\n,,,,\nA,4,8,heavy", "samples.csv")
    site.edit("A,1,4,100", '"A",1,4,100', "samples.csv")
    (message,) = site.errors()
    assert message.startswith("samples.csv row 5, column wet_mass_kg")


def test_a_hint_of_the_separator_is_skipped(site):
    site.tables["gas.csv"] = "sep=,\n" + site.tables["gas.csv"]
    assert len(site.read().cores.gas) == 2


def test_columns_not_used_are_noted(site):
    site.edit("mercury_mg_kg", "mercury_mg_kg,arsenic_mg_kg", "lab.csv")
    site.edit("0.006,0.4", "0.006,0.4,3", "lab.csv")
    (check,) = site.read().checks
    assert (check.level, check.where) == ("note", "lab.csv")
    assert "arsenic_mg_kg" in check.what


def test_an_empty_table(site):
    site.tables["gas.csv"] = ""
    (message,) = site.errors()
    assert "gas.csv" in message
    assert "empty" in message


def test_long_form_names_the_row_of_an_unknown_material(site):
    site.tables["samples.csv"] = (
        "core_id,from_m,to_m,material,wet_mass_kg\nA,1,4,wood,10\nA,1,4,woodd,5\nA,1,4,wood,2\n"
    )
    (message,) = site.errors()
    assert "samples.csv row 3, column material" in message
    assert "Did you mean 'wood'?" in message
    site.edit("woodd", "Film & bags", "samples.csv")
    read = site.read()
    assert read.cores.samples["wood"].iloc[0] == 12
    assert read.cores.samples["plastic_film"].iloc[0] == 5
    assert any("row 4" in str(check) and "more than once" in str(check) for check in read.checks)
