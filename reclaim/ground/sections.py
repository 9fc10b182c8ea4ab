"""Vertical cuts through the site, and the volume they give: a second opinion on the grid's.

Comes in: footprint, grid, surfaces and a line, or parallel lines across the site. Goes out:
`Section` for figures, and volumes by average end areas and by the prismoidal formula.
"""

from __future__ import annotations

from contextlib import ExitStack
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from reclaim.ground.dig_surface import dig_heights, rim_of
from reclaim.ground.excavation import Section, ThicknessMap
from reclaim.ground.point_values import tile_groups, values_at
from reclaim.ground.side_slope import SideSlope
from reclaim.ground.volume_error import ground_default
from reclaim.site.model import Window

if TYPE_CHECKING:
    from shapely import MultiPolygon

    from reclaim.site.model import Footprint, Grid, Surface

FloatArray = NDArray[np.floating[Any]]
Point = tuple[float, float]


@dataclass(frozen=True, slots=True)
class SecondOpinion:
    """The dug volume from parallel sections, to stand beside the grid's.

    Attributes
    ----------
    start, end
        Ends of the baseline in plan [m].
    station_m
        Distance of each section along the baseline [m], shape ``(n_sections,)``.
    section_area_m2
        Dug area of each section, cover and waste [m2], shape ``(n_sections,)``.
    end_area_m3, prismoidal_m3
        Dug cover and waste by either formula [m3].
    spacing_error_m3
        About what end areas of sections this far apart may miss [m3].
    """

    start: Point
    end: Point
    station_m: FloatArray
    section_area_m2: FloatArray
    end_area_m3: float
    prismoidal_m3: float
    spacing_error_m3: float


def end_area_volume(station_m: ArrayLike, area_m2: ArrayLike, *, pointed: bool = False) -> float:
    """Return the volume between sections by average end areas [m3].

    Parameters
    ----------
    station_m
        Increasing distances of the sections [m], shape ``(n,)``.
    area_m2
        Their areas [m2], shape ``(n,)``.
    pointed
        Take the solid between an area and a zero area as a pyramid, L A / 3, not as a wedge.

    Notes
    -----
    V = L (A1 + A2) / 2. It overstates a solid that tapers to a point: a pyramid by half.
    """
    length = _lengths(station_m, area_m2)
    near, far = np.asarray(area_m2)[:-1], np.asarray(area_m2)[1:]
    ends_in_point = (near == 0) | (far == 0) if pointed else np.zeros(length.size, dtype=bool)
    return float(np.sum(length * (near + far) / np.where(ends_in_point, 3, 2)))


def prismoidal_volume(station_m: ArrayLike, area_m2: ArrayLike) -> float:
    """Return the volume between sections by the prismoidal formula [m3].

    Parameters
    ----------
    station_m
        Increasing distances of the sections [m], shape ``(n,)``; n odd, every second section in
        the middle between its neighbours.
    area_m2
        Their areas [m2], measured at the middle sections too, shape ``(n,)``.

    Raises
    ------
    ValueError
        Where the number of sections is even or a middle section is not in the middle.

    Notes
    -----
    V = L (A1 + 4 Am + A2) / 6; exact where the area is a cubic of the distance, so for every
    prismoid, pyramid and frustum.
    """
    length = _lengths(station_m, area_m2)
    if length.size % 2:
        raise ValueError("The prismoidal formula needs an odd number of sections.")
    if not np.allclose(length[::2], length[1::2], rtol=1e-6):
        raise ValueError("Every second section must lie in the middle between its neighbours.")
    area = np.asarray(area_m2)
    whole = length[::2] + length[1::2]
    return float(np.sum(whole * (area[:-2:2] + 4 * area[1:-1:2] + area[2::2]) / 6))


def _lengths(station_m: ArrayLike, area_m2: ArrayLike) -> FloatArray:
    length = np.diff(np.asarray(station_m, dtype=np.float64))
    if length.size == 0 or np.shape(area_m2) != np.shape(station_m) or np.any(length <= 0):
        raise ValueError("Two sections or more are needed, in order, with one area each.")
    return length


