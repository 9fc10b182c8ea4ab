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

from reclaim.ground.columns import Columns, Layout, Progress, columns
from reclaim.ground.excavation import Excavation, LiftsBy
from reclaim.ground.side_slope import SideSlope
from reclaim.ground.volume_error import DugArea, volume_error

if TYPE_CHECKING:
    from reclaim.site.model import Footprint, Grid, Surface

FloatArray = NDArray[np.floating[Any]]
BoolArray = NDArray[np.bool_]


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
    ledger = _Ledger(len(footprint.zones), grid.cell_area_m2, lift_m, lifts_by)
    dug = DugArea(layout.extent, grid)
    dug_to_base = dug if slope.upright else DugArea(layout.extent, grid)
    for part in columns(layout, survey, base, cover, side_slope=side_slope, progress=progress):
        ledger.add(part, dug, dug_to_base)
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
    """Sums of the columns by zone and lift, kept per window until the end."""

    def __init__(self, n_zones: int, cell_area_m2: float, lift_m: float, lifts_by: LiftsBy) -> None:
        self._n_zones = n_zones
        self._by_depth = lifts_by == "depth"
        self._cell_area_m2 = cell_area_m2
        self._lift_m = lift_m
        self._sums: defaultdict[tuple[str, int], list[float]] = defaultdict(list)
        self._volumes: defaultdict[tuple[int, int], list[tuple[float, float]]] = defaultdict(list)
        self.deepest_m = 0.0

    def by_zone(self, name: str) -> FloatArray:
        """Return one sum by zone [m2 or m3]."""
        return np.array([fsum(self._sums[name, zone]) for zone in range(self._n_zones)])

    def lifts(self) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
        """Return top and bottom of the lifts [m], cover and waste by zone and lift [m3]."""
        levels = sorted({level for _, level in self._volumes}, reverse=True)
        numbers = range(levels[0], levels[-1] - 1, -1) if levels else range(0)
        volumes = np.zeros((2, self._n_zones, len(numbers)))
        for (zone, level), parts in self._volumes.items():
            for kind, values in enumerate(zip(*parts, strict=True)):
                volumes[kind, zone, numbers.index(level)] = fsum(values)
        bottom_m = np.array(numbers) * self._lift_m
        return bottom_m + self._lift_m, bottom_m, volumes[0], volumes[1]

    def add(self, part: Columns, dug: DugArea, dug_to_base: DugArea) -> None:
        """Add the columns of one zone in one window."""
        self._note("area", part.zone, self._area(part))
        part = part.in_double()
        thickness = part.survey_m - part.base_m
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
        self._add_known(part, thickness, dug, dug_to_base, everywhere=bool(lowest > 0))

    def _add_known(
        self,
        part: Columns,
        thickness: FloatArray,
        dug: DugArea,
        dug_to_base: DugArea,
        *,
        everywhere: bool,
    ) -> None:
        """Add columns whose surfaces are known; `everywhere` where all reach below the survey."""
        survey_m, (cover_m,) = part.survey_m, part.others_m
        if part.dig_m is part.base_m and everywhere:
            bottom_m = part.base_m
            dug.add(part)
            if dug_to_base is not dug:
                dug_to_base.add(part)
            self._note("to_base", part.zone, self._area(part))
        else:
            bottom_m = np.minimum(part.dig_m, survey_m)
            gross_m = np.maximum(thickness, 0)
            thickness = survey_m - bottom_m
            is_dug = thickness > 0
            to_base = is_dug & (part.dig_m <= part.base_m)
            dug.add(part, is_dug)
            if dug_to_base is not dug:
                dug_to_base.add(part, to_base)
            self._note("to_base", part.zone, self._area(part, to_base))
            left = self._sum(part, gross_m - thickness)
            self._note("left", part.zone, left * self._cell_area_m2)
        self.deepest_m = max(self.deepest_m, float(thickness.max()))
        cover_m = np.maximum(cover_m, 0)
        cover_base_m = survey_m - cover_m
        if not np.max(cover_m) <= thickness.min():
            np.maximum(cover_base_m, bottom_m, out=cover_base_m)
        self._add_lifts(part, survey_m, cover_base_m, bottom_m)

    def _add_lifts(
        self, part: Columns, survey_m: FloatArray, cover_base_m: FloatArray, bottom_m: FloatArray
    ) -> None:
        """Split cover and waste among the lifts.

        The cover in a lift is what lies in it under the survey less what lies in it under the
        cover's underside; the waste, that less what lies in it under the bottom of the dig.
        """
        surfaces = survey_m, cover_base_m, bottom_m
        if self._by_depth:
            surfaces = np.zeros_like(survey_m), cover_base_m - survey_m, bottom_m - survey_m
        ranges = [(float(each.min()), float(each.max())) for each in surfaces]
        first = int(np.floor(ranges[2][0] / self._lift_m))
        last = max(first + 1, int(np.ceil(ranges[0][1] / self._lift_m)))
        levels_m = np.arange(first, last + 1) * self._lift_m
        survey, cover_base, bottom = (
            self._slabs(part, surface_m, lowest, highest, levels_m)
            for surface_m, (lowest, highest) in zip(surfaces, ranges, strict=True)
        )
        cover_m3 = np.maximum(survey - cover_base, 0) * self._cell_area_m2
        waste_m3 = np.maximum(cover_base - bottom, 0) * self._cell_area_m2
        for number in np.flatnonzero((cover_m3 > 0) | (waste_m3 > 0)):
            volumes = float(cover_m3[number]), float(waste_m3[number])
            self._volumes[part.zone, first + int(number)].append(volumes)

    def _slabs(
        self,
        part: Columns,
        surface_m: FloatArray,
        lowest: float,
        highest: float,
        levels_m: FloatArray,
    ) -> FloatArray:
        """Return what lies under a surface between each level and the next, in cells times metres.

        Only levels that the surface itself crosses need a sum over the columns.
        """
        weight = surface_m.size if part.share is None else float(part.share.sum())
        total = self._sum(part, surface_m) - levels_m[0] * weight
        above = total - (levels_m - levels_m[0]) * weight
        above[levels_m >= highest] = 0.0
        for number in np.flatnonzero((levels_m > lowest) & (levels_m < highest)):
            higher_m = np.maximum(surface_m, levels_m[number])
            above[number] = self._sum(part, higher_m) - levels_m[number] * weight
        slabs: FloatArray = -np.diff(above)
        # Under every surface a full slab is the same number, so that it cancels without a rest.
        slabs[levels_m[1:] <= lowest] = weight * self._lift_m
        return slabs

    def _note(self, name: str, zone: int, value: float) -> None:
        self._sums[name, zone].append(value)

    def _sum(self, part: Columns, values: FloatArray) -> float:
        """Return the sum of values, each times its column's share of a cell."""
        if part.share is None:
            return float(values.sum(dtype=np.float64))
        return float(np.sum(part.share * values))

    def _area(self, part: Columns, chosen: BoolArray | None = None) -> float:
        """Return the plan area of the chosen columns [m2], of all where None."""
        if part.share is None:
            count = part.survey_m.size if chosen is None else int(np.count_nonzero(chosen))
            return count * self._cell_area_m2
        share = part.share if chosen is None else part.share[chosen]
        return float(share.sum()) * self._cell_area_m2
