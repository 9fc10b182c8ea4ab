"""The slopes of the dig, against trying every piece of the rim and against closed forms."""

import numpy as np
import pytest
import shapely

from reclaim.ground.dig_surface import Rim, dig_heights, rim_of
from reclaim.ground.known_surfaces import (
    KnownSurface,
    hummocks,
    level,
    plain_footprint,
    plane,
    rough_outline,
)
from reclaim.ground.side_slope import SideSlope
from reclaim.site.model import Grid, Window

GRID = Grid(1000.0, 3000.0, 1.0, 0.8, 300, 260)
STEPPED = [
    SideSlope(0.7, bench_height_m=4.0, bench_width_m=2.5),
    SideSlope(0.0, bench_height_m=3.0, bench_width_m=3.0),
    SideSlope(1.5, upper_face=3.0, upper_depth_m=2.0),
    SideSlope(1.0, bench_height_m=5.0, bench_width_m=3.0, upper_face=2.0, upper_depth_m=1.5),
]


def rim_on(formula, polygon: shapely.Geometry, side_slope: float | SideSlope) -> Rim:
    with KnownSurface(GRID, formula).reader() as read:
        return rim_of(plain_footprint(polygon).outline, GRID, read, side_slope)


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("side_slope", [0.7, 1.5, 4.0, *STEPPED])
def test_pruning_never_loses_the_highest_slope(seed: int, side_slope: float | SideSlope):
    rng = np.random.default_rng(seed)
    polygon = rough_outline(60, 1130, 2880, 80, jag=1.5, seed=seed)
    polygon = polygon.difference(shapely.Point(1150, 2890).buffer(12))
    rim = rim_on(hummocks(20, 6.0 + seed, 1100, 2900), polygon, side_slope)
    window = Window(3, 5, 250, 240)
    place = rng.permutation(window.rows * window.columns)[:600]
    right, up = rng.uniform(-0.5, 0.5, (2, place.size))
    floor_m = rng.uniform(2, 15) + rng.uniform(0, 2, place.size)
    found = dig_heights(rim, GRID, window, place, right, up, floor_m)

    row, column = np.divmod(place, window.columns)
    x_m = (window.column + column + 0.5 + right) * GRID.cell_x_m
    y_m = -(window.row + row + 0.5 - up) * GRID.cell_y_m
    every = np.arange(rim.x_m.size)
    highest = [
        rim.heights(every, np.full(every.size, x), np.full(every.size, y))[0].max()
        for x, y in zip(x_m, y_m, strict=True)
    ]
    assert np.any(highest > floor_m)
    np.testing.assert_array_equal(found, np.maximum(floor_m, highest))


@pytest.mark.parametrize("side_slope", [0.5, 1.5, 3.0])
def test_closed_form_along_a_piece_is_the_highest_of_its_points(side_slope: float):
    # Ground that rises 0.9 m per metre: flatter than 1:0.5, steeper than the other two slopes.
    rim = rim_on(plane(50, 0.8, 0.4, 1100, 2900), shapely.box(1050, 2850, 1090, 2880), side_slope)
    rng = np.random.default_rng(5)
    piece = rng.integers(0, rim.x_m.size, 300)
    x_m, y_m = rng.uniform(30, 110, 300), rng.uniform(-170, -100, 300)
    found, right, up = rim.heights(piece, x_m, y_m)
    along = np.linspace(0, 1, 2001)[:, None] * rim.length_m[piece]
    distance = np.hypot(
        x_m - rim.x_m[piece] - along * rim.east[piece],
        y_m - rim.y_m[piece] - along * rim.north[piece],
    )
    sampled = rim.elevation_m[piece] + rim.rise[piece] * along - distance / side_slope
    assert np.all(found >= sampled.max(axis=0) - 1e-9)
    np.testing.assert_allclose(found, sampled.max(axis=0), atol=1e-6)
    start = distance[sampled.argmax(axis=0), np.arange(300)]
    np.testing.assert_allclose(np.hypot(right, up), start, atol=2e-3)


@pytest.mark.parametrize("side_slope", STEPPED)
def test_benches_along_a_piece_are_the_highest_of_its_points(side_slope: SideSlope):
    rim = rim_on(plane(50, 0.2, 0.1, 1100, 2900), shapely.box(1050, 2850, 1090, 2880), side_slope)
    rng = np.random.default_rng(5)
    piece = rng.integers(0, rim.x_m.size, 2000)
    x_m, y_m = rng.uniform(30, 110, 2000), rng.uniform(-170, -100, 2000)
    found, _, _ = rim.heights(piece, x_m, y_m)
    along = np.linspace(0, 1, 801)[:, None] * rim.length_m[piece]
    distance = np.hypot(
        x_m - rim.x_m[piece] - along * rim.east[piece],
        y_m - rim.y_m[piece] - along * rim.north[piece],
    )
    sampled = rim.elevation_m[piece] + rim.rise[piece] * along - side_slope.drop(distance)
    assert np.all(found >= sampled.max(axis=0) - 1e-9)


def test_beside_a_straight_face_the_slope_falls_with_the_distance():
    rim = rim_on(level(30), shapely.box(1010, 2780, 1250, 2990), 2.0)
    window = Window(120, 0, 8, 60)
    place = 4 * window.columns + np.arange(10, 60)
    floor_m = np.full(50, 10.0)
    found = dig_heights(rim, GRID, window, place, 0.0, 0.0, floor_m)
    distance = np.arange(10, 60) + 0.5 - 10
    np.testing.assert_allclose(found, np.maximum(10, 30 - distance / 2), rtol=1e-13)


def test_far_from_the_rim_the_base_is_handed_back_as_it_came():
    rim = rim_on(level(12), shapely.box(1010, 2780, 1250, 2990), 1.0)
    floor_m = np.full(64, 10.0)
    found = dig_heights(rim, GRID, Window(100, 100, 8, 8), np.arange(64), 0.0, 0.0, floor_m)
    assert found is floor_m


def test_unknown_base_stays_unknown():
    rim = rim_on(level(30), shapely.box(1010, 2780, 1250, 2990), 2.0)
    floor_m = np.array([10.0, np.nan])
    found = dig_heights(rim, GRID, Window(100, 10, 1, 2), np.arange(2), 0.0, 0.0, floor_m)
    assert found[0] == pytest.approx(29.75)
    assert np.isnan(found[1])


def test_rim_is_densified_and_takes_in_the_holes():
    outer, hole = shapely.box(1010, 2800, 1110, 2900), shapely.box(1050, 2840, 1070, 2850)
    rim = rim_on(level(5), outer.difference(hole), 1.0)
    assert rim.length_m.sum() == pytest.approx(outer.length + hole.length)
    assert rim.length_m.max() <= 0.8 + 1e-9


def test_no_slope_starts_where_the_survey_is_unknown():
    def half_known(x: np.ndarray, _: np.ndarray) -> np.ndarray:
        return np.where(x < 1060, 5.0, np.nan)

    rim = rim_on(half_known, shapely.box(1010, 2800, 1110, 2900), 1.0)
    assert 0 < rim.length_m.sum() < 205
    assert rim.x_m.max() < 61
