"""What it takes to bring the dug ground to the shape it shall have afterwards.

Comes in: footprint, grid, survey, base, the numbers of the dig, and a target surface. Goes out:
`Restoration`: fill above the dig, and ground that stands above the target.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import fsum
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from reclaim.ground.columns import Layout, Progress, columns
from reclaim.ground.known_surfaces import KnownSurface
from reclaim.ground.sections import long_axis

if TYPE_CHECKING:
    from reclaim.ground.side_slope import SideSlope
    from reclaim.site.model import Footprint, Grid, Surface

FloatArray = NDArray[np.floating[Any]]


@dataclass(frozen=True, slots=True)
class Restoration:
    """Earthwork between the dug ground and the target surface, inside the footprint.

    Attributes
    ----------
    label
        Where the target comes from, in words.
    fill_m3
        Placed volume below the target and above the dug ground, over-dig included [m3].
    cut_m3
        Ground left standing above the target [m3], in place.
    unknown_area_m2
        Area where target or ground is unknown [m2]; it adds nothing.
    """

    label: str
    fill_m3: float
    cut_m3: float
    unknown_area_m2: float


def domed_surface(
    footprint: Footprint, grid: Grid, *, edge_elevation_m: float, crown_m: float
) -> Surface:
    """Return a flat or domed target surface.

    Parameters
    ----------
    footprint, grid
        The dome's ellipse fits in the smallest rectangle around the footprint.
    edge_elevation_m
        Elevation at the ellipse and outside it [m].
    crown_m
        Rise from there to the middle [m]; 0 for a flat surface.

    Notes
    -----
    An elliptic paraboloid: rise = crown (1 - (u / a)^2 - (v / b)^2), never below 0.
    """
    start, end, width_m = long_axis(footprint.outline)
    middle = (np.asarray(start) + end) / 2
    half_m = np.hypot(*np.subtract(end, start)) / 2
    east, north = np.subtract(end, start) / (2 * half_m)

    def height_m(x_m: FloatArray, y_m: FloatArray) -> FloatArray:
        right, up = x_m - middle[0], y_m - middle[1]
        along, across = right * east + up * north, up * east - right * north
        rise = 1 - (along / half_m) ** 2 - (across / (width_m / 2)) ** 2
        return np.asarray(edge_elevation_m + crown_m * np.maximum(rise, 0))

    shape = f"a dome of {crown_m:g} m above" if crown_m else "flat at"
    return KnownSurface(grid, height_m, f"{shape} {edge_elevation_m:g} m")


def restoration_volumes(
    footprint: Footprint,
    grid: Grid,
    survey: Surface,
    base: Surface,
    target: Surface,
    *,
    side_slope: float | SideSlope,
    overdig_m: float,
    progress: Progress | None = None,
) -> Restoration:
    """Return fill and cut between the dug ground and a target.

    Parameters
    ----------
    footprint, grid, survey, base
        From the site.
    target
        Elevations of the ground after restoration [m].
    side_slope, overdig_m
        As in `measure`.
    progress
        Called with windows done and windows in all.
    """
    layout = Layout(footprint, grid)
    fill, cut, unknown = [], [], []
    for part in columns(layout, survey, base, target, side_slope=side_slope, progress=progress):
        (target_m,) = part.others_m
        survey_m = part.survey_m.astype(np.float64)
        to_base = (part.dig_m <= part.base_m) & (part.dig_m < survey_m)
        ground_m = np.minimum(part.dig_m, survey_m) - overdig_m * to_base
        rise_m = target_m - ground_m
        known = np.isfinite(rise_m)
        rise_m, share = rise_m[known], part.shares[known]
        fill.append(float(np.sum(share * np.maximum(rise_m, 0))))
        cut.append(float(np.sum(share * np.maximum(-rise_m, 0))))
        unknown.append(float(np.sum(part.shares[~known])))
    fill_m3, cut_m3, unknown_m2 = (fsum(each) * grid.cell_area_m2 for each in (fill, cut, unknown))
    return Restoration(target.label, fill_m3, cut_m3, unknown_m2)
