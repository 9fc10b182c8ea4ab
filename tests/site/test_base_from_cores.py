"""The base kriged from the cores, an old survey corrected to them, and what is said of both."""

from __future__ import annotations

import numpy as np
import pytest

from reclaim.site import Window
from reclaim.site.surfaces import sample


def with_many_cores(site, base_of, count=16):
    """Replace the cores by a jittered lattice whose logs have the base given."""
    rng = np.random.default_rng(8)
    u, v = (axis.ravel() for axis in np.meshgrid(np.linspace(18, 102, 4), np.linspace(18, 82, 4)))
    u, v = (u + rng.uniform(-4, 4, 16))[:count], (v + rng.uniform(-4, 4, 16))[:count]
    collars, intervals, samples = [], [], []
    for index, (east, north) in enumerate(zip(u, v, strict=True)):
        core = "ABCD"[index] if index < 4 else f"K{index}"
        top = 20 + 0.02 * east + 0.01 * north
        depth = top - base_of(east, north)
        collars.append(
            f"{core},{500_000 + east:.3f},{5_400_000 + north:.3f},{top:.4f},{depth + 1:.4f},"
            ",auger,900"
        )
        intervals += [
            f"{core},0,0.5,cover,",
            f"{core},0.5,{depth:.4f},waste,",
            f"{core},{depth:.4f},{depth + 1:.4f},natural,",
        ]
        samples.append(f"{core},1,4,100,0.30,1.1,20,10,10,60")
    for name, rows in (
        ("collars.csv", collars), ("intervals.csv", intervals), ("samples.csv", samples),
    ):  # fmt: skip
        header = site.tables[name].splitlines()[0]
        site.tables[name] = "\n".join([header, *rows]) + "\n"
    return u, v


def wavy(u, v):
    return 12 + 0.01 * u + 0.6 * np.sin(u / 25) * np.cos(v / 30)


def at(surface, site_read, u, v):
    return sample(surface, site_read.grid, 500_000 + np.asarray(u), 5_400_000 + np.asarray(v))


def test_with_enough_cores_the_base_is_kriged_with_its_error(site):
    site.edit('base = "base.tif"', "base_from_cores = true")
    u, v = with_many_cores(site, wavy)
    read = site.read()
    assert read.base_sampled
    assert read.base_kriging_sd is not None
    # Cells are not quite at the cores, so a few centimetres remain.
    np.testing.assert_allclose(at(read.base, read, u, v), wavy(u, v), atol=0.06)
    sd_at_cores = at(read.base_kriging_sd, read, u, v)
    sd_in_corner = at(read.base_kriging_sd, read, [2.0], [98.0])
    assert sd_at_cores.max() < sd_in_corner[0]
    error = at(read.base, read, [45.0, 70, 95], [50.0, 35, 60]) - wavy(
        np.array([45.0, 70, 95]), np.array([50.0, 35, 60])
    )
    sd = at(read.base_kriging_sd, read, [45.0, 70, 95], [50.0, 35, 60])
    assert (np.abs(error) < 3 * sd).all()
    notes = [str(check) for check in read.checks if check.level == "note"]
    assert any("kriged from 16 core logs (spherical covariance" in text for text in notes)
    warnings = [str(check) for check in read.checks if check.level == "warning"]
    assert any("kriging draws it towards the mean" in text for text in warnings)


def test_residuals_of_a_kriged_base_are_those_of_cores_left_out(site):
    site.edit('base = "base.tif"', "base_from_cores = true")
    with_many_cores(site, wavy)
    read = site.read()
    table = read.core_residuals
    assert list(table["core_id"]) == list(read.cores.collars["core_id"])
    residual = table["base_residual_m"].to_numpy()
    assert np.isfinite(residual).all()
    assert np.abs(residual).max() > 0.05  # a surface through the cores would show none
    np.testing.assert_allclose(table["cover_residual_m"], 0, atol=1e-9)
    np.testing.assert_allclose(table["cover_logged_m"], 0.5, atol=1e-9)


def test_few_cores_keep_the_linear_base_and_have_no_kriging_error(site):
    site.edit('base = "base.tif"', "base_from_cores = true")
    assert site.read().base_kriging_sd is None


def test_an_old_survey_is_moved_to_the_cores(site):
    """The cores lie 1 m below the old survey in the west and on it in the east."""

    def lower(u, _):
        return 12 + 0.01 * u - 1.0 * np.clip((110 - u) / 60, 0, 1)

    u, v = with_many_cores(site, lower)
    before = site.read()
    assert any("above the base in the logs" in str(check) for check in before.checks)
    site.edit('base = "base.tif"', 'base = "base.tif"\nbase_correct_to_cores = true')
    read = site.read()
    assert not read.base_sampled
    assert read.base_kriging_sd is not None
    np.testing.assert_allclose(at(read.base, read, u, v), lower(u, v), atol=0.02)
    with read.base.reader() as values, before.base.reader() as old:
        moved = values(Window(20, 20, 60, 80)) - old(Window(20, 20, 60, 80))
    assert moved.min() > -1.1
    assert moved.max() < 0.2
    (note,) = [str(c) for c in read.checks if "moved towards the base in 16 core logs" in str(c)]
    assert "base_correct_to_cores" in note
    assert "raster base.tif" in note


