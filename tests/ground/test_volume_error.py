"""The parts of the volume error, against direct double sums, and the draws made from them."""

import numpy as np
import pytest
import shapely

from reclaim.assumptions import Draws
from reclaim.ground import Excavation, VolumeError, measure, volume_draws
from reclaim.ground.columns import Layout, columns
from reclaim.ground.known_surfaces import (
    KnownSurface,
    hummocks,
    level,
    plain_footprint,
    rough_outline,
)
from reclaim.ground.volume_error import (
    DugArea,
    _counts,
    covariance_integral,
    ground_default,
    spherical,
    volume_error,
)
from reclaim.reference import read_rows
from reclaim.site.model import Grid

GRID = Grid(0.0, 120.0, 1.0, 1.0, 120, 120)


def double_sum(area_m2: np.ndarray, cell_x_m: float, cell_y_m: float, range_m: float) -> float:
    """Return the sum over all pairs of cells, pair by pair."""
    row, column = np.nonzero(area_m2)
    x, y = column * cell_x_m, row * cell_y_m
    distance = np.hypot(x[:, None] - x, y[:, None] - y)
    weight = area_m2[row, column]
    return float(weight @ spherical(distance, range_m) @ weight)


def dug_area(grid: Grid, footprint, survey=None) -> DugArea:
    layout = Layout(footprint, grid)
    found = DugArea(layout.extent, grid)
    surfaces = KnownSurface(grid, survey or level(5)), KnownSurface(grid, level(0))
    for part in columns(layout, *surfaces, side_slope=0.0):
        found.add(part, part.survey_m > 0)
    return found


@pytest.mark.parametrize("range_m", [12.0, 40.0, 500.0])
def test_covariance_integral_is_the_double_sum(range_m: float):
    rng = np.random.default_rng(2)
    area = np.where(rng.random((16, 13)) < 0.7, rng.random((16, 13)), 0.0)
    found = covariance_integral(area, 1.0, 1.5, range_m)
    # The sum of point pairs and the mean over pairs of cells differ by the cells' own size.
    assert found == pytest.approx(double_sum(area, 1.0, 1.5, range_m), rel=3e-2)
    fine = np.kron(area, np.ones((4, 4))) / 16
    assert found == pytest.approx(double_sum(fine, 0.25, 0.375, range_m), rel=4e-3)


def test_a_range_below_the_cell_is_not_overstated():
    area = np.full((30, 30), 4.0)
    # A correlated patch of area pi a^2 / 5 beside 2 m cells (Rolstad et al. 2009, J. Glaciology).
    expected = area.sum() * np.pi * 0.8**2 / 5
    assert covariance_integral(area, 2.0, 2.0, 0.8) == pytest.approx(expected, rel=3e-2)


def test_no_area_and_no_range():
    assert covariance_integral(np.zeros((4, 4)), 1.0, 1.0, 10.0) == 0
    assert covariance_integral(np.ones((4, 4)), 1.0, 1.0, 0.0) == pytest.approx(0.0, abs=1e-9)


def test_an_endless_range_is_a_shift_of_the_whole():
    area = np.ones((20, 30))
    assert covariance_integral(area, 1.0, 1.0, 1e9) == pytest.approx(600.0**2, rel=1e-6)


def test_coarse_raster_keeps_the_area():
    grid = Grid(0.0, 1500.0, 1.0, 1.0, 1500, 1500)
    outline = rough_outline(80, 750, 750, 500, jag=1)
    found = dug_area(grid, plain_footprint(outline))
    assert max(found.area_m2.shape) <= ground_default("error_cells_per_side")
    assert found.area_m2.sum() == pytest.approx(outline.area, rel=1e-12)
    assert found.squares_m4 < outline.area
    assert found.cell_x_m > 1


@pytest.mark.parametrize(("columns_", "merged"), [(24, 3), (29, 5), (1, 1), (40, 300)])
def test_cells_of_a_coarse_raster_are_counted_as_one_by_one(columns_: int, merged: int):
    inside = np.random.default_rng(4).random((310, columns_)) < 0.97
    row, column = (np.arange(310) + 2) // merged, (np.arange(columns_) + 1) // merged
    expected = np.zeros((row[-1] + 1, column[-1] + 1), dtype=int)
    np.add.at(expected, np.ix_(row, column), inside)
    np.testing.assert_array_equal(_counts(inside, row, column), expected[row[0] :, column[0] :])


def test_coarse_raster_holds_only_what_is_dug():
    def half(x: np.ndarray, _: np.ndarray) -> np.ndarray:
        return np.where(x < 50, 5.0, -5.0)

    found = dug_area(GRID, plain_footprint(shapely.box(10.5, 10.5, 90.5, 30.5)), half)
    assert found.area_m2.sum() == pytest.approx(39.5 * 20)


