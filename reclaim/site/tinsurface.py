"""A surface of triangles, flat on each, evaluated by window at the centres of the grid's cells."""

from __future__ import annotations

from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from reclaim.site.model import Window
from reclaim.site.surfaces import placed

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from numpy.typing import NDArray

    from reclaim.site.model import FloatArray, Grid

    IntArray = NDArray[np.integer[Any]]

_TILE = 256  # cells along the side of the tiles by which triangles are looked up
_ON_EDGE = 1e-9  # cells: centres this close to an edge lie on it
_FLAT = 1e-12  # cells squared: a triangle with less area has no slope
_SAME_M = 1e-3  # elevations of two triangles at one place that differ by less agree


@dataclass(frozen=True, slots=True)
class TinSurface:
    """Triangles over the common grid; unknown outside them.

    Attributes
    ----------
    corners_m
        East, north and elevation [m] of each triangle's corners, shape ``(n_triangles, 3, 3)``.
    label
        What to call it.
    grid
        The common grid.
    """

    corners_m: FloatArray
    label: str
    grid: Grid

    @classmethod
    def through(cls, points_m: FloatArray, label: str, grid: Grid) -> TinSurface:
        """Return the Delaunay triangles through points, shape ``(n, 3)``, no place twice.

        Raises
        ------
        ValueError
            Fewer than three points, or all on one line.
        """
        from scipy.spatial import Delaunay, QhullError

        # About the centre and in whole extents, where round-off is least.
        plan = points_m[:, :2] - points_m[:, :2].mean(axis=0)
        try:
            triangles = Delaunay(plan / max(np.abs(plan).max(), 1e-9)).simplices
        except QhullError:
            raise ValueError("There are too few points, or all lie on one line.") from None
        return cls(points_m[triangles], label, grid)

    @contextmanager
    def reader(self) -> Iterator[Callable[[Window], FloatArray]]:
        """Open the surface; see `Surface`."""
        index = _TileIndex(self._in_cells())
        yield lambda window: placed(
            self.grid, window, lambda part: drawn(index.near(part), part)[0]
        )

    def overlap_m2(self) -> float:
        """Return the area where triangles lie on each other at different elevations [m2]."""
        index = _TileIndex(self._in_cells())
        cells = 0
        for row in range(0, self.grid.rows, _TILE):
            for column in range(0, self.grid.columns, _TILE):
                part = Window(row, column, _TILE, _TILE)
                cells += drawn(index.near(part), part)[1]
        return cells * self.grid.cell_area_m2

    def plan_areas_m2(self) -> FloatArray:
        """Return the plan area of each triangle [m2], shape ``(n_triangles,)``."""
        first, second, third = (self.corners_m[:, corner, :2] for corner in range(3))
        one, other = second - first, third - first
        return np.asarray(np.abs(one[:, 0] * other[:, 1] - one[:, 1] * other[:, 0]) / 2)

    def longest_edges_m(self) -> FloatArray:
        """Return the plan length of each triangle's longest edge [m], ``(n_triangles,)``."""
        edges = self.corners_m[:, [1, 2, 0], :2] - self.corners_m[:, :, :2]
        return np.asarray(np.hypot(edges[..., 0], edges[..., 1]).max(axis=1))

    def _in_cells(self) -> FloatArray:
        """Return corners as column, row (whole numbers at cell centres) and elevation."""
        grid = self.grid
        corners = np.empty_like(self.corners_m)
        corners[..., 0] = (self.corners_m[..., 0] - grid.west_m) / grid.cell_x_m - 0.5
        corners[..., 1] = (grid.north_m - self.corners_m[..., 1]) / grid.cell_y_m - 0.5
        corners[..., 2] = self.corners_m[..., 2]
        return corners