def test_a_constant_base_can_be_corrected_by_few_cores(site):
    site.edit('base = "base.tif"', "base_elevation_m = 12.6\nbase_correct_to_cores = true")
    read = site.read()
    np.testing.assert_allclose(
        at(read.base, read, [20.0, 100, 20, 100], [20.0, 20, 80, 80]), [12.2, 13, 12.2, 13],
        atol=0.02,
    )  # fmt: skip


def test_core_residuals_of_a_given_base(site):
    table = site.read().core_residuals
    np.testing.assert_allclose(table["base_logged_m"], [12.2, 13.0, 12.2, 13.0])
    np.testing.assert_allclose(table["base_residual_m"], 0, atol=1e-6)


@pytest.mark.parametrize(
    ("key", "parts"),
    [
        ("base_from_cores = true\nbase_correct_to_cores = true", ("from the cores already",)),
        ('base = "base.tif"\nbase_breaklines = "base.tif"', ("Breaklines go with points",)),
        ('base_elevation_m = 12\nbase_breaklines = "base.tif"', ("no base of points",)),
    ],
)
def test_keys_that_contradict_each_other(site, key, parts):
    site.edit('base = "base.tif"', key)
    messages = site.errors()
    assert any(all(part in message for part in parts) for message in messages), messages


def test_correction_needs_a_core_on_the_base(site):
    site.edit('base = "base.tif"', 'base = "base.tif"\nbase_correct_to_cores = true')
    for row in ("A,8.4,9.4,natural,sand\n", "B,9.2,10.2,natural,\n", "C,9.0,10.0,natural,\n",
                "D,9.8,10.8,natural,\n"):  # fmt: skip
        site.edit(row, "", "intervals.csv")
    (message,) = site.errors()
    assert "No core that reaches natural ground lies on the base surface" in message


def holed(u, v):
    values = 20 + 0.02 * u + 0.01 * v
    values[40:50, 30:40] = -9999
    return values


def test_voids_in_the_survey_are_told_with_their_area(site):
    site.write_raster("survey.tif", 1.0, holed)
    (warning,) = [text for text in site.warnings() if "unknown on" in text]
    assert warning.startswith("survey.tif")
    assert "100 m2" in warning


def test_voids_without_nodata_in_the_metadata_are_told_too(site):
    site.write_raster("survey.tif", 1.0, holed, nodata=None)
    assert any("unknown on about 100 m2" in text for text in site.warnings())


def test_a_base_under_part_of_the_footprint_is_told(site):
    site.write_raster("base.tif", 1.0, lambda u, _: 12 + 0.01 * u, west=60)
    (warning,) = [text for text in site.warnings() if "unknown on" in text]
    assert warning.startswith("base.tif")
    assert "4000 m2" in warning  # footprint from 10 to 110 m, base from 60 m


def test_a_survey_that_is_nodata_under_the_footprint_is_an_error(site):
    def rim_only(u, v):
        values = 20 + 0.02 * u + 0.01 * v
        values[8:92, 8:112] = np.nan
        return values

    site.write_raster("survey.tif", 1.0, rim_only)
    assert any("unknown under the whole footprint" in text for text in site.errors())


def test_spikes_are_told_with_the_worst_place(site):
    def spiked(u, v):
        values = 20 + 0.02 * u + 0.01 * v
        values[50, 60] += 25
        values[20, 30] -= 8
        values[0, 0] += 50  # outside the footprint
        return values

    site.write_raster("survey.tif", 1.0, spiked)
    (warning,) = [text for text in site.warnings() if "stand out" in text]
    assert "around them: 2, " in warning
    assert "500060.5, 5400049.5" in warning


@pytest.mark.parametrize(("axis", "words"), [(0, "west-east line"), (1, "north-south line")])
def test_tiles_that_do_not_meet_are_told(site, axis, words):
    def stepped(u, v):
        values = 20 + 0.02 * u + 0.01 * v + 0 * (u + v)
        return values + 0.3 * ((v if axis == 0 else u) > 50)

    site.write_raster("survey.tif", 1.0, stepped)
    (warning,) = [text for text in site.warnings() if "steps by" in text]
    assert "0.3" in warning
    assert words in warning


def test_a_natural_slope_is_no_seam(site):
    site.write_raster("survey.tif", 1.0, lambda u, v: 20 + 3 * np.tanh((u + 0 * v - 50) / 8))
    assert not any("steps by" in text for text in site.warnings())


def test_a_cover_that_differs_from_the_logs_is_told(site):
    site.edit("cover_m = 0.5", "cover_m = 0.9")
    (warning,) = [text for text in site.warnings() if "cover in the logs" in text]
    assert "0.40 m thinner" in warning


def test_twin_cores_are_noted(site):
    site.edit("B,500100,5400020,22.2", "B,500020,5400020,20.6", "collars.csv")
    assert any("Cores A, B stand in one place" in str(check) for check in site.checks("note"))
