"""The shape of the dig from real files: benches, lifts by depth, restoration, and bad ground.

Survey less base is 8 + 0.01 (u + v); over the footprint of 100 x 80 m about (60, 50) that is
9.1 m on average, 72 800 m3.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from reclaim.assumptions import Draws
from reclaim.estimate import estimate, measure_site, result_checks
from reclaim.ground import (
    SideSlope,
    ground_checks,
    side_slope_of,
    study_ground,
    volume_draws,
)
from reclaim.waste import core_composites

UPRIGHT = "lift_m = 2.5\nside_slope = 0.0"


def plane(u, v):
    return 20 + 0.02 * u + 0.01 * v


def dug_m3(excavation) -> float:
    return float(excavation.cover_m3.sum() + excavation.waste_m3.sum())


def studied(site, excavation):
    best, draws = Draws.best_estimate(), Draws(20, 1)
    volumes = (volume_draws(excavation, source) for source in (best, draws))
    return study_ground(site, *volumes, best, draws)


def test_benches_and_an_upper_slope_are_read(site):
    site.edit(
        "lift_m = 2.5",
        "lift_m = 2.5\nside_slope = 1.0\nbench_height_m = 3\nbench_width_m = 2\n"
        "upper_slope = 2.5\nupper_slope_depth_m = 1",
    )
    read = site.read()
    assert side_slope_of(read) == SideSlope(1.0, 3.0, 2.0, 2.5, 1.0)
    stepped = measure_site(read)
    plain = measure_site(replace(read, settings={**read.settings, **no_benches(read)}))
    assert dug_m3(stepped) < dug_m3(plain)
    assert stepped.gross_m3 == pytest.approx(plain.gross_m3)
    (note,) = ground_checks(read, stepped, studied(read, stepped))
    assert note.level == "note"
    assert "licensed engineer" in note.what_to_do


def test_benches_narrower_than_a_cell_are_told(site):
    site.edit(
        "lift_m = 2.5", "lift_m = 2.5\nside_slope = 1.0\nbench_height_m = 3\nbench_width_m = 0.6"
    )
    read = site.read()
    excavation = measure_site(read)
    warning, note = ground_checks(read, excavation, studied(read, excavation))
    assert (warning.level, note.level) == ("warning", "note")
    assert warning.where == "site.toml [excavation] bench_width_m"
    assert "0.6 m wide are narrower than the survey's cells of 1 m" in warning.what


def no_benches(read) -> dict:
    keys = ("bench_height_m", "bench_width_m", "upper_slope", "upper_slope_depth_m")
    names = [f"excavation.{key}" for key in keys]
    return {name: replace(read.settings[name], value=None) for name in names}


@pytest.mark.parametrize(
    ("keys", "parts"),
    [
        ("bench_width_m = 2", ("[excavation] bench_width_m", "'bench_height_m' is missing")),
        ("bench_height_m = 2", ("[excavation] bench_height_m", "'bench_width_m' is missing")),
        ("upper_slope = 2", ("[excavation] upper_slope", "'upper_slope_depth_m' is missing")),
        ("bench_width_m = -1\nbench_height_m = 2", ("bench_width_m", "0 to 100")),
        ('lifts_by = "size"', ("[excavation] lifts_by", "elevation")),
        ('restoration = "gone.tif"', ("[excavation] restoration", "'gone.tif' does not exist")),
        (
            'restoration = "base.tif"\nrestoration_elevation_m = 3.0',
            ("restoration_elevation_m", "given twice"),
        ),
        ("bench_hight_m = 2", ("bench_hight_m", "Did you mean 'bench_height_m'?")),
        ("waste_swell = 7", ("[excavation] waste_swell", "3")),
    ],
)
def test_what_makes_no_dig_is_told(site, keys, parts):
    site.edit("lift_m = 2.5", f"lift_m = 2.5\n{keys}")
    messages = site.errors()
    assert any(all(part in message for part in parts) for message in messages), messages


def test_lifts_by_depth_from_the_site_file(site):
    site.edit("lift_m = 2.5", f'{UPRIGHT}\nlifts_by = "depth"')
    found = measure_site(site.read())
    assert found.lift_top_m[0] == 0
    assert found.cover_m3[0, 0] == pytest.approx(0.5 * 8000)
    assert found.waste_m3[0, 0] == pytest.approx(2.0 * 8000)
    assert dug_m3(found) == pytest.approx(72_800)


def test_restoration_to_a_raster_and_to_a_level(site):
    site.edit("lift_m = 2.5", f'{UPRIGHT}\noverdig_m = 0.0\nrestoration = "after.tif"')
    # Half a metre under today's ground: fill = 72 800 - 4000.
    site.write_raster("after.tif", 1.0, lambda u, v: plane(u, v) - 0.5)
    read = site.read()
    excavation = measure_site(read)
    study = studied(read, excavation)
    assert study.restoration.fill_m3 == pytest.approx(68_800, rel=1e-9)
    assert study.restoration.label == "raster after.tif"
    assert not ground_checks(read, excavation, study)
    site.edit('restoration = "after.tif"', "restoration_elevation_m = 14.0")
    study = studied(site.read(), excavation)
    # Base 12 + 0.01 u, 12.6 on average.
    assert study.restoration.fill_m3 == pytest.approx(1.4 * 8000)
    assert study.restoration.label == "flat at 14 m"


def test_a_target_that_covers_half_is_told(site):
    site.edit("lift_m = 2.5", f'{UPRIGHT}\nrestoration = "after.tif"')
    site.write_raster("after.tif", 1.0, lambda u, v: np.where(u < 60, plane(u, v), -9999.0))
    read = site.read()
    excavation = measure_site(read)
    (check,) = ground_checks(read, excavation, studied(read, excavation))
    assert "unknown on 4,000 m2" in check.what
    assert check.where == "site.toml [excavation] restoration"


def test_a_target_far_away_is_not_called_the_base(site):
    site.edit("lift_m = 2.5", f'{UPRIGHT}\nrestoration = "after.tif"')
    site.write_raster("after.tif", 1.0, plane, west=5000.0)
    (message,) = site.errors()
    assert "target of the restoration lies wholly outside the survey" in message


def test_second_opinion_far_off_is_told(site):
    read = site.read()
    excavation = measure_site(read)
    study = studied(read, excavation)
    assert not ground_checks(read, excavation, study)
    far = replace(study.second_opinion, prismoidal_m3=1.3 * dug_m3(excavation))
    (check,) = ground_checks(read, excavation, replace(study, second_opinion=far))
    assert "more than the stated error" in check.what


@pytest.mark.parametrize("nodata", [-9999.0, None], ids=["marked", "not marked"])
def test_voids_inside_the_footprint_add_nothing_and_are_told(site, nodata):
    site.edit("lift_m = 2.5", UPRIGHT)
    hole = (30, 50, 40, 60)

    def with_hole(u, v):
        inside = (u > hole[0]) & (u < hole[1]) & (v > hole[2]) & (v < hole[3])
        return np.where(inside, -9999.0, plane(u, v))

    site.write_raster("survey.tif", 1.0, with_hole, nodata=nodata)
    read = site.read()
    found = measure_site(read)
    assert found.unknown_area_m2 == pytest.approx(400)
    # The hole is 8 + 0.01 (40 + 50) = 8.9 m deep on average.
    assert dug_m3(found) == pytest.approx(72_800 - 8.9 * 400)
    (check,) = result_checks(read, found, core_composites(read.cores))
    assert "400 m2 (5.0%)" in check.what


def test_a_base_that_covers_part_of_the_footprint_is_told(site):
    site.edit("lift_m = 2.5", UPRIGHT)
    site.write_raster("base.tif", 2.0, lambda u, v: np.where(u < 60, 12 + 0.01 * u + 0 * v, np.nan))
    read = site.read()
    assert any("base.tif" in str(check) and "unknown" in check.what for check in read.checks)
    found = measure_site(read)
    # The base is bilinear between its own cells and stays known over the cell of its last one.
    assert found.unknown_area_m2 == pytest.approx(50 * 80, rel=0.03)
    assert dug_m3(found) < 72_800 / 2 * 1.05


def test_a_spike_is_told_and_left_in(site):
    site.edit("lift_m = 2.5", UPRIGHT)
    site.write_raster(
        "survey.tif", 1.0,
        lambda u, v: plane(u, v) + 40 * ((np.abs(u - 60.5) < 0.1) & (np.abs(v - 50.5) < 0.1)),
    )  # fmt: skip
    read = site.read()
    assert any("stand out" in check.what for check in read.checks)
    assert dug_m3(measure_site(read)) == pytest.approx(72_800 + 40)


def test_the_whole_job_carries_the_ground_study(site):
    site.edit("lift_m = 2.5", "lift_m = 2.5\nrestoration_elevation_m = 20.0")
    found = estimate(site.read())
    study = found.ground
    assert study.blocks.volume_m3.sum() == pytest.approx(dug_m3(found.excavation), rel=1e-9)
    assert study.soil.import_m3.shape == found.draws.volumes.waste_m3.shape
    assert study.hypsometry.dug_below_m3[-1] == pytest.approx(dug_m3(found.excavation), rel=1e-9)
    assert study.chance.expected_area_m2 == pytest.approx(8000, rel=1e-3)
