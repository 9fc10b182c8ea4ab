"""How deep the dig may go: the highest of the base and the slope from every point of the rim.

Comes in: the rim in plan, the survey along it, the side slope with its benches. Goes out: the
height of the slopes at any point. Exact for a rim of straight pieces no longer than a cell, each
with a linear elevation, and for benches no narrower than a cell. Slopes are the user's choice;
this says nothing about whether they stand.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from reclaim.ground.point_values import Reader, values_at
from reclaim.ground.side_slope import SideSlope

if TYPE_CHECKING:
    from collections.abc import Iterator

    from shapely import MultiPolygon

    from reclaim.site.model import Grid, Window

FloatArray = NDArray[np.floating[Any]]
IntArray = NDArray[np.integer[Any]]

LEAF = 4
"""Cells along the side of the smallest blocks that share candidates."""

BATCH = 1 << 14
"""Pairs of point and rim piece worked on at a time; they fit in the processor's cache."""

GROUP = 64
"""Rim pieces that share a circle when the pieces near a window are looked for."""

VERTICAL = 1e12
"""Stands for an infinite lead, where the rim is steeper than the slope."""


@dataclass(frozen=True, slots=True)
class Rim:
    """Straight pieces of the rim, no longer than a cell; arrays of shape ``(n_pieces,)``.

    Coordinates count from the grid's north-west corner: x to the east, y to the north [m].

    Attributes
    ----------
    x_m, y_m, elevation_m
        Start of each piece [m].
    east, north
        Unit direction in plan [-].
    length_m
        Length in plan [m].
    rise
        Rise of the elevation along the piece [m/m].
    lead
        How far beyond the foot of the perpendicular the highest slope starts, per metre of
        distance from the piece [-], for each fall of the profile; shape ``(n_falls, n_pieces)``.
    slope
        The profile of the slopes.
    circles, groups
        Circle around each piece, and around each `GROUP` pieces in order: x, y, radius and
        highest elevation [m]; shape ``(4, n)``.
    """

    x_m: FloatArray
    y_m: FloatArray
    elevation_m: FloatArray
    east: FloatArray
    north: FloatArray
    length_m: FloatArray
    rise: FloatArray
    lead: FloatArray
    slope: SideSlope
    circles: FloatArray
    groups: FloatArray

    def heights(
        self, piece: IntArray, x_m: FloatArray, y_m: FloatArray
    ) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return the height at each point of the slope from the piece paired with it.

        Returns
        -------
        height_m
            Height of the slope [m], shape ``(n,)``.
        right_m, up_m
            From where the slope starts to the point, in plan [m].

        Notes
        -----
        At distance `d` beside a piece whose elevation rises by `g` per metre, a slope of
        fall `k` is highest from ``d g / sqrt(k^2 - g^2)`` beyond the foot of the perpendicular,
        held to the ends of the piece (the height is concave along it). With benches the highest
        may also start at an end, or where the point lies on the outer edge of a bench.
        """
        result = np.empty((3, piece.size))
        for begin in range(0, piece.size, BATCH):
            part = slice(begin, begin + BATCH)
            chosen = piece[part]
            east, north = self.east[chosen], self.north[chosen]
            right, up = x_m[part] - self.x_m[chosen], y_m[part] - self.y_m[chosen]
            foot = right * east + up * north
            beside = np.abs(right * north - up * east)
            for number, start in enumerate(self._starts(chosen, foot, beside)):
                along = np.minimum(np.maximum(start, 0), self.length_m[chosen])
                across, down = right - along * east, up - along * north
                distance = np.sqrt(across * across + down * down)
                top = self.elevation_m[chosen] + self.rise[chosen] * along
                height = top - self.slope.drop(distance)
                if number == 0:
                    result[:, part] = height, across, down
                else:
                    higher = height > result[0, part]
                    result[:, part][:, higher] = np.stack([height, across, down])[:, higher]
        return result[0], result[1], result[2]

    def _starts(
        self, piece: IntArray, foot: FloatArray, beside: FloatArray
    ) -> Iterator[FloatArray]:
        """Yield where along its piece the highest slope may start [m]."""
        for lead in self.lead:
            yield foot + beside * lead[piece]
        if self.slope.plain:
            return
        yield np.zeros(piece.size)
        yield self.length_m[piece]
        edges_m = self.slope.edges
        if edges_m.size:
            middle = np.hypot(beside, foot - self.length_m[piece] / 2)
            after = np.minimum(np.searchsorted(edges_m, middle), edges_m.size - 1)
            inner, outer = edges_m[np.maximum(after - 1, 0)], edges_m[after]
            edge_m = np.where(np.abs(middle - inner) < np.abs(outer - middle), inner, outer)
            reach = np.sqrt(np.maximum(edge_m**2 - beside**2, 0))
            yield foot - reach
            yield foot + reach

    def reaching(self, x_m: float, y_m: float, radius_m: float, floor_m: float) -> IntArray:
        """Return the pieces whose slope may pass above `floor_m` inside a circle."""
        near = self._above(self.groups, x_m, y_m, radius_m, floor_m)
        if near.size == 0:
            return near
        pieces = (near[:, None] * GROUP + np.arange(GROUP)).reshape(-1)
        pieces = pieces[pieces < self.x_m.size]
        return pieces[self._above(self.circles[:, pieces], x_m, y_m, radius_m, floor_m)]

    def _above(
        self, circles: FloatArray, x_m: float, y_m: float, radius_m: float, floor_m: float
    ) -> IntArray:
        centre_x, centre_y, own_radius, top = circles
        distance = np.hypot(centre_x - x_m, centre_y - y_m) - own_radius - radius_m
        return np.flatnonzero(top - self.slope.drop(np.maximum(distance, 0)) > floor_m)

    def contenders(
        self,
        piece: IntArray,
        owner: IntArray,
        x_m: FloatArray,
        y_m: FloatArray,
        radius_m: float,
        floor_m: FloatArray,
    ) -> IntArray:
        """Return which pairs of piece and circle may give the highest slope in the circle.

        Parameters
        ----------
        piece, owner
            The pairs, by circle in order; shape ``(n_pairs,)``.
        x_m, y_m, floor_m
            Middle of each circle, and the elevation below which nothing matters; shape
            ``(n_circles,)``.
        radius_m
            Of all circles.
        """
        heights, right, up = self.heights(piece, x_m[owner], y_m[owner])
        first = np.flatnonzero(np.diff(owner, prepend=-1))
        circle = np.repeat(np.arange(first.size), np.diff(first, append=owner.size))
        if self.slope.plain:
            best = np.maximum.reduceat(heights, first)[circle] if piece.size else heights
            return self._plain_contenders(
                piece, circle, heights, best - heights, right, up, radius_m, floor_m[owner]
            )
        distance = np.sqrt(right * right + up * up)
        least = heights + self.slope.drop(distance) - self.slope.drop(distance + radius_m)
        nearest = np.maximum(distance - self.length_m[piece] - radius_m, 0)
        most = self.circles[3][piece] - self.slope.drop(nearest)
        best = np.maximum.reduceat(least, first)[circle] if piece.size else least
        return np.flatnonzero((most >= best) & (most > floor_m[owner]))

    def _plain_contenders(
        self,
        piece: IntArray,
        circle: IntArray,
        heights: FloatArray,
        lag: FloatArray,
        right: FloatArray,
        up: FloatArray,
        radius_m: float,
        floor_m: FloatArray,
    ) -> IntArray:
        """Return the contenders of a plain slope; `lag` is how far each is below the best.

        Notes
        -----
        A slope of fall `k` gains at most ``h k`` on its height at the middle of a circle of radius
        `h`. The difference of two slopes changes by at most ``k |e1 - e2|`` per metre, `e` being
        the unit vectors of their fall, and such a vector turns by at most ``h / (d - h)`` inside
        the circle when its slope starts at distance `d` (less the length of its piece).
        """
        gain = radius_m * self.slope.steepness
        kept = np.flatnonzero((lag <= 2 * gain) & (heights + gain > floor_m))
        piece, circle = piece[kept], circle[kept]
        lag, right, up = lag[kept], right[kept], up[kept]
        distance = np.sqrt(right * right + up * up)
        turn = distance - self.length_m[piece] - radius_m
        turn = np.where(turn > radius_m / 2, radius_m / np.maximum(turn, radius_m / 2), 2.0)
        distance = np.maximum(distance, np.finfo(float).tiny)
        right, up = right / distance, up / distance
        # A circle whose best cannot reach its floor has lost all its pieces by now.
        leader = np.full(int(circle.max(initial=-1)) + 1, -1)
        leader[circle[lag == 0]] = np.flatnonzero(lag == 0)
        led = leader[circle]
        apart = np.hypot(right - right[led], up - up[led]) + turn + turn[led]
        return np.asarray(kept[lag <= gain * apart])


def rim_of(
    outline: MultiPolygon, grid: Grid, read_survey: Reader, side_slope: float | SideSlope
) -> Rim:
    """Return the rim of a dig: every ring of its outline, holes included, with the survey on it.

    Parameters
    ----------
    outline
        What may be dug, in the grid's coordinates [m].
    read_survey
        Reads the survey by window.
    side_slope
        The profile; a number is the one face of a plain slope, horizontal over vertical, above 0.

    Notes
    -----
    Where the survey is unknown on the rim no slope starts; that ground is unknown too, and is
    reported as such.
    """
    import shapely

    spacing = min(grid.cell_x_m, grid.cell_y_m)
    starts, ends = [], []
    for part in shapely.get_parts(outline):
        for ring in (part.exterior, *part.interiors):
            corners = shapely.get_coordinates(ring)
            step = np.diff(corners, axis=0)
            count = np.ceil(np.maximum(np.hypot(*step.T) / spacing, 1e-9)).astype(np.int64)
            edge = np.repeat(np.arange(count.size), count)
            number = np.arange(edge.size) - np.repeat(np.cumsum(count) - count, count)
            points = corners[edge] + (number / count[edge])[:, None] * step[edge]
            starts.append(points)
            ends.append(np.roll(points, -1, axis=0))
    start = np.concatenate(starts) if starts else np.empty((0, 2))
    end = np.concatenate(ends) if ends else np.empty((0, 2))
    from_m = values_at(read_survey, grid, start[:, 0], start[:, 1])
    to_m = values_at(read_survey, grid, end[:, 0], end[:, 1])
    length = np.hypot(*(end - start).T)
    held = np.isfinite(from_m) & np.isfinite(to_m) & (length > 0)
    start, length = start[held], length[held]
    direction = (end[held] - start) / length[:, None]
    rise = (to_m[held] - from_m[held]) / length
    slope = SideSlope.of(side_slope)
    leads = []
    for fall in slope.falls:
        room = fall**2 - rise**2
        steep = room <= 0
        lead = np.where(steep, np.sign(rise) * VERTICAL, rise / np.sqrt(np.where(steep, 1.0, room)))
        leads.append(np.clip(lead, -VERTICAL, VERTICAL))
    start = start - (grid.west_m, grid.north_m)
    circles = np.stack(
        [
            *(start + direction * length[:, None] / 2).T,
            length / 2,
            from_m[held] + np.maximum(rise * length, 0),
        ]
    )
    return Rim(
        x_m=start[:, 0],
        y_m=start[:, 1],
        elevation_m=from_m[held],
        east=direction[:, 0],
        north=direction[:, 1],
        length_m=length,
        rise=rise,
        lead=np.stack(leads),
        slope=slope,
        circles=circles,
        groups=_grouped(circles),
    )


def _grouped(circles: FloatArray) -> FloatArray:
    """Return a circle around each `GROUP` circles in order."""
    if circles.shape[1] == 0:
        return circles
    first = np.arange(0, circles.shape[1], GROUP)
    x, y, radius, top = circles
    west, east = np.minimum.reduceat(x, first), np.maximum.reduceat(x, first)
    south, north = np.minimum.reduceat(y, first), np.maximum.reduceat(y, first)
    around = np.hypot(east - west, north - south) / 2 + np.maximum.reduceat(radius, first)
    return np.stack(
        [(west + east) / 2, (south + north) / 2, around, np.maximum.reduceat(top, first)]
    )


def dig_heights(
    rim: Rim,
    grid: Grid,
    window: Window,
    place: IntArray,
    right: FloatArray | float,
    up: FloatArray | float,
    floor_m: FloatArray,
) -> FloatArray:
    """Return the higher of a floor and the slopes from the rim, at points of one window.

    Parameters
    ----------
    place
        Flat position in the window of each point's cell, shape ``(n,)``.
    right, up
        Place in the cell from its centre, in cells towards the east and the north.
    floor_m
        Elevation below which the slopes do not matter, the base [m], shape ``(n,)``; where it is
        NaN the result is NaN.

    Notes
    -----
    Candidates are found by halving blocks; see `_candidates`. Nothing is left out that could be
    the highest anywhere.
    """
    lowest = np.min(floor_m, initial=np.inf, where=np.isfinite(floor_m))
    height_m, width_m = window.rows * grid.cell_y_m, window.columns * grid.cell_x_m
    near = rim.reaching(
        window.column * grid.cell_x_m + width_m / 2,
        -window.row * grid.cell_y_m - height_m / 2,
        float(np.hypot(width_m, height_m)) / 2,
        float(lowest),
    )
    if near.size == 0:
        return floor_m
    row, column = np.divmod(place, window.columns)
    block, count, first, piece = _candidates(
        rim, near, grid, window, _floors(window, row, column, floor_m)
    )
    x_m = (window.column + column + 0.5 + right) * grid.cell_x_m
    y_m = -(window.row + row + 0.5 - up) * grid.cell_y_m
    block_of = block[row // LEAF, column // LEAF]
    result = floor_m.astype(np.float64)
    sloped = np.flatnonzero((block_of >= 0) & np.isfinite(floor_m))
    pairs = np.cumsum(count[block_of[sloped]])
    total = int(pairs[-1]) if sloped.size else 0
    cuts = np.searchsorted(pairs, np.arange(BATCH, total, BATCH))
    for points in np.split(sloped, cuts):
        if points.size == 0:
            continue
        own = block_of[points]
        many = count[own]
        start = np.cumsum(many) - many
        offset = np.arange(many.sum()) - np.repeat(start, many)
        chosen = piece[np.repeat(first[own], many) + offset]
        owner = np.repeat(points, many)
        heights, _, _ = rim.heights(chosen, x_m[owner], y_m[owner])
        result[points] = np.maximum(result[points], np.maximum.reduceat(heights, start))
    return result


def _candidates(
    rim: Rim, near: IntArray, grid: Grid, window: Window, floors: list[FloatArray]
) -> tuple[IntArray, IntArray, IntArray, IntArray]:
    """Return the block number of each leaf (-1 for none), and the rim pieces of each block.

    The pieces of block ``b`` are ``piece[first[b] : first[b] + count[b]]``.

    Notes
    -----
    Blocks are halved down to the leaves. At each size a piece is dropped where it cannot be the
    highest anywhere in the circle around the block, and a block where nothing reaches its floor.
    """
    size = LEAF << (len(floors) - 1)
    block_row, block_column = np.zeros(1, dtype=np.int64), np.zeros(1, dtype=np.int64)
    count, piece = np.array([near.size]), near
    while True:
        x_m = (window.column + (block_column + 0.5) * size) * grid.cell_x_m
        y_m = -(window.row + (block_row + 0.5) * size) * grid.cell_y_m
        radius = np.hypot(grid.cell_x_m, grid.cell_y_m) * size / 2
        owner = np.repeat(np.arange(count.size), count)
        floor = floors.pop()[block_row, block_column]
        kept = rim.contenders(piece, owner, x_m, y_m, float(radius), floor)
        piece, owner = piece[kept], owner[kept]
        count = np.bincount(owner, minlength=count.size)
        alive = count > 0
        block_row, block_column, count = block_row[alive], block_column[alive], count[alive]
        if not floors:
            break
        block_row = np.concatenate([block_row * 2 + south for south in (0, 0, 1, 1)])
        block_column = np.concatenate([block_column * 2 + east for east in (0, 1, 0, 1)])
        count, piece, size = np.tile(count, 4), np.tile(piece, 4), size // 2
    shape = -(-window.rows // LEAF), -(-window.columns // LEAF)
    block = np.full(shape, -1, dtype=np.int64)
    block[block_row, block_column] = np.arange(count.size)
    return block, count, np.cumsum(count) - count, piece


def _floors(
    window: Window, row: IntArray, column: IntArray, floor_m: FloatArray
) -> list[FloatArray]:
    """Return the lowest floor of each block, from the leaves up to one block; inf where none."""
    leaves = -(-max(window.rows, window.columns) // LEAF)
    leaves = 1 << (leaves - 1).bit_length()
    height_m = np.where(np.isfinite(floor_m), floor_m, np.inf)
    in_order = np.arange(window.rows * window.columns)
    if np.array_equal(row * window.columns + column, in_order):
        cells = np.full((leaves * LEAF, leaves * LEAF), np.inf)
        cells[: window.rows, : window.columns] = height_m.reshape(window.rows, window.columns)
        lowest = cells.reshape(leaves, LEAF, leaves, LEAF).min(axis=(1, 3))
    else:
        lowest = np.full((leaves, leaves), np.inf)
        np.minimum.at(lowest, (row // LEAF, column // LEAF), height_m)
    floors: list[FloatArray] = [lowest]
    while leaves > 1:
        leaves //= 2
        floors.append(floors[-1].reshape(leaves, 2, leaves, 2).min(axis=(1, 3)))
    return floors
