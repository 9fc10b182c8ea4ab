"""Survey points thinned to the grid's cells, and the surface through them."""

from __future__ import annotations

from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from reclaim.site.model import Window
from reclaim.site.settings import limit
from reclaim.site.surfaces import placed
from reclaim.site.tinsurface import TinSurface

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator

    from numpy.typing import NDArray

    from reclaim.site.model import FloatArray, Grid

    IntArray = NDArray[np.integer[Any]]

_STRIP = 512  # rows of cells worked on at once
_ON_LINE = 1e-2  # squared sine of the angle below which places lie on one line


@dataclass(frozen=True, slots=True)
class CellPoints:
    """One point per cell: the mean place and elevation of the points in it.

    The mean of points of a plane lies on that plane, so thinning keeps every plane as it is, and
    averages out the noise of the points.

    Attributes
    ----------
    points_m
        East, north and elevation [m], shape ``(n_cells, 3)``.
    keys
        The cells, as `cell_keys` numbers them, sorted, shape ``(n_cells,)``.
    counts
        Points in each, shape ``(n_cells,)``.
    """

    points_m: FloatArray
    keys: IntArray
    counts: IntArray

    @classmethod
    def of(cls, chunks: Iterable[FloatArray], grid: Grid) -> CellPoints:
        """Thin points [m], given in chunks of shape ``(n, 3)``, to the cells of a grid.

        Memory grows with the cells that hold points, not with the points.
        """
        origin = np.array([grid.west_m, grid.north_m, 0.0])
        keys: IntArray = np.empty(0, dtype=np.int64)
        sums: FloatArray = np.empty((0, 4))
        for chunk in chunks:
            parts = np.column_stack([chunk - origin, np.ones(len(chunk))])
            keys, sums = _merged(
                np.concatenate([keys, cell_keys(chunk, grid)]), np.concatenate([sums, parts])
            )
        counts = sums[:, 3]
        return cls(sums[:, :3] / counts[:, None] + origin, keys, counts.astype(np.int64))

    def with_priority(self, other: CellPoints) -> CellPoints:
        """Return these points, with those of `other` instead in every cell that `other` meets."""
        kept = ~np.isin(self.keys, other.keys, assume_unique=True)
        keys = np.concatenate([self.keys[kept], other.keys])
        order = np.argsort(keys)
        return CellPoints(
            np.concatenate([self.points_m[kept], other.points_m])[order],
            keys[order],
            np.concatenate([self.counts[kept], other.counts])[order],
        )


def cell_keys(points_m: FloatArray, grid: Grid) -> IntArray:
    """Return one whole number per point [m] for its cell, inside the grid or not."""
    row = np.floor((grid.north_m - points_m[:, 1]) / grid.cell_y_m).astype(np.int64)
    column = np.floor((points_m[:, 0] - grid.west_m) / grid.cell_x_m).astype(np.int64)
    return np.asarray((row << 32) + column)


def _merged(keys: IntArray, sums: FloatArray) -> tuple[IntArray, FloatArray]:
    """Return each key once, with the sum of its rows."""
    if len(keys) == 0:
        return keys, sums
    order = np.argsort(keys)
    keys = keys[order]
    first = np.flatnonzero(np.diff(keys, prepend=keys[0] - 1))
    return keys[first], np.add.reduceat(sums[order], first, axis=0)


@dataclass(frozen=True, slots=True)
class GriddedSurface:
    """Elevations of a part of the grid, held in memory; unknown outside it.

    Attributes
    ----------
    values_m
        Elevations at the cell centres of `frame` [m], shape ``(frame.rows, frame.columns)``.
    frame
        The part of the grid that has values.
    gaps
        Triangles that fill cells without points; None where there are none.
    label, grid
        What to call it, and the common grid.
    """

    values_m: FloatArray
    frame: Window
    gaps: TinSurface | None
    label: str
    grid: Grid

    @contextmanager
    def reader(self) -> Iterator[Callable[[Window], FloatArray]]:
        """Open the surface; see `Surface`."""
        yield lambda window: placed(self.grid, window, self._read, self.frame)

    def _read(self, inside: Window) -> FloatArray:
        row, column = inside.row - self.frame.row, inside.column - self.frame.column
        values = self.values_m[row : row + inside.rows, column : column + inside.columns]
        return values.astype(np.float64)


