"""A good site is read whole, without a warning, and in SI units."""

from __future__ import annotations

import hashlib

import numpy as np
import pytest

from reclaim.reference import assumption_defaults, material_names
from reclaim.site import SiteError, Window
from reclaim.site.settings import setting_defaults

MATERIALS = material_names()


def test_reads_without_warning_or_note(site):
    assert site.read().checks == ()


def test_site_section_and_settings(site):
    read = site.read()
    assert (read.name, read.currency, read.price_year) == ("Small Tip", "EUR", 2025)
    assert (read.opened, read.closed, read.draws, read.seed) == (1961, 1987, 50, 7)
    assert read.lift_m == 2.5
    assert read.settings["excavation.lift_m"].given
    assert read.settings["excavation.lift_m"].source == "site file"
    default = setting_defaults()["excavation.side_slope"]
    assert read.side_slope == default.value
    assert not read.settings["excavation.side_slope"].given


def test_default_side_slope_is_that_of_type_c_soil():
    # 29 CFR 1926 Subpart P, App. B, Table B-1: type C, 1 1/2 : 1 (34 degrees).
    assert setting_defaults()["excavation.side_slope"].value == 1.5
    assert np.degrees(np.arctan(1 / 1.5)) == pytest.approx(34, abs=0.5)


def test_every_assumption_is_there_given_or_default(site):
    assumptions = site.read().assumptions
    assert set(assumptions) == set(assumption_defaults())
    assert assumptions["waste.moisture"].given
    assert assumptions["waste.moisture"].numbers == (0.2, 0.3, 0.4)
    assert not assumptions["waste.bulk_density_t_m3"].given


def test_inputs_are_hashed(site):
    read = site.read()
    hashes = {item.path: item.sha256 for item in read.inputs}
    assert list(hashes)[0] == "site.toml"  # noqa: RUF015  # the order is the point
    assert set(hashes) == {
        "site.toml", "footprint.geojson", "survey.tif", "base.tif", *site.tables,
    }  # fmt: skip
    expected = hashlib.sha256((site.folder / "survey.tif").read_bytes()).hexdigest()
    assert hashes["survey.tif"] == expected


def test_grid_is_that_of_the_survey(site):
    grid = site.read().grid
    assert (grid.west_m, grid.north_m) == (500_000, 5_400_100)
    assert (grid.cell_x_m, grid.cell_y_m, grid.rows, grid.columns) == (1, 1, 100, 120)
    assert grid.crs_unit_m == 1


def test_core_tables_in_reference_names(site):
    cores = site.read().cores
    assert list(cores.collars["core_id"]) == ["A", "B", "C", "D"]
    assert list(cores.collars["zone"]) == ["whole"] * 4
    first = cores.samples.iloc[0]
    assert list(cores.samples.columns[6:-2]) == list(MATERIALS)
    assert (first["plastic_film"], first["fines"], first["textiles"]) == (20, 60, 0)
    assert first["moisture"] == 0.30
    assert np.isnan(cores.samples["moisture"].iloc[3])
    assert "row" not in cores.samples.columns
    assert cores.gas["flow_l_h"].iloc[0] == -0.2  # a hole that draws air in is no error


def test_long_samples_give_the_same_as_wide_ones(site):
    wide = site.read().cores.samples
    lines = ["core_id,from_m,to_m,material,wet_mass_kg,moisture,bulk_density_t_m3"]
    header, *rows = [line.split(",") for line in site.tables["samples.csv"].splitlines()]
    for row in rows:
        for name, mass in zip(header[6:], row[6:], strict=True):
            lines.append(",".join([*row[:3], name, mass, row[4], row[5]]))
    site.tables["samples.csv"] = "\n".join(lines)
    np.testing.assert_allclose(
        site.read().cores.samples.drop(columns="core_id").to_numpy(dtype=float),
        wide.drop(columns="core_id").to_numpy(dtype=float),
    )


def test_a_site_without_cores_needs_a_composition(site):
    start, end = site.toml.index("[cores]"), site.toml.index("[waste]")
    site.toml = site.toml[:start] + site.toml[end:]
    assert any("made of" in message for message in site.errors())
    site.toml += "\n[waste.composition]\nfines = 0.6\nwood = {low = 0.3, mode = 0.4, high = 0.5}\n"
    read = site.read()
    assert read.composition["wood"].central == 0.4
    assert read.cores.collars.empty
    assert list(read.cores.samples.columns[6:-2]) == list(MATERIALS)
    assert read.checks == ()


def test_core_summary_needs_no_survey_and_no_footprint(site):
    site.toml = (
        '[site]\nname = "Cores only"\n'
        + site.toml[site.toml.index("[cores]") : site.toml.index("[waste]")]
        + '[waste.names]\n"Film & bags" = "plastic_film"\n'
    )
    read = site.read_core_tables()
    assert list(read.cores.collars["zone"]) == [""] * 4
    assert len(read.cores.samples) == 5
    assert read.checks == ()


def test_core_summary_takes_zones_from_a_footprint_alone(site):
    (site.folder / "survey.tif").unlink()
    read = site.read_core_tables()
    assert list(read.cores.collars["zone"]) == ["whole"] * 4


def test_windows_outside_the_grid_are_unknown(site):
    read = site.read()
    for surface in (read.survey, read.base, read.cover):
        with surface.reader() as values:
            corner = values(Window(-1, 119, 2, 2))
            assert np.isnan(corner).tolist() == [[True, True], [False, True]]
            assert np.isnan(values(Window(500, 500, 3, 4))).shape == (3, 4)


def test_core_summary_needs_samples(site):
    site.edit('samples = "samples.csv"\n', "")
    with pytest.raises(SiteError, match=r"\[cores\] samples"):
        site.read_core_tables()


def test_every_setting_has_a_status_and_a_source():
    statuses = {"published", "common practice", "from memory", "judgement"}
    for setting in setting_defaults().values():
        assert setting.status in statuses
        assert setting.source
        assert setting.minimum < setting.maximum
        assert setting.value is None or setting.minimum <= setting.value <= setting.maximum
