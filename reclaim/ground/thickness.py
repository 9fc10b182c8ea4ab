"""How thick the dug ground is, place by place: whole for a raster file, coarse for a figure.

Comes in: footprint, grid, surfaces, side slope. Goes out: blocks of thickness, window by window,
or a `ThicknessMap` that always fits in memory.
"""

from __future__ import annotations

from itertools import groupby
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from reclaim.ground.columns import Columns, Layout, Progress, columns
from reclaim.ground.excavation import ThicknessMap

if TYPE_CHECKING:
    from collections.abc import Iterator

    from reclaim.ground.side_slope import SideSlope
    from reclaim.site.model import Footprint, Grid, Surface, Window

FloatArray = NDArray[np.floating[Any]]
IntArray = NDArray[np.integer[Any]]


def thickness_blocks(
    footprint: Footprint,
    grid: Grid,
    survey: Surface,
    base: Surface,
    *,
    side_slope: float | SideSlope,
    progress: Progress | None = None,
) -> Iterator[tuple[Window, NDArray[np.float32]]]:
    """Yield the dug thickness block by block, for a raster file.

    Yields
    ------
    window
        A part of the grid that meets the footprint; windows do not overlap.
    thickness_m
        Cover and waste dug [m], NaN outside the footprint and where unknown; shape
        ``(window.rows, window.columns)``. A cell on the boundary holds the value of its piece.
    """
    layout = Layout(footprint, grid)
    parts = columns(layout, survey, base, side_slope=side_slope, progress=progress)
    for window, group in groupby(parts, key=lambda part: part.window):
        share = np.zeros(window.rows * window.columns)
        total_m = np.zeros(window.rows * window.columns)
        for part in group:
            place, weight, survey_m, dig_m = _known(part)
            # Within one zone's part a cell has one column.
            share[place] += weight
            total_m[place] += weight * (survey_m - dig_m)
        thickness = np.full(share.shape, np.nan, dtype=np.float32)
        held = share > 0
        thickness[held] = total_m[held] / share[held]
        yield window, thickness.reshape(window.rows, window.columns)


def thickness_map(
    footprint: Footprint,
    grid: Grid,
    survey: Surface,
    base: Surface,
    *,
    side_slope: float | SideSlope,
    most_cells: int = 400_000,
    progress: Progress | None = None,
) -> ThicknessMap:
    """Return thickness, survey and dig surface for figures, coarsened to fit.

    Parameters
    ----------
    footprint, grid, survey, base
        From the site.
    side_slope
        Horizontal over vertical, 0 for vertical faces; or a profile with benches.
    most_cells
        Most cells the map may have; cells are merged in squares until it fits.
    progress
        Called with windows done and windows in all.

    Raises
    ------
    ValueError
        Where the footprint is empty.
    """
    layout = Layout(footprint, grid)
    coarse = CoarseMap(layout, most_cells)
    for part in columns(layout, survey, base, side_slope=side_slope, progress=progress):
        place, share, survey_m, dig_m = _known(part)
        coarse.add(part.window, place, share, survey_m, dig_m)
    survey_mean, dig_mean = coarse.means()
    return ThicknessMap(
        west_m=coarse.west_m,
        north_m=coarse.north_m,
        cell_x_m=coarse.cell_x_m,
        cell_y_m=coarse.cell_y_m,
        thickness_m=survey_mean - dig_mean,
        survey_m=survey_mean,
        dig_m=dig_mean,
    )


class CoarseMap:
    """Means over merged cells, gathered column by column, so that a map always fits in memory.

    Attributes
    ----------
    west_m, north_m, cell_x_m, cell_y_m
        Corner and cell size of the map [m].
    """

    def __init__(self, layout: Layout, most_cells: int) -> None:
        """Choose how many cells of the grid are merged.

        Raises
        ------
        ValueError
            Where the footprint is empty.
        """
        grid, extent = layout.grid, layout.extent
        if extent.rows == 0:
            raise ValueError("The footprint is empty.")
        merged = 1
        while -(-extent.rows // merged) * -(-extent.columns // merged) > most_cells:
            merged += 1
        self._row, self._column, self._merged = extent.row, extent.column, merged
        self._shape = -(-extent.rows // merged), -(-extent.columns // merged)
        self._sums: list[FloatArray] = []
        self.west_m = grid.west_m + extent.column * grid.cell_x_m
        self.north_m = grid.north_m - extent.row * grid.cell_y_m
        self.cell_x_m, self.cell_y_m = grid.cell_x_m * merged, grid.cell_y_m * merged

    def add(
        self, window: Window, place: IntArray, share: FloatArray, *quantities: FloatArray
    ) -> None:
        """Add columns at flat positions of a window, each with its share of a cell."""
        row, column = np.divmod(place, window.columns)
        row = (row + window.row - self._row) // self._merged
        column = (column + window.column - self._column) // self._merged
        cell = row * self._shape[1] + column
        if not self._sums:
            size = self._shape[0] * self._shape[1]
            self._sums = [np.zeros(size) for _ in range(len(quantities) + 1)]
        weighted = share, *(share * values for values in quantities)
        for number, values in enumerate(weighted):
            self._sums[number] += np.bincount(cell, values, minlength=self._sums[number].size)

    def means(self) -> list[FloatArray]:
        """Return the mean of each quantity, NaN where there was none; shape ``(rows, columns)``."""
        share = np.where(self._sums[0] > 0, self._sums[0], np.nan)
        return [(total / share).reshape(self._shape) for total in self._sums[1:]]


def _known(part: Columns) -> tuple[IntArray, FloatArray, FloatArray, FloatArray]:
    """Return place, share, survey and bottom of the dig of the columns that are known."""
    survey_m = part.survey_m.astype(np.float64)
    bottom_m = np.minimum(part.dig_m, survey_m)
    known = np.isfinite(bottom_m)
    return part.cells[known], part.shares[known], survey_m[known], bottom_m[known]
