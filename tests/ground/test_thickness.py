"""Thickness by block and as a map: the same volume as measured, laid out in plan."""

import numpy as np
import pytest
import shapely

from reclaim.ground import measure, thickness_blocks, thickness_map
from reclaim.ground.known_surfaces import (
    KnownSurface,
    hummocks,
    level,
    plain_footprint,
    plane,
    rough_outline,
)
from reclaim.site.model import Grid

GRID = Grid(500.0, 900.0, 1.0, 1.0, 600, 700)
OUTLINE = rough_outline(60, 840, 600, 200, jag=1)


def surfaces(*formulas) -> list[KnownSurface]:
    return [KnownSurface(GRID, each) for each in formulas]


def whole(blocks) -> np.ndarray:
    array = np.full((GRID.rows, GRID.columns), np.nan, dtype=np.float32)
    for window, values in blocks:
        part = np.s_[
            window.row : window.row + window.rows, window.column : window.column + window.columns
        ]
        assert np.all(np.isnan(array[part]))
        array[part] = values
    return array


def test_blocks_hold_the_thickness_and_nothing_outside():
    ground = surfaces(plane(30, 0.01, 0.02, 800, 600), level(20))
    found = whole(thickness_blocks(plain_footprint(OUTLINE), GRID, *ground, side_slope=0.0))
    x, y = np.meshgrid(500.5 + np.arange(700), 899.5 - np.arange(600))
    inside = shapely.contains_xy(OUTLINE.buffer(-1), x, y)
    expected = 10 + 0.01 * (x - 800) + 0.02 * (y - 600)
    np.testing.assert_allclose(found[inside], expected[inside], rtol=1e-5)
    outside = ~shapely.intersects_xy(OUTLINE.buffer(1), x, y)
    assert np.all(np.isnan(found[outside]))
    # A piece on the boundary is thick at its own centroid, not at its cell's centre.
    assert np.nanmax(np.abs(found - expected)) < 0.02


def test_zones_share_a_cell_without_counting_it_twice():
    west = shapely.box(0, 0, 840.4, 2000)
    zones = {"west": OUTLINE.intersection(west), "east": OUTLINE.difference(west)}
    ground = surfaces(level(12), level(2))
    found = whole(
        thickness_blocks(plain_footprint(OUTLINE, **zones), GRID, *ground, side_slope=0.0)
    )
    assert np.nanmin(found) == np.nanmax(found) == 10


@pytest.mark.parametrize("most_cells", [400_000, 20_000])
def test_map_holds_the_measured_volume(most_cells: int):
    footprint = plain_footprint(OUTLINE)
    ground = surfaces(hummocks(20, 40, 0, 0), level(9))
    found = thickness_map(footprint, GRID, *ground, side_slope=1.5, most_cells=most_cells)
    assert found.thickness_m.size <= most_cells
    dug = measure(
        footprint, GRID, *ground, KnownSurface(GRID, level(0)), side_slope=1.5, overdig_m=0.0,
        lift_m=3.0, survey_sd_m=0.05, base_sd_m=0.4, error_range_m=60.0,
    )  # fmt: skip
    cells_m3 = np.nansum(found.thickness_m) * found.cell_x_m * found.cell_y_m
    # Cells on the outline count whole here, so the map holds a little more.
    assert cells_m3 == pytest.approx(dug.gross_m3 - dug.left_in_slopes_m3.sum(), rel=0.02)
    np.testing.assert_allclose(found.thickness_m, found.survey_m - found.dig_m, rtol=0, atol=1e-12)
    west, east, south, north = found.extent
    bounds = OUTLINE.bounds
    assert west <= bounds[0]
    assert south <= bounds[1]
    assert east >= bounds[2]
    assert north >= bounds[3]


def test_cells_are_merged_only_above_the_most_asked_for():
    square = shapely.box(500, 860, 540, 900)
    ground = surfaces(level(12), level(2))
    for most_cells, side_m, cells in ((1600, 1.0, 1600), (1599, 2.0, 400), (400, 2.0, 400)):
        found = thickness_map(
            plain_footprint(square), GRID, *ground, side_slope=0.0, most_cells=most_cells
        )
        assert found.cell_x_m == found.cell_y_m == side_m
        assert found.thickness_m.size == cells
        np.testing.assert_allclose(found.thickness_m, 10.0)


def test_unknown_ground_is_empty_on_the_map():
    def known_in_the_east(x: np.ndarray, _: np.ndarray) -> np.ndarray:
        return np.where(x < 840, np.nan, 12.0)

    ground = surfaces(known_in_the_east, level(2))
    footprint = plain_footprint(OUTLINE)
    found = thickness_map(footprint, GRID, *ground, side_slope=0.0)
    column = int(840 - found.west_m)
    assert np.all(np.isnan(found.thickness_m[:, :column]))
    assert np.nanmax(found.thickness_m[:, column:]) == pytest.approx(10)


def test_an_empty_footprint_has_no_map():
    with pytest.raises(ValueError, match="empty"):
        thickness_map(
            plain_footprint(shapely.MultiPolygon()), GRID, *surfaces(level(1), level(0)),
            side_slope=0.0,
        )  # fmt: skip
