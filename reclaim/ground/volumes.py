"""How much is dug: cover, waste, over-dig, by zone and lift, and what stays under the slopes.

Comes in: footprint, surfaces and the dig's numbers. Goes out: `Excavation`. Everything is summed
in double precision, pairwise within a window and exactly rounded over the windows.
"""

from __future__ import annotations

from collections import defaultdict
from math import fsum
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from reclaim.ground.columns import Columns, Layout, Progress, by_spans, joined
from reclaim.ground.excavation import Excavation, LiftsBy
from reclaim.ground.lift_volumes import Heights, UnderSurface
from reclaim.ground.point_values import TILE
from reclaim.ground.side_slope import SideSlope
from reclaim.ground.volume_error import DugArea, volume_error

if TYPE_CHECKING:
    from collections.abc import Iterator

    from reclaim.site.model import Footprint, Grid, Surface, Window

FloatArray = NDArray[np.floating[Any]]
BoolArray = NDArray[np.bool_]

PIECES = 1 << 14
"""Boundary pieces of one zone that are added at a time."""


def measure(
    footprint: Footprint,
    grid: Grid,
    survey: Surface,
    base: Surface,
    cover: Surface,
    *,
    side_slope: float | SideSlope,
    overdig_m: float,
    lift_m: float,
    lifts_by: LiftsBy = "elevation",
    survey_sd_m: float,
    base_sd_m: float,
    base_sd: Surface | None = None,
    error_range_m: float,
    progress: Progress | None = None,
) -> Excavation:
    """Measure the dig, window by window, in one pass over the windows that meet the footprint.

    Parameters
    ----------
    footprint, grid
        What may be dug, and the common grid.
    survey, base
        Elevations [m].
    cover
        Thickness of the cover [m], taken from the top; no more than what is dug.
    side_slope
        Horizontal over vertical, 0 for vertical faces; or a profile with benches.
    overdig_m
        Soil taken below the base where the dig reaches it [m].
    lift_m
        Height of the lifts [m]; their limits are multiples of it.
    lifts_by
        Whether lifts are level, or go by depth below today's ground.
    survey_sd_m, base_sd_m, base_sd, error_range_m
        See `reclaim.ground.volume_error.volume_error`; `base_sd` is a surface of standard
        deviations that takes the place of `base_sd_m` where it is known, as a kriged base has.
    progress
        Called with windows done and windows in all.

    Raises
    ------
    ValueError
        Where a number is out of range.

    Notes
    -----
    Sum over columns of plan area times thickness. A column whose survey, base or cover is unknown
    adds to `unknown_area_m2` and to nothing else.
    """
    if lift_m <= 0 or overdig_m < 0:
        raise ValueError("lift_m must be above 0, overdig_m at least 0.")
    slope = SideSlope.of(side_slope)
    layout = Layout(footprint, grid)
    dug = DugArea(layout.extent, grid)
    dug_to_base = dug if slope.upright else DugArea(layout.extent, grid)
    ledger = _Ledger(layout, lift_m, lifts_by, layout.extent, dug, dug_to_base)

    def look(window: Window, parts: Iterator[Columns]) -> _Ledger:
        return ledger.of_span(window, parts)

    for found in by_spans(
        layout, survey, base, cover, side_slope=side_slope, look=look, progress=progress
    ):
        ledger.include(found)
    base_sds_m: float | FloatArray = base_sd_m
    if base_sd is not None:
        base_sds_m = dug_to_base.at_centres(base_sd, grid, otherwise=base_sd_m)
    error = volume_error(
        dug,
        dug_to_base,
        survey_sd_m=survey_sd_m,
        base_sd_m=base_sds_m,
        error_range_m=error_range_m,
    )
    top_m, bottom_m, cover_m3, waste_m3 = ledger.lifts()
    return Excavation(
        zones=tuple(zone.name for zone in footprint.zones),
        lift_top_m=top_m,
        lift_bottom_m=bottom_m,
        area_m2=ledger.by_zone("area"),
        cover_m3=cover_m3,
        waste_m3=waste_m3,
        overdig_m3=overdig_m * ledger.by_zone("to_base"),
        left_in_slopes_m3=ledger.by_zone("left"),
        unknown_area_m2=float(ledger.by_zone("unknown").sum()),
        inverted_area_m2=float(ledger.by_zone("inverted").sum()),
        deepest_m=ledger.deepest_m,
        error=error,
        lifts_by=lifts_by,
    )


