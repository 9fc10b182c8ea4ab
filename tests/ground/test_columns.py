"""The walk over the footprint: what is read, when it is closed, and values between cell centres."""

from contextlib import contextmanager

import numpy as np
import pytest
import shapely

from reclaim.ground.columns import Layout, columns, joined
from reclaim.ground.known_surfaces import KnownSurface, level, plain_footprint, plane
from reclaim.ground.point_values import TILE, linear_in_cell, values_at
from reclaim.site.model import Grid, Window

GRID = Grid(0.0, 2000.0, 1.0, 1.0, 2000, 2000)
FOOTPRINT = plain_footprint(shapely.box(100.5, 100.5, 1800.5, 1800.5))


class Watched(KnownSurface):
    """A surface that knows whether it is open, and fails after some windows if told to."""

    is_open: bool = False
    fails_after = 10**9

    @contextmanager
    def reader(self):
        self.is_open = True
        count = 0

        def read(window: Window) -> np.ndarray:
            nonlocal count
            assert self.is_open
            count += 1
            if count > self.fails_after:
                raise OSError("the disk is gone")
            return self._read(window)

        try:
            yield read
        finally:
            self.is_open = False


def test_windows_are_tiles_that_do_not_overlap():
    layout = Layout(FOOTPRINT, GRID)
    cells = sum(window.rows * window.columns for window in layout.windows)
    assert cells == layout.extent.rows * layout.extent.columns == 1701**2
    assert max(window.rows for window in layout.windows) <= TILE


def test_pieces_on_the_edge_of_a_window_have_their_neighbours():
    # The lower side runs along the first row of a tile, so gradients need the tile beyond.
    outline = shapely.Polygon([(200.3, 2000 - 513.0), (1400.7, 1999 - 512.1), (700.2, 1700.4)])
    ground = plane(3, 0.5, -0.25, 0, 0)
    surfaces = KnownSurface(GRID, ground), KnownSurface(GRID, level(0))
    layout = Layout(plain_footprint(outline), GRID)
    parts = [part for part in columns(layout, *surfaces, side_slope=0.0) if part.share is not None]
    for part in (*parts, joined(parts, layout.extent)):
        row, column = np.divmod(part.cells, part.window.columns)
        x_m = part.window.column + column + 0.5 + part.right
        y_m = 2000 - (part.window.row + row + 0.5 - part.up)
        np.testing.assert_allclose(part.survey_m, ground(x_m, y_m), rtol=0, atol=1e-10)
    assert sum(part.survey_m.size for part in parts) == layout.zones[0].share.size
    assert len(parts) > 5


def test_a_walk_that_is_broken_off_leaves_nothing_open():
    surfaces = Watched(GRID, level(5)), Watched(GRID, level(0))
    walk = columns(Layout(FOOTPRINT, GRID), *surfaces, side_slope=0.0)
    next(walk)
    assert all(surface.is_open for surface in surfaces)
    walk.close()
    assert not any(surface.is_open for surface in surfaces)


def test_a_failing_surface_is_heard():
    survey, base = Watched(GRID, level(5)), Watched(GRID, level(0))
    survey.fails_after = 3
    with pytest.raises(OSError, match="disk"):
        list(columns(Layout(FOOTPRINT, GRID), survey, base, side_slope=0.0))


def test_points_between_cell_centres():
    surface = KnownSurface(GRID, plane(3, 0.5, -0.25, 0, 0))
    rng = np.random.default_rng(1)
    x_m, y_m = rng.uniform(0, 2000, (2, 500))
    with surface.reader() as read:
        found = values_at(read, GRID, x_m, y_m)
        assert values_at(read, GRID, np.empty(0), np.empty(0)).size == 0
    np.testing.assert_allclose(found, 3 + 0.5 * x_m - 0.25 * y_m, rtol=1e-11)


def test_beside_unknown_cells_a_point_takes_its_own_cell():
    def known_in_the_east(x: np.ndarray, _: np.ndarray) -> np.ndarray:
        return np.where(x < 50, np.nan, 2 * x)

    with KnownSurface(GRID, known_in_the_east).reader() as read:
        found = values_at(read, GRID, np.array([50.25, 49.9]), np.array([50.0, 50.0]))
    assert found[0] == pytest.approx(100.5)
    assert np.isnan(found[1])


def test_gradient_is_one_sided_or_none_where_neighbours_are_unknown():
    values = np.array([[np.nan] * 3, [np.nan, 4.0, 6.0], [np.nan] * 3])
    one = np.array([1])
    assert linear_in_cell(values, one, one, np.array([0.5]), np.array([0.5])) == [5.0]
