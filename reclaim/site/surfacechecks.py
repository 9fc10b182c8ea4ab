"""What surfaces show under the footprint: voids, spikes, seams, long and flat triangles."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from reclaim.site.model import Window
from reclaim.site.settings import limit
from reclaim.site.surfacefile import interpolated

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from reclaim.site.model import FloatArray, Footprint, Grid, Surface
    from reclaim.site.problems import Findings

    BoolArray = NDArray[np.bool_]

_TILE = 1024  # cells along the side of the tiles read


def check_surface(
    surface: Surface, grid: Grid, footprint: Footprint, written: str, findings: Findings
) -> None:
    """Warn of what is wrong with a surface inside the footprint, each with size and place.

    Notes
    -----
    A spike is a cell that stands higher or lies lower by more than ``limits.spike_m`` than all
    four neighbours, or than the four cells ``limits.spike_width_m`` away. A seam is a straight
    line between two rows or columns of cells across which the ground steps by more than
    ``limits.seam_step_m`` on average, beyond the steps beside it. Cells count where their centres
    lie inside. Cells that are exactly 0 are told where fewer others lie within ``limits.spike_m``
    of it: voids may be filled with 0.
    """
    widest = min(grid.cell_x_m, grid.cell_y_m)
    seen = _Seen(reach=max(1, int(limit("spike_width_m") / widest)))
    with surface.reader() as read:
        for window, inside in _tiles(grid, footprint):
            seen.add(read(_grown(window, seen.reach)), inside, window)
    _tell_unknown(seen, grid, written, findings)
    if seen.zeros > seen.near_zero:
        findings.warn(
            written,
            f"About {seen.zeros * grid.cell_area_m2:.0f} m2 of the footprint are exactly 0 m high, "
            f"and hardly any ground within {limit('spike_m'):g} m of that.",
            "If 0 stands for unknown, write it into the file as nodata; it was taken as ground.",
        )
    if seen.spikes:
        findings.warn(
            written,
            f"Cells that stand out by more than {limit('spike_m'):g} m from all cells around them: "
            f"{seen.spikes:,}, the worst by {seen.worst_m:.1f} m at {_place(seen.worst, grid)}.",
            "Look for trees, vehicles or false readings there; they were left in.",
        )
    for axis, line, step in seen.seams():
        place = _place((line, 0) if axis == "row" else (0, line), grid).split(", ")
        findings.warn(
            written,
            f"The ground steps by {step:.2f} m along a straight "
            + (
                f"west-east line at north {place[1]}."
                if axis == "row"
                else f"north-south line at east {place[0]}."
            ),
            "Tiles or flights may not meet; level them, unless there is a wall.",
        )
    triangles = interpolated(surface)
    if triangles is not None:
        _check_triangles(triangles, footprint, written, findings)


@dataclass(slots=True)
class _Seen:
    """What was met while reading tile by tile; spikes are up to `reach` cells wide."""

    reach: int
    zeros: int = 0
    near_zero: int = 0
    cells: int = 0
    unknown: int = 0
    spikes: int = 0
    worst_m: float = 0.0
    worst: tuple[int, int] = (0, 0)
    steps: dict[str, dict[int, NDArray[Any]]] = field(
        default_factory=lambda: {"row": {}, "column": {}}
    )

    def add(self, values: FloatArray, inside: BoolArray, window: Window) -> None:
        """Add a tile; `values` have a margin of `reach` cells."""
        own = _moved(values, self.reach, 0, 0)
        self.cells += int(inside.sum())
        self.unknown += int((inside & np.isnan(own)).sum())
        zeros = int((inside & (own == 0)).sum())
        self.zeros += zeros
        if zeros:
            self.near_zero += int((inside & (np.abs(own) <= limit("spike_m"))).sum()) - zeros
        stands_out = np.fmax(*(_stands_out(values, self.reach, by) for by in (1, self.reach)))
        stands_out = np.where(inside, stands_out, 0.0)
        np.nan_to_num(stands_out, copy=False, nan=0.0)
        spikes = stands_out > limit("spike_m")
        self.spikes += int(spikes.sum())
        if stands_out.max(initial=0.0) > self.worst_m:
            self.worst_m = float(stands_out.max())
            row, column = np.unravel_index(stands_out.argmax(), stands_out.shape)
            self.worst = window.row + int(row), window.column + int(column)
        for axis, name, first, before in (
            (1, "row", window.row, _moved(values, self.reach, -1, 0)),
            (0, "column", window.column, _moved(values, self.reach, 0, -1)),
        ):
            step = own - before
            known = inside & np.isfinite(step)
            sums = np.where(known, step, 0.0).sum(axis=axis)
            for index, (total, count) in enumerate(zip(sums, known.sum(axis=axis), strict=True)):
                sofar = self.steps[name].setdefault(first + index, np.zeros(2))
                sofar += (total, count)

    def seams(self) -> Iterator[tuple[str, int, float]]:
        """Yield direction, line and mean step [m] of every seam."""
        for axis, steps in self.steps.items():
            lines = [line for line in sorted(steps) if steps[line][1] >= limit("seam_cells")]
            mean = {line: steps[line][0] / steps[line][1] for line in lines}
            for line in lines:
                beside = [
                    mean[near]
                    for near in range(line - 4, line + 5)
                    if near != line and near in mean
                ]
                if len(beside) >= 4:
                    step = mean[line] - float(np.median(beside))
                    usual = float(np.abs(np.array(beside) - np.median(beside)).max())
                    if abs(step) > max(limit("seam_step_m"), 3 * usual):
                        yield axis, line, abs(step)


def _tiles(grid: Grid, footprint: Footprint) -> Iterator[tuple[Window, BoolArray]]:
    """Yield windows that meet the footprint, and which of their cells have centres inside."""
    from affine import Affine
    from rasterio.features import geometry_mask

    box = grid.window_around(*footprint.outline.bounds)
    for row in range(box.row, box.row + box.rows, _TILE):
        for column in range(box.column, box.column + box.columns, _TILE):
            window = Window(
                row,
                column,
                min(_TILE, box.row + box.rows - row),
                min(_TILE, box.column + box.columns - column),
            )
            corner = Affine(
                grid.cell_x_m,
                0,
                grid.west_m + column * grid.cell_x_m,
                0,
                -grid.cell_y_m,
                grid.north_m - row * grid.cell_y_m,
            )
            inside = geometry_mask(
                [footprint.outline], (window.rows, window.columns), corner, invert=True
            )
            if inside.any():
                yield window, inside


def _grown(window: Window, by: int) -> Window:
    return Window(
        window.row - by, window.column - by, window.rows + 2 * by, window.columns + 2 * by
    )


def _moved(values: FloatArray, margin: int, down: int, across: int) -> FloatArray:
    """Return the values some cells away from those inside the margin."""
    rows, columns = (length - 2 * margin for length in values.shape)
    top, left = margin + down, margin + across
    return values[top : top + rows, left : left + columns]


def _stands_out(values: FloatArray, margin: int, by: int) -> FloatArray:
    """Return how far each cell stands above, or lies below, all four cells `by` cells away [m]."""
    own = _moved(values, margin, 0, 0)
    sides = [
        _moved(values, margin, down, across)
        for down, across in ((-by, 0), (by, 0), (0, -by), (0, by))
    ]
    above = own - np.maximum.reduce(sides)
    return np.asarray(np.fmax(above, np.minimum.reduce(sides) - own))


def _place(cell: tuple[int, int], grid: Grid) -> str:
    """Return the centre of a cell in CRS units."""
    east = (grid.west_m + (cell[1] + 0.5) * grid.cell_x_m) / grid.crs_unit_m
    north = (grid.north_m - (cell[0] + 0.5) * grid.cell_y_m) / grid.crs_unit_m
    return f"{east:.1f}, {north:.1f}"


def _tell_unknown(seen: _Seen, grid: Grid, written: str, findings: Findings) -> None:
    if seen.cells and seen.unknown == seen.cells:
        findings.error(
            written,
            "The surface is unknown under the whole footprint.",
            "Check its coordinate system and extent.",
        )
    elif seen.unknown:
        findings.warn(
            written,
            f"The surface is unknown on about {seen.unknown * grid.cell_area_m2:.0f} m2 of the "
            f"footprint ({100 * seen.unknown / seen.cells:.1f} %): voids, or beyond its data.",
            "No volume is counted there; nothing was extrapolated. Extend or fill the surface.",
        )


def _check_triangles(surface: Any, footprint: Footprint, written: str, findings: Findings) -> None:
    """Warn of ground between points far apart, and of terraces between contours."""
    import shapely

    middles = surface.corners_m[:, :, :2].mean(axis=1)
    inside = shapely.contains_xy(footprint.outline, middles[:, 0], middles[:, 1])
    if not inside.any():
        return
    areas = surface.plan_areas_m2()
    edges = surface.longest_edges_m()
    bound = limit("long_edges") * float(np.median(edges))
    long = float(areas[inside & (edges > bound)].sum())
    if long > 0:
        findings.warn(
            written,
            f"About {long:.0f} m2 of the footprint lie between points more than {bound:.1f} m "
            "apart, as under a building or where tiles leave a gap.",
            "The ground there is a straight line between them; survey it if it matters.",
        )
    flat = float(areas[inside & (np.ptp(surface.corners_m[:, :, 2], axis=1) == 0)].sum())
    if flat > limit("flat_share") * footprint.outline.area:
        findings.warn(
            written,
            f"About {flat:.0f} m2 of the footprint are flat between three points of one height, "
            "as on hilltops and in bends of contour lines.",
            "Add spot heights or breaklines there.",
        )