def section(
    footprint: Footprint,
    grid: Grid,
    survey: Surface,
    base: Surface,
    cover: Surface,
    start: Point,
    end: Point,
    step_m: float,
    *,
    side_slope: float | SideSlope,
) -> Section:
    """Return a vertical cut along a straight line, with a point every `step_m` or less.

    Surfaces are bilinear between cell centres; see `Section` for what comes out.
    """
    length = float(np.hypot(end[0] - start[0], end[1] - start[1]))
    along = np.linspace(0, 1, max(2, int(np.ceil(length / step_m)) + 1))
    x_m = start[0] + along * (end[0] - start[0])
    y_m = start[1] + along * (end[1] - start[1])
    survey_m, base_m, dig_m = _profile(footprint, grid, survey, base, x_m, y_m, side_slope)
    with cover.reader() as read:
        cover_base_m = survey_m - np.maximum(values_at(read, grid, x_m, y_m), 0)
    # Where the waste is thinner than the cover, the cover ends on the base.
    shallow = base_m > cover_base_m
    cover_base_m[shallow] = np.minimum(base_m, survey_m)[shallow]
    return Section(
        start=start,
        end=end,
        distance_m=along * length,
        survey_m=survey_m,
        cover_base_m=cover_base_m,
        base_m=base_m,
        dig_m=dig_m,
    )


def default_sections(
    footprint: Footprint,
    grid: Grid,
    survey: Surface,
    base: Surface,
    cover: Surface,
    thickness: ThicknessMap,
    *,
    side_slope: float | SideSlope,
) -> tuple[Section, Section]:
    """Return the section along the site's long axis, and the one across its thickest part.

    Parameters
    ----------
    footprint, grid, survey, base, cover
        From the site.
    thickness
        From `thickness_map`; tells where the thickest part is.
    side_slope
        Horizontal over vertical, 0 for vertical faces; or a profile with benches.
    """
    start, end, width_m = long_axis(footprint.outline)
    middle = (np.asarray(start) + end) / 2
    length_m = float(np.hypot(*np.subtract(end, start)))
    forward = np.subtract(end, start) / length_m
    sideways = np.array([-forward[1], forward[0]])
    along_m = float((_thickest(thickness) - middle) @ forward)
    sections = []
    for centre, direction, long_m in (
        (middle, forward, length_m),
        (middle + along_m * forward, sideways, width_m),
    ):
        half = direction * long_m * (0.5 + ground_default("section_extension"))
        step_m = max(min(grid.cell_x_m, grid.cell_y_m), long_m / ground_default("section_points"))
        near, far = ((float(x), float(y)) for x, y in (centre - half, centre + half))
        cut = section(
            footprint, grid, survey, base, cover, near, far, step_m, side_slope=side_slope
        )
        sections.append(cut)
    return sections[0], sections[1]


def second_opinion(
    footprint: Footprint,
    grid: Grid,
    survey: Surface,
    base: Surface,
    *,
    side_slope: float | SideSlope,
    sections: int | None = None,
) -> SecondOpinion:
    """Return the dug volume from parallel sections across the footprint's long axis.

    Parameters
    ----------
    footprint, grid, survey, base
        From the site.
    side_slope
        Horizontal over vertical, 0 for vertical faces; or a profile with benches.
    sections
        Number of sections, odd; a default from ``ground.csv`` where None.

    Notes
    -----
    Each section is cut to the outline exactly, then sampled at the middles of equal steps of a
    cell or less. Unknown ground counts as nothing, as in the grid volume. The error of end areas
    goes with the square of the spacing, so it is about a third of what changes when every second
    section is left out (Richardson's extrapolation).
    """
    import shapely

    count = int(ground_default("second_opinion_sections")) if sections is None else sections
    start, end, width_m = long_axis(footprint.outline)
    length_m = float(np.hypot(*np.subtract(end, start)))
    forward = np.subtract(end, start) / length_m
    reach = np.array([-forward[1], forward[0]]) * width_m
    spacing = min(grid.cell_x_m, grid.cell_y_m)
    # The outermost sections stand a hair inside, where a straight end has its full area.
    station_m = np.linspace(0, length_m, count)
    place_m = np.clip(station_m, 1e-6 * length_m, (1 - 1e-6) * length_m)
    points, steps, owner = [], [], []
    for number, along_m in enumerate(place_m):
        foot = start + along_m * forward
        line = shapely.LineString([foot - reach, foot + reach])
        for piece in shapely.get_parts(shapely.intersection(line, footprint.outline)):
            if piece.length == 0:
                continue
            many = int(np.ceil(piece.length / spacing))
            first, last = shapely.get_coordinates(piece)[[0, -1]]
            points.append(first + ((np.arange(many) + 0.5) / many)[:, None] * (last - first))
            steps.append(np.full(many, piece.length / many))
            owner.append(np.full(many, number))
    x_m, y_m = np.concatenate(points).T
    survey_m, _, dig_m = _profile(footprint, grid, survey, base, x_m, y_m, side_slope)
    strips_m2 = np.nan_to_num(survey_m - dig_m) * np.concatenate(steps)
    area_m2 = np.zeros(count)
    np.add.at(area_m2, np.concatenate(owner), strips_m2)
    end_area_m3 = end_area_volume(station_m, area_m2)
    every_second_m3 = end_area_volume(station_m[::2], area_m2[::2])
    return SecondOpinion(
        start=start,
        end=end,
        station_m=station_m,
        section_area_m2=area_m2,
        end_area_m3=end_area_m3,
        prismoidal_m3=prismoidal_volume(station_m, area_m2),
        spacing_error_m3=abs(end_area_m3 - every_second_m3) / 3,
    )


