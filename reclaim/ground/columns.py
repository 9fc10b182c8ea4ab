"""The ground inside the footprint as vertical columns, one window at a time.

Comes in: footprint, grid, surfaces, side slope. Goes out: for each zone and window the columns of
whole cells and of the boundary's pieces, each with survey, base, cover and bottom of the dig.
Every other calculation of this room that walks over the site takes its columns from here.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Generator, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import ExitStack, closing
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from reclaim.ground.coverage import Coverage, coverage
from reclaim.ground.dig_surface import Rim, dig_heights, rim_of
from reclaim.ground.point_values import TILE, Reader, linear_in_cell
from reclaim.ground.side_slope import SideSlope
from reclaim.site.model import Window

if TYPE_CHECKING:
    from reclaim.site.model import Footprint, Grid, Surface

FloatArray = NDArray[np.floating[Any]]
IntArray = NDArray[np.integer[Any]]
BoolArray = NDArray[np.bool_]

AHEAD = 4
"""Windows read before they are needed, while others are worked on."""

STRIP = 8
"""Tiles side by side that are walked down together, so that GDAL still holds their neighbours."""

Progress = Callable[[int, int], None]
"""Called with the number of windows done and the number in all."""


@dataclass(frozen=True, slots=True)
class Columns:
    """Vertical columns of ground of one zone in one window; arrays of shape ``(n,)``.

    Attributes
    ----------
    zone
        Position of the zone in the footprint.
    window
        Where the columns are.
    place
        Flat position of each column's cell in the window; None where they are all its cells.
    share
        Share of the cell inside the zone [-]; None where the cells are whole.
    survey_m, base_m
        Elevations at the centroid of the column [m], NaN where unknown.
    dig_m
        The higher of base and side slopes [m]; the same object as `base_m` where no slope comes
        near. It may lie above the survey: nothing is dug there.
    others_m
        Further surfaces asked for, in order, such as the thickness of the cover [m]; each one
        number where it is the same everywhere.
    right, up
        Centroid of the column from the centre of its cell, in cells towards the east and the
        north; 0 where the cells are whole.
    """

    zone: int
    window: Window
    place: IntArray | None
    share: FloatArray | None
    survey_m: FloatArray
    base_m: FloatArray
    dig_m: FloatArray
    others_m: tuple[FloatArray | float, ...] = ()
    right: FloatArray | float = 0.0
    up: FloatArray | float = 0.0

    @property
    def cells(self) -> IntArray:
        """Flat position of each column's cell in the window, shape ``(n,)``."""
        return np.arange(self.survey_m.size) if self.place is None else self.place

    @property
    def shares(self) -> FloatArray:
        """Share of the cell inside the zone [-], shape ``(n,)``."""
        return np.ones(self.survey_m.size) if self.share is None else self.share

    def in_double(self) -> Columns:
        """Return the same columns in double precision."""
        if {self.survey_m.dtype, self.base_m.dtype, self.dig_m.dtype} == {np.dtype(np.float64)}:
            return self
        base = self.base_m.astype(np.float64)
        return replace(
            self,
            survey_m=self.survey_m.astype(np.float64),
            base_m=base,
            dig_m=base if self.dig_m is self.base_m else self.dig_m.astype(np.float64),
        )

    def only(self, chosen: BoolArray) -> Columns:
        """Return the chosen columns."""
        base = self.base_m[chosen]
        return Columns(
            self.zone,
            self.window,
            self.cells[chosen],
            None if self.share is None else self.share[chosen],
            self.survey_m[chosen],
            base,
            base if self.dig_m is self.base_m else self.dig_m[chosen],
            tuple(_only(other, chosen) for other in self.others_m),
            _only(self.right, chosen),
            _only(self.up, chosen),
        )


def _only(values: FloatArray | float, chosen: BoolArray) -> FloatArray | float:
    return values[chosen] if isinstance(values, np.ndarray) else values


class Layout:
    """Which cells the footprint holds, and the windows in which to walk over them.

    Attributes
    ----------
    footprint, grid
        As given.
    zones
        Cells of each zone, in the footprint's order.
    extent
        The smallest window that holds every cell the footprint touches.
    windows
        The tiles that meet a zone, cut to the extent.
    """

    def __init__(self, footprint: Footprint, grid: Grid) -> None:
        self.footprint = footprint
        self.grid = grid
        self.zones = tuple(coverage(zone.polygon, grid) for zone in footprint.zones)
        self.extent = _around(self.zones)
        self.windows = tuple(_windows(self.zones, self.extent))


