"""How the volume of the dig is spread over elevation: the hypsometric curve.

Comes in: footprint, grid, surfaces, side slope. Goes out: `Hypsometry`, exact at its levels.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from reclaim.ground.columns import Columns, Layout, Progress, columns

if TYPE_CHECKING:
    from reclaim.ground.side_slope import SideSlope
    from reclaim.site.model import Footprint, Grid, Surface

FloatArray = NDArray[np.floating[Any]]
IntArray = NDArray[np.integer[Any]]


@dataclass(frozen=True, slots=True)
class Hypsometry:
    """The dig against elevation; arrays of shape ``(n_levels,)``.

    Attributes
    ----------
    elevation_m
        Levels, the lowest first [m].
    dug_below_m3
        Cover and waste dug below each level [m3], over-dig not counted.
    open_area_m2
        Plan area of the open pit at each level [m2]: where today's ground lies above the level
        and the bottom of the dig does not.
    """

    elevation_m: FloatArray
    dug_below_m3: FloatArray
    open_area_m2: FloatArray


def hypsometry(
    footprint: Footprint,
    grid: Grid,
    survey: Surface,
    base: Surface,
    *,
    side_slope: float | SideSlope,
    step_m: float,
    progress: Progress | None = None,
) -> Hypsometry:
    """Return dug volume and open area against elevation.

    Parameters
    ----------
    footprint, grid, survey, base
        From the site.
    side_slope
        Horizontal over vertical, 0 for vertical faces; or a profile with benches.
    step_m
        Distance of the levels [m]; they are multiples of it.
    progress
        Called with windows done and windows in all.

    Raises
    ------
    ValueError
        Where `step_m` is not above 0.

    Notes
    -----
    What lies under a surface and above a level is the sum of the heights in the classes above the
    level, less their number times the level. So two histograms of each surface, of areas and of
    areas times heights, give every level exactly in one pass.
    """
    if step_m <= 0:
        raise ValueError("step_m must be above 0.")
    histograms = _Histograms(step_m)
    layout = Layout(footprint, grid)
    for part in columns(layout, survey, base, side_slope=side_slope, progress=progress):
        histograms.add(part)
    level, above_m3, area_m2 = histograms.curve(grid.cell_area_m2)
    return Hypsometry(
        elevation_m=level * step_m,
        dug_below_m3=above_m3[:1] - above_m3,
        open_area_m2=np.maximum(area_m2, 0),
    )


class _Histograms:
    """Areas, and areas times heights, of survey (added) and bottom of the dig (taken away)."""

    def __init__(self, step_m: float) -> None:
        self._step_m = step_m
        self._first = 0
        self._sums = np.zeros((2, 0))

    def add(self, part: Columns) -> None:
        """Add the columns that are dug."""
        survey_m, dig_m = part.survey_m.astype(np.float64), part.dig_m.astype(np.float64)
        dug = survey_m > dig_m
        weight = part.shares[dug]
        for sign, heights_m in ((1.0, survey_m[dug]), (-1.0, dig_m[dug])):
            if heights_m.size:
                self._count(np.floor(heights_m / self._step_m).astype(np.int64), sign * weight,
                            heights_m)  # fmt: skip

    def _count(self, classes: IntArray, weight: FloatArray, heights_m: FloatArray) -> None:
        first, last = int(classes.min()), int(classes.max())
        if self._sums.shape[1] == 0:
            self._first = first
        before = max(0, self._first - first)
        after = max(0, last + 1 - self._first - self._sums.shape[1])
        self._sums = np.pad(self._sums, ((0, 0), (before, after)))
        self._first -= before
        place = classes - self._first
        size = self._sums.shape[1]
        self._sums[0] += np.bincount(place, weight, minlength=size)
        self._sums[1] += np.bincount(place, weight * heights_m, minlength=size)

    def curve(self, cell_area_m2: float) -> tuple[IntArray, FloatArray, FloatArray]:
        """Return levels in steps, what is dug above each [m3], and the open area [m2]."""
        level = np.arange(self._first, self._first + self._sums.shape[1] + 1)
        area, moment = (
            np.append(np.cumsum(each[::-1])[::-1], 0.0) * cell_area_m2 for each in self._sums
        )
        # At the lowest level as many columns have survey as bottom above it: no rest of rounding.
        return level, moment - area * level * self._step_m, area