def _profile(
    footprint: Footprint,
    grid: Grid,
    survey: Surface,
    base: Surface,
    x_m: FloatArray,
    y_m: FloatArray,
    side_slope: float | SideSlope,
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return survey, base and bottom of the dig at points; the last NaN where nothing is dug."""
    import shapely

    with ExitStack() as opened:
        read_survey = opened.enter_context(survey.reader())
        read_base = opened.enter_context(base.reader())
        survey_m = values_at(read_survey, grid, x_m, y_m)
        base_m = values_at(read_base, grid, x_m, y_m)
        dig_m = base_m.copy()
        if not SideSlope.of(side_slope).upright:
            rim = rim_of(footprint.outline, grid, read_survey, side_slope)
            across = (x_m - grid.west_m) / grid.cell_x_m
            down = (grid.north_m - y_m) / grid.cell_y_m
            row, column = np.floor(down).astype(np.int64), np.floor(across).astype(np.int64)
            for chosen in tile_groups(row, column):
                top, left = int(row[chosen].min()), int(column[chosen].min())
                window = Window(
                    top,
                    left,
                    int(row[chosen].max()) - top + 1,
                    int(column[chosen].max()) - left + 1,
                )
                dig_m[chosen] = dig_heights(
                    rim,
                    grid,
                    window,
                    (row[chosen] - top) * window.columns + column[chosen] - left,
                    across[chosen] - column[chosen] - 0.5,
                    row[chosen] + 0.5 - down[chosen],
                    base_m[chosen],
                )
    inside = shapely.intersects_xy(footprint.outline, x_m, y_m)
    return survey_m, base_m, np.where(inside & (dig_m < survey_m), dig_m, np.nan)


def long_axis(outline: MultiPolygon) -> tuple[Point, Point, float]:
    """Return the ends of the middle line of the smallest rectangle around, and its width [m]."""
    import shapely

    corners = shapely.get_coordinates(shapely.minimum_rotated_rectangle(outline))[:4]
    sides = np.roll(corners, -1, axis=0) - corners
    if np.hypot(*sides[0]) < np.hypot(*sides[1]):
        corners = np.roll(corners, -1, axis=0)
    start, end = (corners[0] + corners[3]) / 2, (corners[1] + corners[2]) / 2
    if tuple(end) < tuple(start):
        start, end = end, start
    width_m = float(np.hypot(*(corners[3] - corners[0])))
    return (float(start[0]), float(start[1])), (float(end[0]), float(end[1])), width_m


def _thickest(thickness: ThicknessMap) -> FloatArray:
    """Return where the dug ground is thickest, x and y [m]."""
    filled = np.nan_to_num(thickness.thickness_m, nan=-np.inf)
    row, column = np.unravel_index(int(filled.argmax()), filled.shape)
    return np.array(
        [
            thickness.west_m + (column + 0.5) * thickness.cell_x_m,
            thickness.north_m - (row + 0.5) * thickness.cell_y_m,
        ]
    )
