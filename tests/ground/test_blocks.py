"""Blocks and the hypsometric curve, against measured volumes and closed forms."""

import numpy as np
import pytest
import shapely

from reclaim.ground import SideSlope, blocks, hypsometry, measure
from reclaim.ground.known_surfaces import (
    KnownSurface,
    hummocks,
    level,
    plain_footprint,
    plane,
    rough_outline,
)
from reclaim.site.model import Footprint, Grid

GRID = Grid(1000.0, 1120.0, 1.0, 1.0, 120, 120)
NUMBERS = {"survey_sd_m": 0.05, "base_sd_m": 0.4, "error_range_m": 60.0, "overdig_m": 0.0}


def surfaces(*formulas, grid: Grid = GRID) -> list[KnownSurface]:
    return [KnownSurface(grid, each) for each in formulas]


def two_zones() -> Footprint:
    outline = rough_outline(90, 1060, 1060, 40, jag=1)
    cut = shapely.box(900, 900, 1063.3, 1200)
    return plain_footprint(outline, west=outline.intersection(cut), east=outline.difference(cut))


def test_one_box_cut_by_hand():
    # 10 x 10 m, from 9.5 down to 0, 2 m of cover; blocks of 8 m start at the grid's corner.
    square = plain_footprint(shapely.box(1004, 1106, 1014, 1116))
    found = blocks(
        square, GRID, *surfaces(level(9.5), level(0), level(2)), side_slope=0.0, lift_m=5.0,
        block_m=8.0,
    )  # fmt: skip
    # Rows 0 (north of 1112) and 1; columns 0 (west of 1008) and 1: 4x4, 6x4, 4x6, 6x6 m.
    assert found.side_m == (8.0, 8.0)
    assert found.lift_top_m.tolist() == [10] * 4 + [5] * 4
    assert found.row.tolist() == [0, 0, 1, 1] * 2
    assert found.column.tolist() == [0, 1, 0, 1] * 2
    area = np.array([16.0, 24, 24, 36])
    np.testing.assert_allclose(found.cover_m3, np.concatenate([2 * area, 0 * area]))
    np.testing.assert_allclose(found.waste_m3, np.concatenate([2.5 * area, 5 * area]))
    np.testing.assert_allclose(found.share_inside, np.tile(area / 64, 2))
    np.testing.assert_allclose(found.x_m[:4], [1006, 1011, 1006, 1011])
    np.testing.assert_allclose(found.y_m[:4], [1114, 1114, 1109, 1109])
    np.testing.assert_allclose(found.elevation_m, [7.25] * 4 + [2.5] * 4)


@pytest.mark.parametrize("lifts_by", ["elevation", "depth"])
@pytest.mark.parametrize("side_slope", [0.0, 1.5, SideSlope(1.0, 3.0, 2.0)])
def test_blocks_add_up_to_the_measured_volumes(lifts_by: str, side_slope):
    footprint = two_zones()
    ground = surfaces(hummocks(20, 15, 0, 0), plane(8, 0.02, 0.01, 1060, 1060), level(0.7))
    numbers = {"side_slope": side_slope, "lift_m": 2.5, "lifts_by": lifts_by}
    whole = measure(footprint, GRID, *ground, **numbers, **NUMBERS)
    found = blocks(footprint, GRID, *ground, **numbers, block_m=13.0)
    for zone in range(2):
        for lift, top_m in enumerate(whole.lift_top_m):
            chosen = (found.zone == zone) & np.isclose(found.lift_top_m, top_m)
            for name in ("cover_m3", "waste_m3"):
                assert getattr(found, name)[chosen].sum() == pytest.approx(
                    getattr(whole, name)[zone, lift], rel=1e-9, abs=1e-6
                )
    assert found.share_inside.max() <= 1 + 1e-12
    first = found.lift_top_m == found.lift_top_m.max()
    if lifts_by == "depth" and side_slope == 0.0:
        assert found.share_inside[first].sum() * 13**2 == pytest.approx(footprint.outline.area)


