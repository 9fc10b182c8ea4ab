"""Volumes by zone and lift on ground that can be reckoned by hand, and what must always hold."""

from dataclasses import fields

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from reclaim.ground import Excavation, measure
from reclaim.ground.known_surfaces import (
    KnownSurface,
    hummocks,
    level,
    plain_footprint,
    plane,
    rough_outline,
)
from reclaim.site.model import Footprint, Grid

GRID = Grid(0.0, 120.0, 1.0, 1.0, 120, 120)
COARSE = Grid(0.0, 120.0, 2.0, 2.0, 60, 60)
NUMBERS = {
    "side_slope": 0.0,
    "overdig_m": 0.0,
    "lift_m": 3.0,
    "survey_sd_m": 0.05,
    "base_sd_m": 0.4,
    "error_range_m": 60.0,
}


def dig(footprint: Footprint, survey, base, cover=None, grid: Grid = GRID, **numbers) -> Excavation:
    surfaces = (KnownSurface(grid, each) for each in (survey, base, cover or level(0)))
    return measure(footprint, grid, *surfaces, **NUMBERS | numbers)


def dug_m3(excavation: Excavation) -> float:
    return float(excavation.cover_m3.sum() + excavation.waste_m3.sum())


def test_level_ground_is_split_among_the_lifts():
    square = plain_footprint(shapely.box(10, 10, 20, 20))
    found = dig(square, level(10), level(0.5), level(2), overdig_m=0.3)
    assert found.lift_top_m.tolist() == [12, 9, 6, 3]
    assert found.lift_bottom_m.tolist() == [9, 6, 3, 0]
    np.testing.assert_allclose(found.cover_m3, [[100, 100, 0, 0]])
    np.testing.assert_allclose(found.waste_m3, [[0, 200, 300, 250]])
    np.testing.assert_allclose(found.overdig_m3, [30])
    assert found.area_m2.tolist() == [100]
    assert found.deepest_m == 9.5
    assert found.gross_m3 == pytest.approx(950)
    assert found.mean_depth_m == pytest.approx(9.5)


def test_lifts_below_datum_are_multiples_too():
    found = dig(plain_footprint(shapely.box(0, 0, 10, 10)), level(-1), level(-4), lift_m=2.0)
    assert found.lift_top_m.tolist() == [0, -2]
    np.testing.assert_allclose(found.waste_m3, [[100, 200]])


def test_lifts_of_a_tilted_plane_are_exact():
    # Ground that rises from 0 at x=0 to 6 at x=60, base at 0: lift 0-3 and lift 3-6 m.
    found = dig(plain_footprint(shapely.box(0, 0, 60, 10)), plane(0, 0.1, 0, 0, 0), level(0))
    # Above 3 m lies a wedge 30 m long and 3 m high: 45 m2.
    np.testing.assert_allclose(found.waste_m3, [[450, 1350]], rtol=1e-12)


def test_cover_is_no_thicker_than_what_is_dug():
    found = dig(plain_footprint(shapely.box(0, 0, 10, 10)), level(1), level(0.4), level(2))
    assert found.cover_m3.sum() == pytest.approx(60)
    assert found.waste_m3.sum() == 0


def test_negative_cover_counts_as_none():
    found = dig(plain_footprint(shapely.box(0, 0, 10, 10)), level(1), level(0), level(-0.5))
    assert found.cover_m3.sum() == 0
    assert found.waste_m3.sum() == pytest.approx(100)


def test_inverted_ground_is_counted_as_nothing():
    ramp = plane(0, 0.1, 0, 50, 0)
    found = dig(plain_footprint(shapely.box(0, 0, 100, 10)), ramp, level(0), overdig_m=1.0)
    assert found.inverted_area_m2 == pytest.approx(500)
    assert dug_m3(found) == pytest.approx(0.5 * 50 * 5 * 10, rel=1e-12)
    assert found.overdig_m3.sum() == pytest.approx(500)


@pytest.mark.parametrize("hidden", [0, 1, 2])
def test_unknown_ground_is_told_and_adds_nothing(hidden: int):
    def unknown_in_the_west(x: np.ndarray, _: np.ndarray) -> np.ndarray:
        return np.where(x < 40, np.nan, 5.0 if hidden == 0 else 0.0)

    surfaces = [level(5), level(0), level(0)]
    surfaces[hidden] = unknown_in_the_west
    found = dig(plain_footprint(shapely.box(30.5, 10, 60, 20)), *surfaces)
    assert found.unknown_area_m2 == pytest.approx(95)
    assert found.area_m2.sum() == pytest.approx(295)
    assert dug_m3(found) == pytest.approx(1000)