def test_base_error_counts_only_where_the_dig_ends_on_the_base():
    grid = GRID
    footprint = plain_footprint(shapely.box(10, 10, 110, 110))
    numbers = {
        "overdig_m": 0.0, "lift_m": 3.0, "survey_sd_m": 0.0, "base_sd_m": 0.4,
        "error_range_m": 30.0,
    }  # fmt: skip
    surfaces = [KnownSurface(grid, level(height)) for height in (10, 0, 0)]
    upright = measure(footprint, grid, *surfaces, side_slope=0.0, **numbers)
    sloped = measure(footprint, grid, *surfaces, side_slope=2.0, **numbers)
    floor = measure(
        plain_footprint(shapely.box(30, 30, 90, 90)), grid, *surfaces, side_slope=0.0, **numbers
    )
    assert sloped.error.correlated_m3 < upright.error.correlated_m3
    assert sloped.error.correlated_m3 == pytest.approx(floor.error.correlated_m3, rel=0.02)


def test_parts_combine_in_quadrature():
    assert VolumeError(3.0, 4.0, 12.0).total_m3 == 13.0
    area = dug_area(GRID, plain_footprint(shapely.box(10, 10, 50, 50)))
    given = {"error_range_m": 10.0}
    both = volume_error(area, area, survey_sd_m=0.3, base_sd_m=0.4, **given)
    once = volume_error(area, area, survey_sd_m=0.5, base_sd_m=0.0, **given)
    assert both.correlated_m3 == pytest.approx(once.correlated_m3, rel=1e-12)


def test_every_default_has_a_value_and_a_status():
    for row in read_rows("ground.csv"):
        assert float(row["value"]) > 0
        assert row["status"] in {"published", "common practice", "from memory", "judgement"}
        assert row["source"]
        assert row["unit"]


@pytest.fixture
def excavation() -> Excavation:
    outline = rough_outline(40, 60, 60, 40)
    west = shapely.box(0, 0, 55, 120)
    footprint = plain_footprint(
        outline, west=outline.intersection(west), east=outline.difference(west)
    )
    surfaces = [KnownSurface(GRID, each) for each in (hummocks(9, 12, 0, 0), level(0), level(1))]
    return measure(
        footprint, GRID, *surfaces, side_slope=0.0, overdig_m=0.3, lift_m=3.0, survey_sd_m=0.05,
        base_sd_m=0.4, error_range_m=60.0,
    )  # fmt: skip


def test_best_estimate_is_the_measured_volume(excavation: Excavation):
    best = volume_draws(excavation, Draws.best_estimate())
    assert best.waste_m3.shape == (1,)
    assert best.waste_m3[0] == pytest.approx(excavation.waste_m3.sum(), rel=1e-14)
    assert best.cover_m3[0] == pytest.approx(excavation.cover_m3.sum(), rel=1e-14)
    assert best.overdig_m3[0] == pytest.approx(excavation.overdig_m3.sum(), rel=1e-14)
    np.testing.assert_allclose(best.zone_waste_m3[0], excavation.waste_m3.sum(axis=1))


def test_draws_spread_as_the_error_says(excavation: Excavation):
    drawn = volume_draws(excavation, Draws(4000, seed=3))
    assert drawn.zone_waste_m3.shape == (4000, 2)
    np.testing.assert_allclose(drawn.zone_waste_m3.sum(axis=1), drawn.waste_m3)
    assert drawn.waste_m3.mean() == pytest.approx(excavation.waste_m3.sum(), rel=1e-3)
    # Three stratified streams in 4000 draws: the sd of their sum is known to some 2 %.
    assert drawn.waste_m3.std() == pytest.approx(excavation.error.total_m3, rel=0.04)


def test_a_draw_keeps_a_little_waste_however_wild_the_error(excavation: Excavation):
    from dataclasses import replace

    wild = replace(excavation, error=VolumeError(0.0, 0.0, 5 * excavation.waste_m3.sum()))
    drawn = volume_draws(wild, Draws(500, seed=1))
    least = ground_default("least_volume_share")
    assert drawn.waste_m3.min() == pytest.approx(least * excavation.waste_m3.sum())
    zone_m3 = excavation.waste_m3.sum(axis=1)
    np.testing.assert_allclose(drawn.zone_waste_m3.min(axis=0), least * zone_m3)


def test_no_waste_stays_no_waste(excavation: Excavation):
    from dataclasses import replace

    empty = replace(excavation, waste_m3=np.zeros_like(excavation.waste_m3))
    assert volume_draws(empty, Draws(10, seed=1)).waste_m3.tolist() == [0.0] * 10