def test_centroid_of_a_wedge():
    # Ground rising from 0 at x 1000 to 12 at x 1120: the centroid lies at two thirds, 4 m up.
    wedge = plain_footprint(shapely.box(1000, 1030, 1120, 1090))
    found = blocks(
        wedge, GRID, *surfaces(plane(0, 0.1, 0, 1000, 0), level(0), level(0)), side_slope=0.0,
        lift_m=50.0, block_m=500.0,
    )  # fmt: skip
    assert len(found) == 1
    assert found.volume_m3[0] == pytest.approx(43_200)
    # Each column of one metre is taken as a prism of its own middle height.
    assert found.x_m[0] == pytest.approx(1080, abs=0.01)
    assert found.y_m[0] == pytest.approx(1060)
    assert found.elevation_m[0] == pytest.approx(4, abs=0.01)


def test_lifts_by_depth_follow_the_ground():
    ramp = plain_footprint(shapely.box(1000, 1000, 1060, 1010))
    ground = surfaces(plane(100, 0.1, 0, 1000, 0), plane(95, 0.1, 0, 1000, 0), level(1))
    found = measure(ramp, GRID, *ground, side_slope=0.0, lift_m=2.0, lifts_by="depth", **NUMBERS)
    assert found.lift_top_m.tolist() == [0, -2, -4]
    np.testing.assert_allclose(found.cover_m3, [[600, 0, 0]], atol=1e-9)
    np.testing.assert_allclose(found.waste_m3, [[600, 1200, 600]], atol=1e-9)


def test_no_blocks_where_nothing_is_dug():
    found = blocks(
        plain_footprint(shapely.box(1010, 1010, 1020, 1020)), GRID,
        *surfaces(level(1), level(2), level(0)), side_slope=0.0, lift_m=3.0, block_m=10.0,
    )  # fmt: skip
    assert len(found) == 0
    assert found.volume_m3.size == 0


def test_hypsometric_curve_of_a_pyramid_dug_with_slopes():
    # 60 m square, 1:1, 30 m deep to the point: at height z the pit is a square of 2 z.
    square = plain_footprint(shapely.box(1030, 1030, 1090, 1090))
    grid = Grid(1000.0, 1120.0, 0.5, 0.5, 240, 240)
    found = hypsometry(
        square, grid, *surfaces(level(30), level(-5), grid=grid), side_slope=1.0, step_m=1.0
    )
    z = found.elevation_m
    np.testing.assert_allclose(found.dug_below_m3, 4 / 3 * np.clip(z, 0, 30) ** 3, atol=20)
    inner = (z > 0) & (z < 30)
    np.testing.assert_allclose(found.open_area_m2[inner], (2 * z[inner]) ** 2, atol=62)
    assert found.dug_below_m3[0] == 0


def test_hypsometric_curve_meets_the_lifts():
    footprint = two_zones()
    ground = surfaces(hummocks(20, 15, 0, 0), plane(8, 0.02, 0.01, 1060, 1060))
    whole = measure(
        footprint, GRID, *ground, *surfaces(level(0)), side_slope=1.5, lift_m=2.0, **NUMBERS
    )
    curve = hypsometry(footprint, GRID, *ground, side_slope=1.5, step_m=0.5)
    for lift, bottom_m in enumerate(whole.lift_bottom_m):
        below = np.interp(bottom_m, curve.elevation_m, curve.dug_below_m3)
        expected = whole.waste_m3[:, lift + 1 :].sum()
        assert below == pytest.approx(expected, rel=1e-9, abs=1e-6)


@pytest.mark.parametrize("name", ["lift_m", "block_m"])
def test_sizes_must_be_above_nothing(name: str):
    numbers = {"lift_m": 3.0, "block_m": 10.0} | {name: 0.0}
    with pytest.raises(ValueError, match="above 0"):
        blocks(two_zones(), GRID, *surfaces(level(1), level(0), level(0)), side_slope=0, **numbers)
    with pytest.raises(ValueError, match="above 0"):
        hypsometry(two_zones(), GRID, *surfaces(level(1), level(0)), side_slope=0, step_m=0)
