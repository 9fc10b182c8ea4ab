"""Elevations between cell centres: at a point of a line, and at the centroid of a cell's piece.

Comes in: cell-centre values read by window. Goes out: values at points, exact on a plane.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from reclaim.site.model import Window

if TYPE_CHECKING:
    from reclaim.site.model import Grid

FloatArray = NDArray[np.floating[Any]]
IntArray = NDArray[np.integer[Any]]
Reader = Callable[[Window], FloatArray]

TILE = 256
"""Cells along the side of the tiles in which surfaces are read."""


def linear_in_cell(
    values: FloatArray, row: IntArray, column: IntArray, right: FloatArray, up: FloatArray
) -> FloatArray:
    """Return values inside cells by the local linear gradient.

    Parameters
    ----------
    values
        Cell-centre values with a margin of one cell around the cells asked for.
    row, column
        Cells asked for, positions in `values`.
    right, up
        Place in the cell from its centre, in cells towards the east and the north.

    Notes
    -----
    The gradient is the central difference; one-sided where a neighbour is unknown, zero where
    both are. NaN where the cell itself is unknown.
    """
    centre = values[row, column].astype(np.float64)
    east = _gradient(values[row, column - 1], centre, values[row, column + 1])
    north = _gradient(values[row + 1, column], centre, values[row - 1, column])
    return np.asarray(centre + east * right + north * up)


def _gradient(before: FloatArray, centre: FloatArray, after: FloatArray) -> FloatArray:
    both = (after - before) / 2
    if np.isfinite(both).all():
        return both
    steps = np.stack([centre - before, after - centre])
    known = np.isfinite(steps)
    total = np.where(known, steps, 0).sum(axis=0)
    return np.asarray(total / np.maximum(known.sum(axis=0), 1))


def values_at(read: Reader, grid: Grid, x_m: FloatArray, y_m: FloatArray) -> FloatArray:
    """Return a surface's values at points [m], shape ``(n,)``, reading only the tiles they meet.

    Bilinear between the four nearest cell centres; where one of these is unknown, linear in the
    point's own cell; NaN where that cell is unknown too.
    """
    across = (x_m - grid.west_m) / grid.cell_x_m
    down = (grid.north_m - y_m) / grid.cell_y_m
    result = np.full(np.shape(x_m), np.nan)
    for chosen in tile_groups(np.floor(down).astype(np.int64), np.floor(across).astype(np.int64)):
        u, v = across[chosen], down[chosen]
        top, left = int(np.floor(v.min())) - 1, int(np.floor(u.min())) - 1
        window = Window(
            top, left, int(np.floor(v.max())) + 2 - top, int(np.floor(u.max())) + 2 - left
        )
        values = read(window)
        row, column = np.floor(v).astype(np.int64) - top, np.floor(u).astype(np.int64) - left
        right, up = u - left - column - 0.5, row + 0.5 - (v - top)
        smooth = _bilinear(values, u - left - 0.5, v - top - 0.5)
        own = linear_in_cell(values, row, column, right, up)
        result[chosen] = np.where(np.isfinite(smooth), smooth, own)
    return result


def tile_groups(row: IntArray, column: IntArray) -> Iterator[IntArray]:
    """Yield the positions of the cells that share a tile, tile by tile."""
    if row.size == 0:
        return
    order = np.lexsort((column // TILE, row // TILE))
    tile = np.stack([row[order] // TILE, column[order] // TILE])
    new = np.any(np.diff(tile, axis=1) != 0, axis=0)
    yield from np.split(order, np.flatnonzero(new) + 1)


def _bilinear(values: FloatArray, u: FloatArray, v: FloatArray) -> FloatArray:
    """Return the bilinear value at fractional positions in `values`, 0 the first cell centre."""
    column, row = np.floor(u).astype(np.int64), np.floor(v).astype(np.int64)
    fu, fv = u - column, v - row
    upper = values[row, column] * (1 - fu) + values[row, column + 1] * fu
    lower = values[row + 1, column] * (1 - fu) + values[row + 1, column + 1] * fu
    return np.asarray(upper * (1 - fv) + lower * fv)
