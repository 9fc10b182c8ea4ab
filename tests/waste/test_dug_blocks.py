"""Blocks of the dig against closed forms: volumes, middles and sides."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from reclaim.ground import ThicknessMap
from reclaim.ground.known_surfaces import plain_footprint
from reclaim.waste.blocks import dug_blocks

WEST, NORTH = 500.0, 900.0


def sheet(thickness_m, cell_x_m=2.0, cell_y_m=1.0):
    return ThicknessMap(
        thickness_m=thickness_m,
        survey_m=thickness_m + 10.0,
        dig_m=np.full_like(thickness_m, 10.0),
        west_m=WEST,
        north_m=NORTH,
        cell_x_m=cell_x_m,
        cell_y_m=cell_y_m,
    )


def outline(columns, rows, first_column=0):
    return shapely.box(
        WEST + 2.0 * first_column, NORTH - rows, WEST + 2.0 * (first_column + columns), NORTH
    )


def test_few_cells_are_blocks_of_their_own() -> None:
    thickness = np.array([[1.0, 2.0, np.nan], [0.0, 3.0, 4.0]])
    found = dug_blocks(plain_footprint(outline(3, 2)), sheet(thickness))
    assert len(found) == 4
    assert found.side_m == (2.0, 1.0)
    # Middles of the cells: half a cell from the corner in the north-west.
    expected = {
        (WEST + 1, NORTH - 0.5): 2.0,
        (WEST + 3, NORTH - 0.5): 4.0,
        (WEST + 3, NORTH - 1.5): 6.0,
        (WEST + 5, NORTH - 1.5): 8.0,
    }
    places = [tuple(place) for place in found.places_m]
    assert dict(zip(places, found.volume_m3, strict=True)) == pytest.approx(expected)
    assert not found.zone.any()


def test_many_cells_are_merged_into_squares_of_at_most_a_thousand() -> None:
    # 60 x 60 cells: 3 600 / 1 000 needs squares of 2 x 2 cells.
    found = dug_blocks(plain_footprint(outline(60, 60)), sheet(np.full((60, 60), 5.0)))
    assert len(found) == 900
    assert found.side_m == (4.0, 2.0)
    np.testing.assert_allclose(found.volume_m3, 4 * 2.0 * 5.0)
    east, north = np.meshgrid(WEST + 2 + 4 * np.arange(30), NORTH - 1 - 2 * np.arange(30))
    np.testing.assert_allclose(
        np.sort(found.places_m.view("f8,f8"), axis=0).view(float).reshape(-1, 2),
        np.sort(np.column_stack([east.ravel(), north.ravel()]).view("f8,f8"), axis=0)
        .view(float)
        .reshape(-1, 2),
    )


def test_the_middle_is_that_of_the_dug_ground_in_a_wedge() -> None:
    # Thickness growing with the distance from the west edge: the centroid is at 2/3 of the length.
    columns = 1200
    thickness = np.tile(np.arange(columns) + 0.5, (3, 1))
    found = dug_blocks(plain_footprint(outline(columns, 3)), sheet(thickness))
    volume = found.volume_m3.sum()
    assert volume == pytest.approx(columns**2 / 2 * 2.0 * 3)
    middle = found.volume_m3 @ found.places_m / volume
    assert middle[0] == pytest.approx(WEST + 2.0 * columns * 2 / 3, rel=1e-6)
    assert middle[1] == pytest.approx(NORTH - 1.5)
    # Within one block too: of cells of 0.5 and 1.5 m the middle lies at (0.5 + 1.5 x 3) / 2 cells.
    first = found.places_m[:, 0].argmin()
    assert found.side_m == (4.0, 2.0)
    assert found.places_m[first, 0] == pytest.approx(WEST + 2.0 * (0.5 * 0.5 + 1.5 * 1.5) / 2.0)


def test_zones_have_blocks_apart_and_a_sliver_has_one() -> None:
    whole = outline(10, 4)
    sliver = shapely.box(WEST + 9.2, NORTH - 4, WEST + 9.4, NORTH)
    east = outline(5, 4, first_column=5)
    zones = {"west": outline(5, 4).difference(sliver), "sliver": sliver, "east": east}
    found = dug_blocks(plain_footprint(whole, **zones), sheet(np.full((4, 10), 3.0)))
    assert set(found.zone) == {0, 1, 2}
    np.testing.assert_allclose(
        np.bincount(found.zone, found.volume_m3), [20 * 2 * 3.0, 0.2 * 4, 20 * 2 * 3.0]
    )
    for zone, polygon in enumerate(zones.values()):
        inside = shapely.contains_xy(polygon, *found.places_m[found.zone == zone].T)
        assert inside.all()
