"""How much of every grid cell lies inside a polygon, and where the middle of that piece is.

Comes in: a polygon and a grid. Goes out: exact shares and centroids of the boundary cells, and
the runs of whole cells between them. The method is Green's theorem, edge by edge: each edge is
split at the grid lines, each piece gives its signed area and first moments to its own cell, and
the sum along the row gives what lies to the right. Nothing of the size of the grid is stored.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from reclaim.site.model import Window

if TYPE_CHECKING:
    from shapely import MultiPolygon, Polygon

    from reclaim.site.model import Grid

FloatArray = NDArray[np.floating[Any]]
IntArray = NDArray[np.integer[Any]]
BoolArray = NDArray[np.bool_]

BATCH = 1 << 13
"""Pieces worked on at a time; they fit in the processor's cache."""

NOTHING = 1e-13
"""A share of a cell below this is rounding."""


@dataclass(frozen=True, slots=True)
class Coverage:
    """The cells of a polygon, sorted by row and column; cells may lie outside the grid.

    Attributes
    ----------
    row, column
        Cells that the boundary passes through, shape ``(n_boundary,)``.
    share
        Share of the cell inside the polygon [-], above 0 and at most 1.
    right, up
        Centroid of the piece from the centre of its cell, in cells towards the east and the
        north, -0.5 to 0.5.
    span_row, span_start, span_end
        Runs of whole cells: columns ``span_start`` to ``span_end - 1`` of ``span_row``.
    """

    row: IntArray
    column: IntArray
    share: FloatArray
    right: FloatArray
    up: FloatArray
    span_row: IntArray
    span_start: IntArray
    span_end: IntArray

    @property
    def cells(self) -> float:
        """Area of the polygon in cells."""
        return float(self.share.sum() + (self.span_end - self.span_start).sum())

    @property
    def bounds(self) -> Window:
        """The smallest window that holds every cell."""
        rows = np.concatenate([self.row, self.span_row])
        columns = np.concatenate([self.column, self.span_start, self.span_end - 1])
        if rows.size == 0:
            return Window(0, 0, 0, 0)
        row, column = int(rows.min()), int(columns.min())
        return Window(row, column, int(rows.max()) - row + 1, int(columns.max()) - column + 1)

    def pieces_in(self, window: Window) -> IntArray:
        """Return the positions of the boundary cells inside a window."""
        first, last = np.searchsorted(self.row, [window.row, window.row + window.rows])
        column = self.column[first:last] - window.column
        return np.asarray(first + np.flatnonzero((column >= 0) & (column < window.columns)))

    def whole_in(self, window: Window) -> IntArray | None:
        """Return the flat positions of a window's cells that lie wholly inside, in order.

        None where all of them do.
        """
        first, last = np.searchsorted(self.span_row, [window.row, window.row + window.rows])
        start = np.maximum(self.span_start[first:last], window.column)
        end = np.minimum(self.span_end[first:last], window.column + window.columns)
        count = np.maximum(end - start, 0)
        total = int(count.sum())
        if total == window.rows * window.columns:
            return None
        place = (self.span_row[first:last] - window.row) * window.columns + start - window.column
        before = np.cumsum(count) - count
        return np.repeat(place - before, count) + np.arange(total)

    def tiles(self, size: int) -> set[tuple[int, int]]:
        """Return row and column of the square tiles that hold a cell, in tiles of `size` cells."""
        met = set(zip((self.row // size).tolist(), (self.column // size).tolist(), strict=True))
        spans = np.unique(
            np.stack([self.span_row // size, self.span_start // size, (self.span_end - 1) // size]),
            axis=1,
        )
        for row, first, last in spans.T.tolist():
            met.update((row, column) for column in range(first, last + 1))
        return met


def coverage(polygon: Polygon | MultiPolygon, grid: Grid) -> Coverage:
    """Return the exact share and centroid of every cell's piece of a polygon.

    Parameters
    ----------
    polygon
        Valid polygon or polygons, holes allowed, in the grid's coordinates [m].
    grid
        North-up grid; the polygon may reach outside it.

    Raises
    ------
    ValueError
        Where rings cross or overlap, so that inside and outside cannot be told.

    Notes
    -----
    Area and first moments by the line integrals of Green's theorem. In a row of cells, a piece
    that goes down by ``dv`` at ``u`` adds ``dv`` to every cell to its right, and the part of
    ``dv`` to its right in its own cell.
    """
    start, end, corner = _edges(polygon, grid)
    if len(start) == 0:
        none, nothing = np.empty(0, dtype=np.int64), np.empty(0)
        return Coverage(none, none, nothing, nothing, nothing, none, none, none)
    width = int(max(start[:, 0].max(), end[:, 0].max())) + 2
    key, integrals = _integrals(*_split(start, end), width)
    order = np.argsort(key)
    key = key[order]
    first = np.flatnonzero(np.diff(key, prepend=-1))
    area, moment_u, moment_v, drop, drop_v = (
        np.add.reduceat(each[order], first) for each in integrals
    )
    row, column = np.divmod(key[first].astype(np.int64), width)

    # What the pieces further left in the row leave to the right of themselves.
    row_start = np.flatnonzero(np.diff(row, prepend=-1))
    in_row = np.repeat(np.arange(row_start.size), np.diff(row_start, append=row.size))
    from_left = _run(drop, row_start, in_row)
    share = area + from_left
    moment_v = moment_v + _run(drop_v, row_start, in_row)

    gap = np.flatnonzero((np.diff(row) == 0) & (np.diff(column) > 1))
    turns = np.rint(from_left[gap] + drop[gap])
    if np.any((turns != 0) & (turns != 1)) or np.any(share < -1e-9) or np.any(share > 1 + 1e-9):
        raise ValueError("The rings of the polygon cross or overlap.")
    inside = gap[turns == 1]
    span_start, span_end = column[inside] + 1, column[inside + 1]

    shoelace = -np.sum(start[:, 0] * end[:, 1] - end[:, 0] * start[:, 1]) / 2
    summed = share.sum() + (span_end - span_start).sum()
    assert abs(summed - shoelace) <= 1e-12 * (shoelace + share.size)

    held = share > NOTHING
    share = np.clip(share[held], 0, 1)
    return Coverage(
        row=row[held] + corner[1],
        column=column[held] + corner[0],
        share=share,
        right=np.clip(moment_u[held] / share, -0.5, 0.5),
        up=np.clip(-moment_v[held] / share, -0.5, 0.5),
        span_row=row[inside] + corner[1],
        span_start=span_start + corner[0],
        span_end=span_end + corner[0],
    )


def _edges(
    polygon: Polygon | MultiPolygon, grid: Grid
) -> tuple[FloatArray, FloatArray, tuple[int, int]]:
    """Return edge ends (u, v) in cells, v down, with the inside on the left hand of the reader.

    Coordinates count from a whole cell at the corner of the polygon, so that a small polygon in
    a large grid keeps all its digits.
    """
    import shapely

    rings: list[FloatArray] = []
    hole: list[bool] = []
    for part in shapely.get_parts(polygon):
        if part.is_empty:
            continue
        for number, ring in enumerate((part.exterior, *part.interiors)):
            x, y = shapely.get_coordinates(ring).T
            u, v = (x - grid.west_m) / grid.cell_x_m, (grid.north_m - y) / grid.cell_y_m
            rings.append(np.stack([u, v], axis=1))
            hole.append(number > 0)
    if not rings:
        return np.empty((0, 2)), np.empty((0, 2)), (0, 0)
    corner = np.floor(np.min([ring.min(axis=0) for ring in rings], axis=0))
    starts, ends = [], []
    for ring, is_hole in zip(rings, hole, strict=True):
        points = ring - corner
        twice_area = np.sum(points[:-1, 0] * points[1:, 1] - points[1:, 0] * points[:-1, 1])
        if (twice_area > 0) != is_hole:
            points = points[::-1]
        starts.append(points[:-1])
        ends.append(points[1:])
    return np.concatenate(starts), np.concatenate(ends), (int(corner[0]), int(corner[1]))


def _split(start: FloatArray, end: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the ends of the pieces of all edges, cut at the grid lines, in order.

    Both have shape ``(2, n_pieces)``: u, then v.
    """
    edge: list[IntArray] = [np.arange(len(start))]
    along: list[FloatArray] = [np.zeros(len(start))]
    points: list[FloatArray] = [start.T]
    for axis in (0, 1):
        crossed, where, line = _crossings(start[:, axis], end[:, axis])
        other = start[crossed, 1 - axis]
        other = other + where * (end[crossed, 1 - axis] - other)
        edge.append(crossed)
        along.append(where)
        points.append(np.stack([line, other] if axis == 0 else [other, line]))
    edges = np.concatenate(edge)
    # One number to sort by: the edge, then the place along it (0 to 1).
    order = np.argsort(2.0 * edges + np.concatenate(along))
    edges = edges[order]
    near = np.stack([np.concatenate(each)[order] for each in zip(*points, strict=True)])
    far = np.empty_like(near)
    far[:, :-1] = near[:, 1:]
    last = np.flatnonzero(np.diff(edges, append=-1))
    far[:, last] = end[edges[last]].T
    return near, far


def _crossings(start: FloatArray, end: FloatArray) -> tuple[IntArray, FloatArray, FloatArray]:
    """Return edge, position along it (0-1) and grid line, for every line strictly crossed."""
    low = np.floor(np.minimum(start, end)) + 1
    high = np.ceil(np.maximum(start, end)) - 1
    count = np.maximum(high - low + 1, 0).astype(np.int64)
    edge = np.repeat(np.arange(len(start)), count)
    within = np.arange(edge.size) - np.repeat(np.cumsum(count) - count, count)
    line = low[edge] + within
    return edge, (line - start[edge]) / (end[edge] - start[edge]), line


def _integrals(
    near: FloatArray, far: FloatArray, width: int
) -> tuple[FloatArray, tuple[FloatArray, ...]]:
    """Return the cell of each piece and its integrals about the middle of that cell.

    The cell is ``row * width + column``. The integrals are the area to the right of the piece
    inside its cell, that area's moments in u and v, the drop in v, and the drop's moment in v.
    """
    key, integrals = np.empty(near.shape[1]), np.empty((5, near.shape[1]))
    for begin in range(0, key.size, BATCH):
        part = slice(begin, begin + BATCH)
        ua, va = near[:, part]
        ub, vb = far[:, part]
        column, row = np.floor((ua + ub) / 2), np.floor((va + vb) / 2)
        # A piece along a horizontal grid line bounds whole cells and belongs to none.
        on_line = (va == vb) & (va == row)
        key[part] = np.where(on_line, -1.0, row * width + column)
        ua, ub, va, vb = ua - column - 0.5, ub - column - 0.5, va - row - 0.5, vb - row - 0.5
        down, middle_v = vb - va, (va + vb) / 2
        integrals[0, part] = down * (0.5 - (ua + ub) / 2)
        integrals[1, part] = down * (0.125 - (ua * ua + ua * ub + ub * ub) / 6)
        cross = 2 * (ua * va + ub * vb) + ua * vb + ub * va
        integrals[2, part] = down * (0.5 * middle_v - cross / 6)
        integrals[3, part] = down
        integrals[4, part] = down * middle_v
    held = key >= 0
    if held.all():
        return key, tuple(integrals)
    return key[held], tuple(each[held] for each in integrals)


def _run(values: FloatArray, row_start: IntArray, in_row: IntArray) -> FloatArray:
    """Return the sum of the values further left in the same row."""
    before = np.cumsum(values) - values
    return before - before[row_start][in_row]
