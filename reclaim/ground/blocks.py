"""The dig cut into blocks: each zone, lift and square column apart.

Comes in: footprint, grid, surfaces, side slope, size of a block. Goes out: `Blocks`, with volume,
centroid and share inside of each, for whoever gives them a composition or a worth.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from reclaim.ground.columns import Columns, Layout, Progress, columns

if TYPE_CHECKING:
    from collections.abc import Iterator

    from reclaim.ground.excavation import LiftsBy
    from reclaim.ground.side_slope import SideSlope
    from reclaim.site.model import Footprint, Grid, Surface

FloatArray = NDArray[np.floating[Any]]
IntArray = NDArray[np.integer[Any]]


@dataclass(frozen=True, slots=True)
class Blocks:
    """What the dig takes, block by block, the highest lift first; arrays of shape ``(n_blocks,)``.

    Attributes
    ----------
    zones
        Zone names, ``n_zones``.
    side_m
        Width and height of a whole block in plan, whole cells of the grid [m].
    zone
        Position of the block's zone in `zones`.
    row, column
        Place of the block in plan, in blocks from the grid's north-west corner.
    lift_top_m, lift_bottom_m
        Limits of its lift [m]: elevations, or heights above today's ground (0 and below) where
        lifts go by depth.
    x_m, y_m, elevation_m
        Centroid of the dug ground in the block [m].
    cover_m3, waste_m3
        Dug in place [m3]; over-dig apart.
    share_inside
        Share of the block's square in plan that lies in the zone [-].
    """

    zones: tuple[str, ...]
    side_m: tuple[float, float]
    zone: IntArray
    row: IntArray
    column: IntArray
    lift_top_m: FloatArray
    lift_bottom_m: FloatArray
    x_m: FloatArray
    y_m: FloatArray
    elevation_m: FloatArray
    cover_m3: FloatArray
    waste_m3: FloatArray
    share_inside: FloatArray

    def __len__(self) -> int:
        return int(self.zone.size)

    @property
    def volume_m3(self) -> FloatArray:
        """Cover and waste dug [m3], shape ``(n_blocks,)``."""
        return np.asarray(self.cover_m3 + self.waste_m3)


def blocks(
    footprint: Footprint,
    grid: Grid,
    survey: Surface,
    base: Surface,
    cover: Surface,
    *,
    side_slope: float | SideSlope,
    lift_m: float,
    block_m: float,
    lifts_by: LiftsBy = "elevation",
    progress: Progress | None = None,
) -> Blocks:
    """Cut the dig into blocks.

    Parameters
    ----------
    footprint, grid, survey, base, cover
        From the site.
    side_slope
        Horizontal over vertical, 0 for vertical faces; or a profile with benches.
    lift_m, lifts_by
        Height of the lifts [m], and whether they are level or go by depth.
    block_m
        Side of a block in plan [m]; rounded to whole cells, at least one.
    progress
        Called with windows done and windows in all.

    Raises
    ------
    ValueError
        Where `lift_m` or `block_m` is not above 0.

    Notes
    -----
    Every column is split among the lifts exactly, so the blocks add up to the measured volumes.
    """
    if lift_m <= 0 or block_m <= 0:
        raise ValueError("lift_m and block_m must be above 0.")
    cut = _Cut(grid, lift_m, block_m, by_depth=lifts_by == "depth")
    layout = Layout(footprint, grid)
    zones = tuple(zone.name for zone in footprint.zones)
    found: list[tuple[IntArray, FloatArray]] = []
    squares: list[tuple[IntArray, FloatArray]] = []
    for part in columns(layout, survey, base, cover, side_slope=side_slope, progress=progress):
        squares.append(cut.squares(part))
        found.extend(cut.slices(part))
    if not found:
        none, nothing = np.empty(0, dtype=np.int64), np.empty(0)
        return Blocks(zones, cut.side_m, none, none, none, *([nothing] * 8))
    keys, sums = _summed(found)
    order = np.lexsort((keys[2], keys[1], keys[0], -keys[3]))
    (zone, row, column, lift), sums = keys[:, order], sums[:, order]
    square, area = _summed(squares)
    inside = dict(zip(map(tuple, square.T.tolist()), area[0].tolist(), strict=True))
    places = zip(zone.tolist(), row.tolist(), column.tolist(), strict=True)
    cover_m3, waste_m3, x_m4, y_m4, z_m4 = sums
    volume = cover_m3 + waste_m3
    return Blocks(
        zones=zones,
        side_m=cut.side_m,
        zone=zone,
        row=row,
        column=column,
        lift_top_m=(lift + 1) * lift_m,
        lift_bottom_m=lift * lift_m,
        x_m=x_m4 / volume,
        y_m=y_m4 / volume,
        elevation_m=z_m4 / volume,
        cover_m3=cover_m3,
        waste_m3=waste_m3,
        share_inside=np.array([inside[place] for place in places]),
    )


class _Cut:
    """Where the blocks lie, and the slices of columns that fall in each."""

    def __init__(self, grid: Grid, lift_m: float, block_m: float, *, by_depth: bool) -> None:
        self._grid, self._lift_m, self._by_depth = grid, lift_m, by_depth
        self._cells_down = max(1, round(block_m / grid.cell_y_m))
        self._cells_across = max(1, round(block_m / grid.cell_x_m))
        self.side_m = self._cells_across * grid.cell_x_m, self._cells_down * grid.cell_y_m

    def squares(self, part: Columns) -> tuple[IntArray, FloatArray]:
        """Return zone, row and column of the squares met, and the share of each in the zone."""
        row, column = self._cells(part)
        keys, sums = _grouped(
            np.stack([row // self._cells_down, column // self._cells_across]),
            part.shares[None, :] / (self._cells_down * self._cells_across),
        )
        return np.vstack([np.full(keys.shape[1], part.zone), keys]), sums

    def slices(self, part: Columns) -> Iterator[tuple[IntArray, FloatArray]]:
        """Yield zone, row, column and lift of the blocks met, and their sums, lift by lift.

        The sums are cover, waste, and the volume times the coordinates of its centroid.
        """
        (cover_m,) = part.others_m
        survey_m = part.survey_m.astype(np.float64)
        bottom_m = np.minimum(part.dig_m, survey_m)
        cover_base_m = np.maximum(survey_m - np.maximum(cover_m, 0), bottom_m)
        dug = np.flatnonzero((survey_m > bottom_m) & np.isfinite(cover_base_m))
        if dug.size == 0:
            return
        row, column = (each[dug] for each in self._cells(part))
        x_m = self._grid.west_m + (column + 0.5 + _at(part.right, dug)) * self._grid.cell_x_m
        y_m = self._grid.north_m - (row + 0.5 - _at(part.up, dug)) * self._grid.cell_y_m
        square = np.stack([row // self._cells_down, column // self._cells_across])
        weight = part.shares[dug] * self._grid.cell_area_m2
        survey_m, bottom_m, cover_base_m = survey_m[dug], bottom_m[dug], cover_base_m[dug]
        datum_m = survey_m if self._by_depth else np.zeros(dug.size)
        lowest = int(np.floor((bottom_m - datum_m).min() / self._lift_m))
        highest = int(np.ceil((survey_m - datum_m).max() / self._lift_m))
        for lift in range(lowest, max(highest, lowest + 1)):
            top = np.minimum(survey_m, datum_m + (lift + 1) * self._lift_m)
            under = np.maximum(bottom_m, datum_m + lift * self._lift_m)
            met = np.flatnonzero(top > under)
            if met.size == 0:
                continue
            top, under = top[met], under[met]
            between = np.clip(cover_base_m[met], under, top)
            volume = weight[met] * (top - under)
            sums = np.stack(
                [
                    weight[met] * (top - between),
                    weight[met] * (between - under),
                    volume * x_m[met],
                    volume * y_m[met],
                    volume * (top + under) / 2,
                ]
            )
            keys, sums = _grouped(square[:, met], sums)
            count = keys.shape[1]
            yield np.vstack([np.full(count, part.zone), keys, np.full(count, lift)]), sums

    def _cells(self, part: Columns) -> tuple[IntArray, IntArray]:
        row, column = np.divmod(part.cells, part.window.columns)
        return row + part.window.row, column + part.window.column


def _at(values: FloatArray | float, chosen: IntArray) -> FloatArray | float:
    return values[chosen] if isinstance(values, np.ndarray) else values


def _summed(parts: list[tuple[IntArray, FloatArray]]) -> tuple[IntArray, FloatArray]:
    """Return the keys of all parts, each once, and the sums of their values."""
    return _grouped(
        np.concatenate([keys for keys, _ in parts], axis=1),
        np.concatenate([values for _, values in parts], axis=1),
    )


def _grouped(keys: IntArray, values: FloatArray) -> tuple[IntArray, FloatArray]:
    """Return distinct columns of `keys`, and the sums of the columns of `values` under each."""
    low = keys.min(axis=1, keepdims=True)
    size = np.ptp(keys, axis=1) + 1
    number = np.ravel_multi_index(tuple(keys - low), tuple(size))
    most = int(np.prod(size))
    sums: FloatArray = np.stack([np.bincount(number, each, minlength=most) for each in values])
    met = np.flatnonzero(np.bincount(number, minlength=most))
    return np.asarray(np.stack(np.unravel_index(met, tuple(size))) + low), sums[:, met]