class _Ledger:
    """Sums of the columns by zone and lift, kept part by part until the end."""

    def __init__(
        self,
        layout: Layout,
        lift_m: float,
        lifts_by: LiftsBy,
        extent: Window,
        dug: DugArea,
        dug_to_base: DugArea,
    ) -> None:
        self._layout, self._lifts_by = layout, lifts_by
        self._extent = extent
        self._n_zones = len(layout.zones)
        self._cell_area_m2 = layout.grid.cell_area_m2
        self._lift_m = lift_m
        self._by_depth = lifts_by == "depth"
        self._dug, self._dug_to_base = dug, dug_to_base
        self._sums: defaultdict[tuple[str, int], list[float]] = defaultdict(list)
        self._waiting: list[list[Columns]] = [[] for _ in layout.zones]
        self._lifts = [tuple(UnderSurface(lift_m) for _ in range(3)) for _ in layout.zones]
        self._room = np.empty((4, 0))
        self.deepest_m = 0.0

    def of_span(self, window: Window, parts: Iterator[Columns]) -> _Ledger:
        """Return the sums of the columns of one span of windows, in a ledger of their own."""
        dug = self._dug.within(window)
        dug_to_base = dug if self._dug_to_base is self._dug else self._dug_to_base.within(window)
        own = _Ledger(self._layout, self._lift_m, self._lifts_by, window, dug, dug_to_base)
        # Memory asked for anew for each window costs time: the system clears its pages.
        own._room = np.empty((4, TILE * TILE))
        for part in parts:
            own.add(part)
        own.close()
        own._room = self._room
        return own

    def include(self, other: _Ledger) -> None:
        """Add the sums of a closed ledger."""
        self._dug.include(other._dug)
        if self._dug_to_base is not self._dug:
            self._dug_to_base.include(other._dug_to_base)
        for key, values in other._sums.items():
            self._sums[key].extend(values)
        for mine, theirs in zip(self._lifts, other._lifts, strict=True):
            for one, more in zip(mine, theirs, strict=True):
                one.include(more)
        self.deepest_m = max(self.deepest_m, other.deepest_m)

    def add(self, part: Columns) -> None:
        """Add the columns of one zone in one window; boundary pieces wait for others."""
        if part.share is None:
            self._add(part)
            return
        waiting = self._waiting[part.zone]
        waiting.append(part)
        if sum(each.survey_m.size for each in waiting) >= PIECES:
            self._add_waiting(waiting)

    def close(self) -> None:
        """Add the boundary pieces that still wait."""
        for waiting in self._waiting:
            if waiting:
                self._add_waiting(waiting)

    def by_zone(self, name: str) -> FloatArray:
        """Return one sum by zone [m2 or m3]."""
        return np.array([fsum(self._sums[name, zone]) for zone in range(self._n_zones)])

    def lifts(self) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
        """Return top and bottom of the lifts [m], cover and waste by zone and lift [m3].

        The cover in a lift is what lies in it under the survey less what lies in it under the
        cover's underside; the waste, that less what lies in it under the bottom of the dig.
        """
        held = [number for number, (survey, _, _) in enumerate(self._lifts) if survey.parts]
        levels = range(0)
        if held:
            lowest = min(self._lifts[zone][2].lowest_level for zone in held)
            highest = max(self._lifts[zone][0].highest_level for zone in held)
            levels = range(highest, lowest - 1, -1)
        volumes = np.zeros((2, self._n_zones, len(levels)))
        for zone in held:
            slabs = zip(*(each.slabs(levels) for each in self._lifts[zone]), strict=True)
            for number, (survey, cover_base, bottom) in enumerate(slabs):
                volumes[0, zone, number] = fsum(np.maximum(survey - cover_base, 0))
                volumes[1, zone, number] = fsum(np.maximum(cover_base - bottom, 0))
        volumes *= self._cell_area_m2
        dug = np.flatnonzero(volumes.any(axis=(0, 1)))
        used = slice(dug[0], dug[-1] + 1) if dug.size else slice(0)
        bottom_m = np.array(levels[used]) * self._lift_m
        return bottom_m + self._lift_m, bottom_m, volumes[0][:, used], volumes[1][:, used]

    def _add_waiting(self, waiting: list[Columns]) -> None:
        self._add(joined(waiting, self._extent))
        waiting.clear()

    def _add(self, part: Columns) -> None:
        self._note("area", part.zone, self._area(part))
        part = part.in_double(self._room)
        count = part.survey_m.size
        room = self._room[2, :count] if count <= self._room.shape[1] else None
        thickness = np.subtract(part.survey_m, part.base_m, out=room)
        lowest, (cover_m,) = thickness.min(), part.others_m
        if np.isnan(lowest) or np.isnan(np.min(cover_m)):
            known = np.isfinite(thickness) & np.isfinite(cover_m)
            self._note("unknown", part.zone, self._area(part, ~known))
            if not known.any():
                return
            part, thickness = part.only(known), thickness[known]
            lowest = thickness.min()
        if lowest < 0:
            self._note("inverted", part.zone, self._area(part, thickness < 0))
        self._add_known(part, thickness, everywhere=bool(lowest > 0))

    def _add_known(self, part: Columns, thickness: FloatArray, *, everywhere: bool) -> None:
        """Add columns whose surfaces are known; `everywhere` where all reach below the survey."""
        bottom_m = part.base_m
        if part.dig_m is part.base_m and everywhere:
            self._dug.add(part)
            if self._dug_to_base is not self._dug:
                self._dug_to_base.add(part)
            self._note("to_base", part.zone, self._area(part))
        else:
            bottom_m = np.minimum(part.dig_m, part.survey_m)
            gross_m = np.maximum(thickness, 0)
            thickness = part.survey_m - bottom_m
            is_dug = thickness > 0
            to_base = is_dug & (part.dig_m <= part.base_m)
            self._dug.add(part, is_dug)
            if self._dug_to_base is not self._dug:
                self._dug_to_base.add(part, to_base)
            self._note("to_base", part.zone, self._area(part, to_base))
            left = part.total(gross_m - thickness)
            self._note("left", part.zone, left * self._cell_area_m2)
        self.deepest_m = max(self.deepest_m, float(thickness.max()))
        self._add_lifts(part, thickness, bottom_m)

    def _add_lifts(self, part: Columns, thickness: FloatArray, bottom_m: FloatArray) -> None:
        """Note what lies under survey, underside of the cover and bottom of the dig."""
        (cover_m,) = part.others_m
        cover_m = np.maximum(cover_m, 0)
        top_m = part.survey_m
        if self._by_depth:
            top_m, bottom_m = np.zeros_like(thickness), -thickness
        survey, cover_base, bottom = self._lifts[part.zone]
        top = Heights.of(part, top_m)
        spare = self._room[3]
        survey.add(top, spare)
        if np.ndim(cover_m) == 0 and cover_m <= thickness.min():
            cover_base.add(top.lowered(float(cover_m)), spare)
        else:
            cover_base.add(Heights.of(part, np.maximum(top_m - cover_m, bottom_m)), spare)
        bottom.add(Heights.of(part, bottom_m), spare)

    def _note(self, name: str, zone: int, value: float) -> None:
        self._sums[name, zone].append(value)

    def _area(self, part: Columns, chosen: BoolArray | None = None) -> float:
        """Return the plan area of the chosen columns [m2], of all where None."""
        if part.share is None:
            count = part.survey_m.size if chosen is None else int(np.count_nonzero(chosen))
            return count * self._cell_area_m2
        share = part.share if chosen is None else part.share[chosen]
        return float(share.sum()) * self._cell_area_m2
