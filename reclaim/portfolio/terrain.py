"""Terrain of one site out of a shared mosaic, and a base where nobody knows it."""

from __future__ import annotations

from contextlib import contextmanager
from dataclasses import dataclass, replace
from hashlib import sha256
from typing import TYPE_CHECKING, Any

import numpy as np

from reclaim.portfolio.regional import portfolio_default
from reclaim.site import Window
from reclaim.site.surfaces import placed

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from numpy.typing import NDArray
    from shapely import MultiPolygon

    from reclaim.site import Findings, Grid, Surface

    FloatArray = NDArray[np.floating[Any]]


@dataclass(frozen=True, slots=True, eq=False)
class ArraySurface:
    """A surface that is held in memory.

    Attributes
    ----------
    values_m
        Elevations at cell centres [m], shape ``(frame.rows, frame.columns)``, NaN where unknown.
    label, grid
        As for every surface.
    frame
        The part of the grid that is held; it is unknown elsewhere.
    """

    values_m: FloatArray
    label: str
    grid: Grid
    frame: Window

    @contextmanager
    def reader(self) -> Iterator[Callable[[Window], FloatArray]]:
        """Open the surface; see `reclaim.site.Surface`."""
        yield lambda window: placed(self.grid, window, self._held, self.frame)

    def _held(self, inside: Window) -> FloatArray:
        row, column = inside.row - self.frame.row, inside.column - self.frame.column
        return self.values_m[row : row + inside.rows, column : column + inside.columns]

    def digest(self) -> str:
        """Return the SHA-256 of the values and of where they lie."""
        found = sha256(repr((self.grid, self.frame, self.values_m.dtype.str)).encode())
        found.update(np.ascontiguousarray(self.values_m).data)
        return found.hexdigest()


@dataclass(frozen=True, slots=True)
class RimBase:
    """A base drawn from the ground around a site.

    Attributes
    ----------
    surface
        The base.
    residual_sd_m
        Standard deviation of the ground around the site from the surface fitted to it [m].
    known
        Share of the places around the outline where the ground is known [-].
    """

    surface: ArraySurface
    residual_sd_m: float
    known: float


def window_around(grid: Grid, outline: MultiPolygon, reach_m: float) -> Window:
    """Return the window of whole cells, inside the grid, that covers a shape and its surroundings.

    It is empty where the shape lies off the grid.
    """
    west, south, east, north = outline.bounds
    margin = portfolio_default("margin_cells")
    x_m, y_m = reach_m + margin * grid.cell_x_m, reach_m + margin * grid.cell_y_m
    return grid.window_around(west - x_m, south - y_m, east + x_m, north + y_m)


def cropped(grid: Grid, window: Window) -> Grid:
    """Return the part of a grid that a window covers, as a grid of its own."""
    return replace(
        grid,
        west_m=grid.west_m + window.column * grid.cell_x_m,
        north_m=grid.north_m - window.row * grid.cell_y_m,
        rows=window.rows,
        columns=window.columns,
    )


def whole(grid: Grid) -> Window:
    """Return the window that is the whole grid."""
    return Window(0, 0, grid.rows, grid.columns)


def base_from_rim(
    survey: Surface,
    grid: Grid,
    outline: MultiPolygon,
    depth_below_m: float,
    where: str,
    findings: Findings,
) -> RimBase | None:
    """Return a base that carries the ground around a site through under it.

    Parameters
    ----------
    survey, grid
        Today's ground.
    outline
        The footprint as given [m].
    depth_below_m
        How far below the ground around the base lies [m].
    where, findings
        What messages call the site, and where they go.

    Returns
    -------
    RimBase or None
        None, with an error, where too little of the ground around is known.

    Notes
    -----
    Heights are read at points along a line just outside the outline. The surface is the sum of
    the harmonic polynomials ``Re z^k`` and ``Im z^k`` up to a small order that fits them best in
    least squares: the first terms of the solution of Laplace's equation with the rim as boundary,
    as a stretched skin would lie (Courant and Hilbert (1953), Methods of Mathematical Physics,
    volume I, ch. 4 and 5). A plane and a saddle are met exactly. What the rim is off the surface
    is told as its standard deviation.
    """
    from reclaim.site.surfaces import sample

    offset_m = portfolio_default("rim_offset_m")
    x_m, y_m = _rim_points(outline, offset_m, int(portfolio_default("rim_points")))
    window = window_around(grid, outline, offset_m)
    part = cropped(grid, window)
    with survey.reader() as read:
        values = np.asarray(read(window))
    around = ArraySurface(values, survey.label, part, whole(part))
    height_m = sample(around, part, x_m, y_m)
    known = np.isfinite(height_m)
    if known.mean() < portfolio_default("rim_known"):
        findings.error(
            where,
            f"The ground around the outline is known at {known.mean():.0%} of its length, too "
            "little to draw a base from it.",
            "Extend the survey around the site, or give the base.",
        )
        return None
    centre = outline.centroid
    reach = float(np.hypot(x_m - centre.x, y_m - centre.y).max())

    def terms(x: FloatArray, y: FloatArray) -> FloatArray:
        z = ((x - centre.x) + 1j * (y - centre.y)) / reach
        powers = [z**order for order in range(1, int(portfolio_default("rim_terms")) + 1)]
        return np.stack(
            [np.ones(z.shape), *(half for p in powers for half in (p.real, p.imag))], axis=-1
        )

    fitted = terms(x_m[known], y_m[known])
    weights, *_ = np.linalg.lstsq(fitted, height_m[known], rcond=None)
    left_m = height_m[known] - fitted @ weights
    freedom = max(1, int(known.sum()) - fitted.shape[1])
    x_grid, y_grid = np.meshgrid(
        part.west_m + (np.arange(part.columns) + 0.5) * part.cell_x_m,
        part.north_m - (np.arange(part.rows) + 0.5) * part.cell_y_m,
    )
    base = terms(x_grid, y_grid) @ weights - depth_below_m
    label = "carried through under the waste from the ground around it"
    return RimBase(
        ArraySurface(base, label, grid, window),
        float(np.sqrt(np.sum(left_m**2) / freedom)),
        float(known.mean()),
    )


def _rim_points(
    outline: MultiPolygon, offset_m: float, number: int
) -> tuple[FloatArray, FloatArray]:
    """Return points spaced evenly along a line outside every part of an outline [m]."""
    import shapely

    around = shapely.buffer(outline, offset_m)
    rings = [polygon.exterior for polygon in shapely.get_parts(around)]
    length_m = sum(ring.length for ring in rings)
    points = np.concatenate(
        [
            shapely.get_coordinates(
                shapely.line_interpolate_point(
                    ring,
                    np.arange(n := max(8, round(number * ring.length / length_m)))
                    * (ring.length / n),
                )
            )
            for ring in rings
        ]
    )
    return points[:, 0], points[:, 1]
