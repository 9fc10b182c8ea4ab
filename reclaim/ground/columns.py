"""The ground inside the footprint as vertical columns, one window at a time.

Comes in: footprint, grid, surfaces, side slope. Goes out: for each zone and window the columns of
whole cells and of the boundary's pieces, each with survey, base, cover and bottom of the dig.
Every other calculation of this room that walks over the site takes its columns from here.
"""

from __future__ import annotations

import os
from collections import deque
from collections.abc import Callable, Generator, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import ExitStack, closing, contextmanager
from dataclasses import dataclass, replace
from threading import Event, Lock
from typing import TYPE_CHECKING, Any, TypeVar

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

Found = TypeVar("Found")

AHEAD = 2
"""Windows read before they are needed, while others are worked on."""

STRIP = 8
"""Tiles side by side that are walked down together, so that GDAL still holds their neighbours,
those of two threads and four files too."""

SPAN = 24
"""Windows that are summed up together; their number must not hang on the number of threads."""

THREADS = 4
"""Most threads over the windows; each holds the tiles it works on."""

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

    def total(self, values: FloatArray) -> float:
        """Return the sum of values, each times its column's share of a cell."""
        if self.share is None:
            return float(values.sum(dtype=np.float64))
        return float(np.sum(self.share * values))

    def in_double(self, room: FloatArray) -> Columns:
        """Return the same columns in double precision.

        Parameters
        ----------
        room
            Memory that survey and base may be put in, shape ``(2, n)`` or larger; it is the
            caller's to use again once these columns are done with.
        """
        if {self.survey_m.dtype, self.base_m.dtype, self.dig_m.dtype} == {np.dtype(np.float64)}:
            return self
        count = self.survey_m.size
        if count > room.shape[1]:
            room = np.empty((2, count))
        survey, base = room[:2, :count]
        survey[:], base[:] = self.survey_m, self.base_m
        return replace(
            self,
            survey_m=survey,
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


def joined(parts: Sequence[Columns], window: Window) -> Columns:
    """Return the boundary pieces of one zone from several windows as columns of a wider window.

    A pass over many short arrays costs more for its calls than for its numbers.
    """
    counts = [part.survey_m.size for part in parts]
    places = []
    for part in parts:
        row, column = np.divmod(part.cells, part.window.columns)
        row, column = (
            row + part.window.row - window.row,
            column + part.window.column - window.column,
        )
        places.append(row * window.columns + column)
    base_m = np.concatenate([part.base_m for part in parts])
    sloped = any(part.dig_m is not part.base_m for part in parts)
    return Columns(
        parts[0].zone,
        window,
        np.concatenate(places),
        np.concatenate([part.shares for part in parts]),
        np.concatenate([part.survey_m for part in parts]),
        base_m,
        np.concatenate([part.dig_m for part in parts]) if sloped else base_m,
        tuple(
            _side_by_side(each, counts)
            for each in zip(*(part.others_m for part in parts), strict=True)
        ),
        _side_by_side([part.right for part in parts], counts),
        _side_by_side([part.up for part in parts], counts),
    )


def _side_by_side(
    values: Sequence[FloatArray | float], counts: Sequence[int]
) -> FloatArray | float:
    """Return the values of all parts, one number where all have the same one."""
    numbers = {each for each in values if not isinstance(each, np.ndarray)}
    if len(numbers) == 1 and not any(isinstance(each, np.ndarray) for each in values):
        return numbers.pop()
    return np.concatenate(
        [np.broadcast_to(each, count) for each, count in zip(values, counts, strict=True)]
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
    # What reads ahead is closed before the surfaces are, also when the caller stops half-way.
    with (
        _opened(layout, (survey, base, *others), side_slope) as (read, rim),
        closing(_read_ahead(layout, read)) as ahead,
    ):
        for done, tile in enumerate(ahead, start=1):
            yield from _parts(layout, tile, rim)
            if progress is not None:
                progress(done, len(layout.windows))


def by_spans(
    layout: Layout,
    survey: Surface,
    base: Surface,
    *others: Surface,
    side_slope: float | SideSlope,
    look: Callable[[Window, Iterator[Columns]], Found],
    progress: Progress | None = None,
) -> Iterator[Found]:
    """Yield what `look` makes of the columns of each span of windows, in order.

    Parameters
    ----------
    layout, survey, base, *others, side_slope
        See `columns`; each thread opens the surfaces for itself.
    look
        Given the smallest window that holds a span, and its columns. Called in several threads at
        a time; it must keep no columns, since what it returns is held for every span.
    progress
        Told after each window, by one thread at a time.

    Notes
    -----
    The spans are the same on every machine, so that sums by span do not hang on the number of
    threads. Each thread has a run of neighbouring spans, which share tiles at their seams.
    """
    windows = layout.windows
    spans = [windows[first : first + SPAN] for first in range(0, len(windows), SPAN)]
    threads = max(1, min(THREADS, os.cpu_count() or 1, len(spans)))
    cuts = [len(spans) * number // threads for number in range(threads + 1)]
    stopped, turn, done = Event(), Lock(), 0

    def tell() -> None:
        nonlocal done
        with turn:
            done += 1
            if progress is not None:
                progress(done, len(windows))

    def run(number: int) -> list[Found]:
        with _opened(layout, (survey, base, *others), side_slope) as (read, rim):

            def parts(span: Sequence[Window]) -> Iterator[Columns]:
                for window in span:
                    if stopped.is_set():
                        return
                    yield from _parts(layout, _read(layout, read, window), rim)
                    tell()

            mine = spans[cuts[number] : cuts[number + 1]]
            return [look(_holding(span), parts(span)) for span in mine]

    with ThreadPoolExecutor(max_workers=threads) as pool:
        try:
            for found in pool.map(run, range(threads)):
                yield from found
        finally:
            stopped.set()


@contextmanager
def _opened(
    layout: Layout, surfaces: Sequence[Surface], side_slope: float | SideSlope
) -> Iterator[tuple[list[Reader], Rim | None]]:
    """Open the surfaces, the survey first, and lay the rim of the dig on it."""
    with ExitStack() as opened:
        read = [opened.enter_context(surface.reader()) for surface in surfaces]
        rim = None
        if not SideSlope.of(side_slope).upright:
            rim = rim_of(layout.footprint.outline, layout.grid, read[0], side_slope)
        yield read, rim


def _parts(layout: Layout, tile: _Tile, rim: Rim | None) -> Iterator[Columns]:
    """Yield the columns of a window, zone by zone."""
    for number, zone in enumerate(layout.zones):
        whole = _whole(number, zone, tile)
        if whole is not None:
            yield _dug(whole, rim, layout.grid)
        if tile.pieces[number].size:
            yield _dug(_pieces(number, zone, tile), rim, layout.grid)


def _holding(windows: Sequence[Window]) -> Window:
    """Return the smallest window that holds all of some windows."""
    row, column = min(each.row for each in windows), min(each.column for each in windows)
    return Window(
        row,
        column,
        max(each.row + each.rows for each in windows) - row,
        max(each.column + each.columns for each in windows) - column,
    )


@dataclass(frozen=True, slots=True)
class _Tile:
    """A window as read.

    Attributes
    ----------
    window, values
        Where the columns are, and the values of each surface there.
    pieces
        Positions of the window's boundary cells in each zone.
    wider, framed
        The window with the neighbours of its boundary cells, which gradients need, and the values
        there. It is one cell wider on the sides that such a cell touches and no wider elsewhere:
        a row of cells next door costs a tile to be unpacked.
    """

    window: Window
    values: list[FloatArray]
    pieces: list[IntArray]
    wider: Window
    framed: list[FloatArray]


def _read_ahead(layout: Layout, read: list[Reader]) -> Generator[_Tile]:
    """Yield each window with the values of all surfaces."""
    with ThreadPoolExecutor(max_workers=1) as reading:
        ahead: deque[Future[_Tile]] = deque()
        for window in layout.windows:
            ahead.append(reading.submit(_read, layout, read, window))
            if len(ahead) > AHEAD:
                yield ahead.popleft().result()
        while ahead:
            yield ahead.popleft().result()


def _read(layout: Layout, read: list[Reader], window: Window) -> _Tile:
    pieces = [zone.pieces_in(window) for zone in layout.zones]
    wider = window
    for zone, chosen in zip(layout.zones, pieces, strict=True):
        if chosen.size:
            wider = _with_neighbours(wider, zone.row[chosen], zone.column[chosen])
    values = [one(window) for one in read]
    framed = [_framed(one, window, inner, wider) for one, inner in zip(read, values, strict=True)]
    return _Tile(window, values, pieces, wider, framed)


def _with_neighbours(window: Window, row: IntArray, column: IntArray) -> Window:
    """Return a window widened so that it holds the four neighbours of cells inside it."""
    top, left = min(window.row, int(row.min()) - 1), min(window.column, int(column.min()) - 1)
    bottom = max(window.row + window.rows, int(row.max()) + 2)
    end = max(window.column + window.columns, int(column.max()) + 2)
    return Window(top, left, bottom - top, end - left)


def _framed(read: Reader, window: Window, values: FloatArray, wider: Window) -> FloatArray:
    """Return the values of a window and of the rows and columns beside it; NaN in the corners.

    Read side by side: GDAL looks a tile up again for every row of a window that spans several.
    """
    if wider == window:
        return values
    if _repeats(values):
        return read(wider)
    top, left = window.row - wider.row, window.column - wider.column
    bottom, end = top + window.rows, left + window.columns
    framed = np.full((wider.rows, wider.columns), np.nan, dtype=values.dtype)
    framed[top:bottom, left:end] = values
    for row in {0, wider.rows - 1} - {top, bottom - 1}:
        beside = Window(wider.row + row, window.column, 1, window.columns)
        framed[row, left:end] = read(beside)[0]
    for column in {0, wider.columns - 1} - {left, end - 1}:
        beside = Window(window.row, wider.column + column, window.rows, 1)
        framed[top:bottom, column] = read(beside)[:, 0]
    return framed


def _around(zones: Sequence[Coverage]) -> Window:
    bounds = [zone.bounds for zone in zones if zone.cells > 0]
    return _holding(bounds) if bounds else Window(0, 0, 0, 0)


def _windows(zones: Sequence[Coverage], extent: Window) -> Iterator[Window]:
    tiles = set().union(*(zone.tiles(TILE) for zone in zones))
    for _, row, column in sorted((column // STRIP, row, column) for row, column in tiles):
        top, left = max(row * TILE, extent.row), max(column * TILE, extent.column)
        bottom = min((row + 1) * TILE, extent.row + extent.rows)
        end = min((column + 1) * TILE, extent.column + extent.columns)
        yield Window(top, left, bottom - top, end - left)


def _whole(number: int, zone: Coverage, tile: _Tile) -> Columns | None:
    """Return the columns of a window's whole cells, None where there are none."""
    window = tile.window
    place = zone.whole_in(window)
    if place is not None and place.size == 0:
        return None
    survey_m, base_m = (_chosen(each, place) for each in tile.values[:2])
    others_m = tuple(
        float(each[0, 0]) if _repeats(each) else _chosen(each, place) for each in tile.values[2:]
    )
    return Columns(number, window, place, None, survey_m, base_m, base_m, others_m)


def _repeats(values: FloatArray) -> bool:
    """Tell whether an array repeats one number, as that of a constant surface does."""
    return not any(values.strides)


def _chosen(values: FloatArray, place: IntArray | None) -> FloatArray:
    """Return the values at flat positions, all of them where None."""
    flat = values.reshape(-1)
    return flat if place is None else flat.take(place)


def _pieces(number: int, zone: Coverage, tile: _Tile) -> Columns:
    """Return the columns of a window's boundary pieces, at their centroids."""
    window, wider, chosen = tile.window, tile.wider, tile.pieces[number]
    row, column = zone.row[chosen], zone.column[chosen]
    right, up = zone.right[chosen], zone.up[chosen]

    def at(values: FloatArray) -> FloatArray:
        return linear_in_cell(values, row - wider.row, column - wider.column, right, up)

    survey_m, base_m = (at(each) for each in tile.framed[:2])
    others_m = tuple(float(each[0, 0]) if _repeats(each) else at(each) for each in tile.framed[2:])
    place = (row - window.row) * window.columns + column - window.column
    return Columns(
        number, window, place, zone.share[chosen], survey_m, base_m, base_m, others_m, right, up
    )


def _dug(part: Columns, rim: Rim | None, grid: Grid) -> Columns:
    """Return the columns with the side slopes of the dig raised on their base."""
    if rim is None:
        return part
    dig_m = dig_heights(rim, grid, part.window, part.cells, part.right, part.up, part.base_m)
    return replace(part, dig_m=dig_m)
