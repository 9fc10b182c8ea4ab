"""Shares and centroids of cells, against counting by hand and against two other libraries."""

import numpy as np
import pytest
import shapely
from exactextract import exact_extract
from exactextract.raster import NumPyRasterSource
from hypothesis import given, settings
from hypothesis import strategies as st

from reclaim.ground.coverage import Coverage, coverage
from reclaim.ground.known_surfaces import rough_outline
from reclaim.site.model import Grid, Window

SMALL = Grid(0.0, 3.0, 1.0, 1.0, 3, 3)


def dense(found: Coverage, grid: Grid) -> np.ndarray:
    """Return the shares as an array of the whole grid."""
    shares = np.zeros((grid.rows, grid.columns))
    shares[found.row, found.column] = found.share
    for row, start, end in zip(found.span_row, found.span_start, found.span_end, strict=True):
        shares[row, start:end] = 1
    return shares


def clipped(polygon: shapely.Geometry, grid: Grid) -> tuple[np.ndarray, np.ndarray]:
    """Return the pieces of every cell, cut out one by one with shapely (GEOS)."""
    column, row = np.meshgrid(np.arange(grid.columns), np.arange(grid.rows))
    west, north = grid.west_m + column * grid.cell_x_m, grid.north_m - row * grid.cell_y_m
    cells = shapely.box(west, north - grid.cell_y_m, west + grid.cell_x_m, north)
    pieces = shapely.intersection(cells, polygon)
    return shapely.area(pieces) / grid.cell_area_m2, shapely.centroid(pieces)


def test_square_over_half_cells_can_be_counted_by_hand():
    found = coverage(shapely.box(0.5, 0.5, 2.5, 2.5), SMALL)
    expected = [[0.25, 0.5, 0.25], [0.5, 1, 0.5], [0.25, 0.5, 0.25]]
    np.testing.assert_array_equal(dense(found, SMALL), expected)
    corner = (found.row == 0) & (found.column == 0)
    assert found.right[corner] == 0.25
    assert found.up[corner] == -0.25


def test_edges_on_grid_lines_give_whole_cells():
    found = coverage(shapely.box(0, 1, 2, 3), SMALL)
    assert np.all(found.right == 0)
    assert np.all(found.up == 0)
    assert dense(found, SMALL).tolist() == [[1, 1, 0], [1, 1, 0], [0, 0, 0]]


def test_triangle_through_cell_corners():
    found = coverage(shapely.Polygon([(0, 0), (3, 0), (0, 3)]), SMALL)
    assert dense(found, SMALL).tolist() == [[0.5, 0, 0], [1, 0.5, 0], [1, 1, 0.5]]
    halved = found.share == 0.5
    np.testing.assert_allclose(found.right[halved], -1 / 6, atol=1e-15)
    np.testing.assert_allclose(found.up[halved], -1 / 6, atol=1e-15)


def test_hole_is_left_out():
    ring = shapely.box(0, 0, 3, 3).difference(shapely.box(1, 1, 2, 2))
    found = coverage(ring, SMALL)
    assert dense(found, SMALL).tolist() == [[1, 1, 1], [1, 0, 1], [1, 1, 1]]


def test_empty_polygon_has_no_cells():
    found = coverage(shapely.MultiPolygon(), SMALL)
    assert found.cells == 0
    assert found.bounds == Window(0, 0, 0, 0)
    assert found.tiles(8) == set()


def test_polygon_may_reach_outside_the_grid():
    found = coverage(shapely.box(-1.5, 2, 1, 5), SMALL)
    assert found.cells == 7.5
    assert found.bounds == Window(-2, -2, 3, 3)


def test_crossing_rings_are_refused():
    bow_tie = shapely.Polygon([(0, 0), (3, 3), (3, 0), (0, 3)])
    with pytest.raises(ValueError, match="cross"):
        coverage(bow_tie, SMALL)