class _TileIndex:
    """Which triangles reach into which tile of the grid."""

    def __init__(self, corners: FloatArray) -> None:
        self._corners = corners
        first = np.floor((corners[..., :2].min(axis=1) - _ON_EDGE) / _TILE).astype(np.int64)
        last = np.floor((corners[..., :2].max(axis=1) + _ON_EDGE) / _TILE).astype(np.int64)
        size = last - first + 1
        triangle, step = spread(size[:, 0] * size[:, 1])
        across = first[triangle, 0] + step % size[triangle, 0]
        down = first[triangle, 1] + step // size[triangle, 0]
        key = _key(down, across)
        order = np.argsort(key, kind="stable")
        self._keys, self._triangles = key[order], triangle[order]

    def near(self, part: Window) -> FloatArray:
        """Return the corners of every triangle that may meet a window."""
        rows = np.arange(part.row // _TILE, (part.row + part.rows - 1) // _TILE + 1)
        columns = np.arange(part.column // _TILE, (part.column + part.columns - 1) // _TILE + 1)
        keys = _key(rows[:, None], columns[None, :]).ravel()
        starts = np.searchsorted(self._keys, keys, side="left")
        ends = np.searchsorted(self._keys, keys, side="right")
        met = [self._triangles[start:end] for start, end in zip(starts, ends, strict=True)]
        return np.asarray(self._corners[np.unique(np.concatenate(met))])


def _key(row: IntArray, column: IntArray) -> IntArray:
    return np.asarray((row.astype(np.int64) << 32) + column)


def spread(counts: IntArray) -> tuple[IntArray, IntArray]:
    """Return, for counts (2, 0, 3), the owners (0, 0, 2, 2, 2) and the steps (0, 1, 0, 1, 2)."""
    owner = np.repeat(np.arange(len(counts)), counts)
    before = np.cumsum(counts) - counts
    return owner, np.arange(len(owner)) - before[owner]


def drawn(corners: FloatArray, part: Window) -> tuple[FloatArray, int]:
    """Return elevations at the cell centres of a window, and in how many triangles disagree.

    Parameters
    ----------
    corners
        Column, row (whole numbers at cell centres) and elevation [m] of the corners of
        triangles, shape ``(n, 3, 3)``.
    part
        The window.

    Notes
    -----
    Each triangle is cut by the rows of cell centres that it meets; each cut holds a run of
    centres, which take the height of the triangle's plane. A centre on a common edge belongs to
    both triangles, which agree there.
    """
    values = np.full(part.rows * part.columns, np.nan)
    u, v, z = (corners[..., axis] for axis in range(3))
    u, v = u - part.column, v - part.row
    doubled = (u[:, 1] - u[:, 0]) * (v[:, 2] - v[:, 0]) - (u[:, 2] - u[:, 0]) * (v[:, 1] - v[:, 0])
    keep = np.abs(doubled) > _FLAT
    u, v, z, doubled = u[keep], v[keep], z[keep], doubled[keep]
    top = np.maximum(np.ceil(v.min(axis=1) - _ON_EDGE), 0).astype(np.int64)
    bottom = np.minimum(np.floor(v.max(axis=1) + _ON_EDGE), part.rows - 1).astype(np.int64)
    triangle, step = spread(np.maximum(bottom - top + 1, 0))
    row = top[triangle] + step
    west, east = _cuts(u[triangle], v[triangle], row)
    left = np.maximum(np.ceil(west - _ON_EDGE), 0).astype(np.int64)
    right = np.minimum(np.floor(east + _ON_EDGE), part.columns - 1).astype(np.int64)
    run, step = spread(np.maximum(right - left + 1, 0))
    triangle, row, column = triangle[run], row[run], left[run] + step
    rise_1, rise_2 = z[:, 1] - z[:, 0], z[:, 2] - z[:, 0]
    slope_u = (rise_1 * (v[:, 2] - v[:, 0]) - rise_2 * (v[:, 1] - v[:, 0])) / doubled
    slope_v = (rise_2 * (u[:, 1] - u[:, 0]) - rise_1 * (u[:, 2] - u[:, 0])) / doubled
    height = z[:, 0][triangle] + slope_u[triangle] * (column - u[:, 0][triangle])
    height += slope_v[triangle] * (row - v[:, 0][triangle])
    np.clip(height, z.min(axis=1)[triangle], z.max(axis=1)[triangle], out=height)
    place = row * part.columns + column
    values[place] = height
    disagree = np.abs(values[place] - height) > _SAME_M
    return values.reshape(part.rows, part.columns), len(np.unique(place[disagree]))


def _cuts(u: FloatArray, v: FloatArray, row: IntArray) -> tuple[FloatArray, FloatArray]:
    """Return where rows enter and leave triangles, in columns, shape ``(n,)`` each."""
    west, east = np.full(len(row), np.inf), np.full(len(row), -np.inf)
    for first, last in ((0, 1), (1, 2), (2, 0)):
        drop = v[:, last] - v[:, first]
        level = np.abs(drop) < _ON_EDGE
        share = (row - v[:, first]) / np.where(level, 1.0, drop)
        slack = _ON_EDGE / np.maximum(np.abs(drop), _ON_EDGE)
        met = ~level & (share >= -slack) & (share <= 1 + slack)
        crossing = u[:, first] + np.clip(share, 0, 1) * (u[:, last] - u[:, first])
        west = np.where(met, np.minimum(west, crossing), west)
        east = np.where(met, np.maximum(east, crossing), east)
    # A level edge needs no cut of its own: the two other edges end at its corners.
    none = west > east
    return np.where(none, 0.0, west), np.where(none, -1.0, east)