def test_footprint_off_the_survey_is_unknown():
    found = dig(plain_footprint(shapely.box(-20, 10, 10, 20)), level(5), level(0))
    assert found.unknown_area_m2 == pytest.approx(200)
    assert dug_m3(found) == pytest.approx(500)


def test_nothing_to_dig():
    found = dig(plain_footprint(shapely.box(10, 10, 20, 20)), level(0), level(5))
    assert dug_m3(found) == 0
    assert found.deepest_m == 0
    assert found.error.total_m3 == 0


def test_overdig_is_not_taken_on_the_slopes():
    # 20 m square, 5 m deep, 1:1: the floor is 10 m square.
    found = dig(
        plain_footprint(shapely.box(10, 10, 30, 30)), level(5), level(0), side_slope=1.0,
        overdig_m=0.5,
    )  # fmt: skip
    assert found.overdig_m3.sum() == pytest.approx(50)
    assert found.left_in_slopes_m3.sum() + dug_m3(found) == pytest.approx(2000)


def test_slopes_start_at_exclusions_but_not_between_zones():
    whole = shapely.box(10, 10, 90, 90)
    west, east = shapely.box(10, 10, 50.3, 90), shapely.box(50.3, 10, 90, 90)
    one = dig(plain_footprint(whole), level(5), level(0), side_slope=1.5)
    two = dig(plain_footprint(whole, west=west, east=east), level(5), level(0), side_slope=1.5)
    assert dug_m3(two) == pytest.approx(dug_m3(one), rel=1e-12)
    pillar = shapely.box(45, 45, 55, 55)
    around = dig(plain_footprint(whole, pillar), level(5), level(0), side_slope=1.5)
    # Lost: the pillar, and 4 wedges and 4 quarter cones around it (h 5 m, 7.5 m wide).
    lost = 500 + 4 * 10 * 7.5 * 5 / 2 + np.pi * 7.5**2 * 5 / 3
    assert dug_m3(one) - dug_m3(around) == pytest.approx(lost, rel=5e-3)


def test_zones_add_up_to_the_whole():
    outline = rough_outline(90, 60, 60, 40, jag=1)
    ground = hummocks(20, 15, 0, 0), plane(8, 0.02, 0.01, 60, 60), level(0.7)
    cut = shapely.LineString([(0, 3.3), (120, 101.7)]).buffer(200, single_sided=True)
    zones = {"north": outline.intersection(cut), "south": outline.difference(cut)}
    for side_slope in (0.0, 1.5):
        one = dig(plain_footprint(outline), *ground, side_slope=side_slope, overdig_m=0.2)
        two = dig(plain_footprint(outline, **zones), *ground, side_slope=side_slope, overdig_m=0.2)
        assert two.zones == ("north", "south")
        assert two.area_m2.sum() == pytest.approx(one.area_m2.sum(), rel=1e-12)
        # A slope's kink inside a cell that two zones share is taken at two points, not one.
        kink = 1e-12 if side_slope == 0 else 1e-5
        assert two.gross_m3 == pytest.approx(one.gross_m3, rel=1e-12)
        assert dug_m3(two) == pytest.approx(dug_m3(one), rel=kink)
        np.testing.assert_allclose(two.lift_top_m, one.lift_top_m)
        np.testing.assert_allclose(
            two.cover_m3.sum(axis=0), one.cover_m3.sum(axis=0), rtol=0, atol=0.1
        )


def test_each_surface_is_opened_once_and_read_only_where_the_footprint_is():
    grid = Grid(0.0, 4000.0, 1.0, 1.0, 4000, 4000)
    surfaces = [KnownSurface(grid, level(height)) for height in (9, 1, 0.5)]
    told = []
    measure(
        plain_footprint(shapely.box(1000.5, 1000.5, 1500.5, 1500.5)), grid, *surfaces, **NUMBERS,
        progress=lambda done, in_all: told.append((done, in_all)),
    )  # fmt: skip
    for surface in surfaces:
        assert surface.opened == 1
        assert surface.cells_read < 1.05 * 501**2
    assert told[-1][0] == told[-1][1] == len(told)