def columns(
    layout: Layout,
    survey: Surface,
    base: Surface,
    *others: Surface,
    side_slope: float | SideSlope,
    progress: Progress | None = None,
) -> Iterator[Columns]:
    """Yield the columns of the footprint, window by window and zone by zone.

    Parameters
    ----------
    layout
        The footprint laid out on the grid.
    survey, base, *others
        From the site; each surface is opened once.
    side_slope
        Horizontal over vertical, 0 for vertical faces; or a profile with benches.
    progress
        Told after each window.

    Notes
    -----
    A piece of a boundary cell takes its values at its own centroid, by the local gradient of
    each surface, so that a plane is exact. The next windows are read while one is used.
    """
    grid, zones = layout.grid, layout.zones
    with ExitStack() as opened:
        read = [opened.enter_context(surface.reader()) for surface in (survey, base, *others)]
        rim = None
        if not SideSlope.of(side_slope).upright:
            rim = rim_of(layout.footprint.outline, grid, read[0], side_slope)
        # Closed before the surfaces are, also when the caller stops half-way.
        ahead = opened.enter_context(closing(_read_ahead(layout, read)))
        for done, (window, values, margin) in enumerate(ahead, start=1):
            for number, zone in enumerate(zones):
                whole = _whole(number, zone, window, values, margin)
                if whole is not None:
                    yield _dug(whole, rim, grid)
                pieces = zone.pieces_in(window)
                if pieces.size:
                    part = _pieces(number, zone, window, values, pieces)
                    yield _dug(part, rim, grid)
            if progress is not None:
                progress(done, len(layout.windows))


def _read_ahead(
    layout: Layout, read: list[Reader]
) -> Generator[tuple[Window, list[FloatArray], int]]:
    """Yield each window with the values of all surfaces, and the margin of cells around them.

    Gradients at the boundary need one cell more on every side; other windows have no margin.
    """

    def of(window: Window) -> tuple[Window, list[FloatArray], int]:
        margin = int(any(zone.pieces_in(window).size for zone in layout.zones))
        wider = Window(
            window.row - margin,
            window.column - margin,
            window.rows + 2 * margin,
            window.columns + 2 * margin,
        )
        return window, [one(wider) for one in read], margin

    with ThreadPoolExecutor(max_workers=1) as reading:
        ahead: deque[Future[tuple[Window, list[FloatArray], int]]] = deque()
        for window in layout.windows:
            ahead.append(reading.submit(of, window))
            if len(ahead) > AHEAD:
                yield ahead.popleft().result()
        while ahead:
            yield ahead.popleft().result()


def _around(zones: Sequence[Coverage]) -> Window:
    bounds = [zone.bounds for zone in zones if zone.cells > 0]
    if not bounds:
        return Window(0, 0, 0, 0)
    row, column = min(each.row for each in bounds), min(each.column for each in bounds)
    return Window(
        row,
        column,
        max(each.row + each.rows for each in bounds) - row,
        max(each.column + each.columns for each in bounds) - column,
    )


def _windows(zones: Sequence[Coverage], extent: Window) -> Iterator[Window]:
    tiles = set().union(*(zone.tiles(TILE) for zone in zones))
    for _, row, column in sorted((column // STRIP, row, column) for row, column in tiles):
        top, left = max(row * TILE, extent.row), max(column * TILE, extent.column)
        bottom = min((row + 1) * TILE, extent.row + extent.rows)
        end = min((column + 1) * TILE, extent.column + extent.columns)
        yield Window(top, left, bottom - top, end - left)


def _whole(
    number: int, zone: Coverage, window: Window, values: list[FloatArray], margin: int
) -> Columns | None:
    """Return the columns of a window's whole cells, None where there are none."""
    place = zone.whole_in(window)
    if place is not None and place.size == 0:
        return None
    if margin:
        values = [each[1:-1, 1:-1] for each in values]
    survey_m, base_m = (_chosen(each, place) for each in values[:2])
    # Where all strides are 0 the array repeats one number.
    others_m = tuple(
        _chosen(each, place) if any(each.strides) else float(each[0, 0]) for each in values[2:]
    )
    return Columns(number, window, place, None, survey_m, base_m, base_m, others_m)


def _chosen(values: FloatArray, place: IntArray | None) -> FloatArray:
    """Return the values at flat positions, all of them where None."""
    flat = values.reshape(-1)
    return flat if place is None else flat[place]


def _pieces(
    number: int, zone: Coverage, window: Window, values: list[FloatArray], chosen: IntArray
) -> Columns:
    """Return the columns of a window's boundary pieces, at their centroids."""
    row, column = zone.row[chosen] - window.row, zone.column[chosen] - window.column
    right, up = zone.right[chosen], zone.up[chosen]
    at = [linear_in_cell(each, row + 1, column + 1, right, up) for each in values]
    place = row * window.columns + column
    return Columns(
        number, window, place, zone.share[chosen], at[0], at[1], at[1], tuple(at[2:]), right, up
    )


def _dug(part: Columns, rim: Rim | None, grid: Grid) -> Columns:
    """Return the columns with the side slopes of the dig raised on their base."""
    if rim is None:
        return part
    dig_m = dig_heights(rim, grid, part.window, part.cells, part.right, part.up, part.base_m)
    return replace(part, dig_m=dig_m)