@pytest.mark.parametrize("jag", [0.0, 1.0])
@pytest.mark.parametrize("cell_y_m", [0.5, 0.8])
def test_shares_and_centroids_match_shapely(jag: float, cell_y_m: float):
    grid = Grid(500_000.0, 4_000_000.0, 0.5, cell_y_m, 70, 80)
    polygon = rough_outline(80, 500_019, 3_999_982, 12, jag=jag).difference(
        shapely.Point(500_020, 3_999_981).buffer(3)
    )
    found = coverage(polygon, grid)
    share, centroid = clipped(polygon, grid)
    # shapely works in the large coordinates, so it keeps some 1e-9 of a cell.
    np.testing.assert_allclose(dense(found, grid), share, atol=1e-8)
    sizeable = found.share > 1e-3
    there = centroid[found.row, found.column][sizeable]
    x_m = grid.west_m + (found.column + 0.5 + found.right)[sizeable] * grid.cell_x_m
    y_m = grid.north_m - (found.row + 0.5 - found.up)[sizeable] * grid.cell_y_m
    np.testing.assert_allclose(x_m, shapely.get_x(there), atol=1e-6)
    np.testing.assert_allclose(y_m, shapely.get_y(there), atol=1e-6)


def test_shares_match_exactextract():
    # exactextract 0.2 and later: its own algorithm for the same question, in single precision.
    grid = Grid(0.0, 200.0, 1.0, 1.0, 200, 200)
    polygon = rough_outline(300, 100, 100, 60, jag=1)
    source = NumPyRasterSource(np.zeros((200, 200)), 0, 0, 200, 200)
    feature = {"type": "Feature", "properties": {}, "geometry": shapely.geometry.mapping(polygon)}
    answer = exact_extract(source, feature, ["cell_id", "coverage"])[0]["properties"]
    expected = np.zeros(200 * 200)
    expected[answer["cell_id"]] = answer["coverage"]
    found = dense(coverage(polygon, grid), grid).reshape(-1)
    np.testing.assert_allclose(found, expected, atol=1e-6)


@pytest.mark.parametrize("vertices", [3, 200, 5000])
def test_area_is_kept_to_twelve_digits(vertices: int):
    grid = Grid(500_000.0, 4_000_000.0, 0.5, 0.5, 4096, 4096)
    polygon = rough_outline(vertices, 1024, -1024, 500, jag=1)
    # The area from coordinates near zero, where the reference itself keeps its digits.
    moved = shapely.transform(polygon, lambda points: np.add(points, (500_000, 4_000_000)))
    near_zero = shapely.transform(moved, lambda points: np.subtract(points, (500_000, 4_000_000)))
    found = coverage(moved, grid)
    assert found.cells * grid.cell_area_m2 == pytest.approx(near_zero.area, rel=1e-12)


@given(
    corners=st.lists(
        st.tuples(st.integers(0, 24), st.integers(0, 24)), min_size=3, max_size=12, unique=True
    ),
    scale=st.sampled_from([0.25, 1 / 3, 0.5]),
)
@settings(max_examples=60, deadline=None)
def test_any_shape_with_corners_on_and_off_the_grid_lines(
    corners: list[tuple[int, int]], scale: float
):
    grid = Grid(0.0, 12.0, 1.0, 1.0, 12, 12)
    hull = shapely.MultiPoint(np.array(corners) * scale).convex_hull
    if hull.geom_type != "Polygon":
        return
    polygon = hull.difference(shapely.affinity.scale(hull, 0.4, 0.4))
    found = coverage(polygon, grid)
    np.testing.assert_allclose(dense(found, grid), clipped(polygon, grid)[0], atol=1e-12)


def test_windows_and_tiles_hold_every_cell_once():
    grid = Grid(0.0, 100.0, 1.0, 1.0, 100, 100)
    found = coverage(rough_outline(60, 50, 50, 35, jag=1), grid)
    total = 0.0
    for row, column in found.tiles(16):
        window = Window(row * 16, column * 16, 16, 16)
        whole = found.whole_in(window)
        total += found.share[found.pieces_in(window)].sum()
        total += 256 if whole is None else whole.size
    assert total == pytest.approx(found.cells, rel=1e-14)