@pytest.mark.parametrize("side_slope", [0.0, 1.5])
def test_the_number_of_threads_changes_no_bit(side_slope: float, monkeypatch):
    grid = Grid(0.0, 3000.0, 1.0, 1.0, 3000, 3000)
    outline = rough_outline(90, 1500, 1500, 1200, jag=1)
    found = []
    for threads in (1, 3):
        monkeypatch.setattr("reclaim.ground.columns.os.cpu_count", lambda count=threads: count)
        surfaces = [KnownSurface(grid, each) for each in (hummocks(20, 15, 0, 0), level(9))]
        dig = measure(
            plain_footprint(outline), grid, *surfaces, KnownSurface(grid, level(0.5)),
            **NUMBERS | {"side_slope": side_slope},
        )  # fmt: skip
        found.append([getattr(dig, each.name) for each in fields(dig)])
        assert surfaces[0].opened == threads
    for one, other in zip(*found, strict=True):
        assert np.array_equal(one, other)


@pytest.mark.parametrize(("name", "value"), [("lift_m", 0), ("side_slope", -1), ("overdig_m", -1)])
def test_numbers_out_of_range_are_refused(name: str, value: float):
    with pytest.raises(ValueError, match=name):
        dig(plain_footprint(shapely.box(0, 0, 9, 9)), level(1), level(0), **{name: value})


@given(
    seed=st.integers(0, 1000),
    slopes=st.tuples(st.floats(0, 5), st.floats(0, 5)),
    spread=st.floats(8, 40),
)
@settings(max_examples=25, deadline=None)
def test_a_flatter_slope_never_digs_more(seed: int, slopes: tuple[float, float], spread: float):
    steep, flat = sorted(slopes)
    footprint = plain_footprint(rough_outline(30, 60, 60, 35, jag=1, seed=seed))
    ground = hummocks(20, spread, 0, 0), level(9)
    first = dig(footprint, *ground, grid=COARSE, side_slope=steep)
    second = dig(footprint, *ground, grid=COARSE, side_slope=flat)
    assert dug_m3(second) <= dug_m3(first) * (1 + 1e-12)
    assert second.gross_m3 == pytest.approx(first.gross_m3, rel=1e-12)


@given(seed=st.integers(0, 1000), x=st.floats(30, 90), y=st.floats(30, 90))
@settings(max_examples=25, deadline=None)
def test_an_exclusion_never_adds(seed: int, x: float, y: float):
    outline = rough_outline(30, 60, 60, 35, jag=1, seed=seed)
    pillar = shapely.Point(x, y).buffer(6)
    ground = hummocks(20, 17, 0, 0), level(9)
    without = dig(plain_footprint(outline), *ground, grid=COARSE, side_slope=1.5)
    around = dig(plain_footprint(outline, pillar), *ground, grid=COARSE, side_slope=1.5)
    assert dug_m3(around) <= dug_m3(without) * (1 + 1e-9)


@given(
    rows=st.integers(-3000, 3000),
    columns=st.integers(-3000, 3000),
    side_slope=st.sampled_from([0.0, 2.0]),
)
@settings(max_examples=20, deadline=None)
def test_a_shift_by_whole_cells_changes_nothing(rows: int, columns: int, side_slope: float):
    outline = rough_outline(40, 60, 60, 40, jag=1)
    dx, dy = columns * 2.0, rows * 2.0
    moved_grid = Grid(dx, 120.0 + dy, 2.0, 2.0, 60, 60)
    moved = shapely.affinity.translate(outline, dx, dy)
    here = dig(
        plain_footprint(outline), hummocks(20, 15, 0, 0), level(9), level(1), COARSE,
        side_slope=side_slope,
    )  # fmt: skip
    there = dig(
        plain_footprint(moved), hummocks(20, 15, dx, dy), level(9), level(1), moved_grid,
        side_slope=side_slope,
    )  # fmt: skip
    assert dug_m3(there) == pytest.approx(dug_m3(here), rel=1e-11)
    np.testing.assert_allclose(there.waste_m3, here.waste_m3, rtol=1e-9, atol=1e-6)


@pytest.mark.parametrize("side_slope", [0.0, 1.5])
def test_a_quarter_turn_changes_nothing(side_slope: float):
    outline = rough_outline(40, 60, 60, 40, jag=1)
    ground = hummocks(20, 15, 0, 0)
    turned_outline = shapely.transform(
        outline, lambda points: np.stack([120 - points[:, 1], points[:, 0]], axis=1)
    )

    def turned(x: np.ndarray, y: np.ndarray) -> np.ndarray:
        return ground(y, 120 - x)

    one = dig(plain_footprint(outline), ground, level(9), side_slope=side_slope)
    two = dig(plain_footprint(turned_outline), turned, level(9), side_slope=side_slope)
    assert dug_m3(two) == pytest.approx(dug_m3(one), rel=1e-12)
    assert two.error.correlated_m3 == pytest.approx(one.error.correlated_m3, rel=1e-9)