def surface_through(points: CellPoints, label: str, grid: Grid) -> TinSurface | GriddedSurface:
    """Return the surface through thinned points, linear on Delaunay triangles.

    Where there are many points for their area, cells that hold points take their mean moved to
    the cell's centre along the local slope, and only the gaps are triangulated, between the
    cells around them: the same surface to within the cell, in a fraction of the time.

    Raises
    ------
    ValueError
        Fewer than three points, or all on one line.
    """
    if len(points.keys) <= limit("triangulated_points"):
        return TinSurface.through(points.points_m, label, grid)
    row, column = points.keys >> 32, points.keys & 0xFFFFFFFF
    inside = (row >= 0) & (row < grid.rows) & (column >= 0) & (column < grid.columns)
    row, column = row[inside], column[inside]
    if len(row) == 0:
        raise ValueError("No point lies on the survey.")
    frame = Window(
        int(row.min()),
        int(column.min()),
        int(row.max() - row.min()) + 1,
        int(column.max() - column.min()) + 1,
    )
    place = np.full((frame.rows, frame.columns), -1, dtype=np.int64)
    place[row - frame.row, column - frame.column] = np.flatnonzero(inside)
    empty_near = _has_empty_neighbour(place < 0)
    rim = place[(place >= 0) & empty_near]
    values = _at_centres(points.points_m, place, frame, grid)
    gaps = None
    if np.isnan(values).any():
        gaps = TinSurface.through(points.points_m[rim], label, grid)
        with gaps.reader() as read:
            for first in range(0, frame.rows, _STRIP):
                strip = values[first : first + _STRIP]
                unknown = np.isnan(strip)
                if unknown.any():
                    window = Window(frame.row + first, frame.column, len(strip), frame.columns)
                    strip[unknown] = read(window)[unknown]
    return GriddedSurface(values, frame, gaps, label, grid)


def _has_empty_neighbour(empty: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Tell which cells touch an empty cell or the edge, by side or corner."""
    from scipy.ndimage import binary_dilation

    return np.asarray(binary_dilation(empty, structure=np.ones((3, 3), dtype=bool), border_value=1))


def _at_centres(points_m: FloatArray, place: IntArray, frame: Window, grid: Grid) -> FloatArray:
    """Return the elevation at the centre of every cell with a point, NaN in the others.

    The slope is that of the least-squares plane through the points of the cell and the eight
    around it; NaN too where these lie on a line, which leaves the cell to the triangles.
    """
    values = np.full(place.shape, np.nan)
    padded = np.pad(place, 1, constant_values=-1)
    x_m = grid.west_m + (frame.column + np.arange(frame.columns) + 0.5) * grid.cell_x_m
    y_m = grid.north_m - (frame.row + np.arange(frame.rows)[:, None] + 0.5) * grid.cell_y_m
    for first in range(0, frame.rows, _STRIP):
        block = padded[first : first + _STRIP + 2]
        known = block[1:-1, 1:-1] >= 0
        own = points_m[block[1:-1, 1:-1]]
        xx, xy, yy, xz, yz = (np.zeros(known.shape) for _ in range(5))
        for down, right in np.ndindex(3, 3):
            near = block[down : down + len(known), right : right + frame.columns]
            step = np.where((known & (near >= 0))[..., None], points_m[near] - own, 0.0)
            east, north, rise = step[..., 0], step[..., 1], step[..., 2]
            xx += east * east
            xy += east * north
            yy += north * north
            xz += east * rise
            yz += north * rise
        determinant = xx * yy - xy * xy
        on_line = determinant <= _ON_LINE * (xx + yy) ** 2
        determinant[on_line] = np.nan
        slope_x = (xz * yy - yz * xy) / determinant
        slope_y = (yz * xx - xz * xy) / determinant
        height = own[..., 2] + slope_x * (x_m - own[..., 0])
        height += slope_y * (y_m[first : first + _STRIP] - own[..., 1])
        values[first : first + _STRIP] = np.where(known, height, np.nan)
    return values
