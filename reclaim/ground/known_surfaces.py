"""Surfaces and outlines whose volumes are known in closed form, to try the calculations on.

Comes in: formulas of x and y. Goes out: surfaces that read like any other, held by no file.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from reclaim.site.model import Footprint, Grid, Window, Zone

if TYPE_CHECKING:
    from shapely import MultiPolygon
    from shapely.geometry.base import BaseGeometry

FloatArray = NDArray[np.floating[Any]]
Formula = Callable[[FloatArray, FloatArray], FloatArray]


@dataclass(slots=True)
class KnownSurface:
    """A surface given by a formula of x and y [m], evaluated at cell centres.

    Attributes
    ----------
    grid, formula, label
        The common grid, the formula, and what to call it.
    opened, cells_read
        How often it was opened, and how many cells were read in all.
    """

    grid: Grid
    formula: Formula
    label: str = "a formula"
    opened: int = 0
    cells_read: int = 0

    @contextmanager
    def reader(self) -> Iterator[Callable[[Window], FloatArray]]:
        """Open the surface; see `reclaim.site.model.Surface`."""
        self.opened += 1
        yield self._read

    def _read(self, window: Window) -> FloatArray:
        self.cells_read += window.rows * window.columns
        row = np.arange(window.row, window.row + window.rows)[:, None]
        column = np.arange(window.column, window.column + window.columns)[None, :]
        x_m = self.grid.west_m + (column + 0.5) * self.grid.cell_x_m
        y_m = self.grid.north_m - (row + 0.5) * self.grid.cell_y_m
        shape = window.rows, window.columns
        values = np.broadcast_to(self.formula(x_m, y_m), shape).astype(np.float64)
        outside = (row < 0) | (row >= self.grid.rows)
        values[outside | (column < 0) | (column >= self.grid.columns)] = np.nan
        return values


def level(height_m: float) -> Formula:
    """Return a level surface."""
    return lambda x_m, _: np.full(np.shape(x_m), float(height_m))


def plane(height_m: float, east: float, north: float, x_m: float, y_m: float) -> Formula:
    """Return a plane through a height at (x_m, y_m), rising `east` and `north` per metre."""
    return lambda x, y: height_m + east * (x - x_m) + north * (y - y_m)


def paraboloid(height_m: float, radius_m: float, x_m: float, y_m: float) -> Formula:
    """Return a dome about (x_m, y_m) that comes down to zero at a radius."""
    return lambda x, y: height_m * (1 - ((x - x_m) ** 2 + (y - y_m) ** 2) / radius_m**2)


def hummocks(height_m: float, spread_m: float, x_m: float, y_m: float) -> Formula:
    """Return smooth rolling ground about a height, up to 3 m above or below."""

    def formula(x: FloatArray, y: FloatArray) -> FloatArray:
        u, v = (x - x_m) / spread_m, (y - y_m) / spread_m
        return np.asarray(height_m + 2 * np.sin(u) * np.cos(v) + np.cos((u + 2 * v) / 1.7))

    return formula


def plain_footprint(
    polygon: BaseGeometry, exclusion: BaseGeometry | None = None, **zones: BaseGeometry
) -> Footprint:
    """Return a footprint of one zone, or of the zones named, less an exclusion."""
    import shapely

    out = shapely.MultiPolygon() if exclusion is None else _polygons(exclusion)
    named = zones or {"site": polygon}
    return Footprint(
        zones=tuple(
            Zone(name, _polygons(shapely.difference(zone, out))) for name, zone in named.items()
        ),
        outline=_polygons(shapely.difference(polygon, out)),
        as_given=_polygons(polygon),
        exclusions=out,
        setback_m=0.0,
    )


def rough_outline(
    vertices: int, x_m: float, y_m: float, radius_m: float, *, jag: float = 0.0, seed: int = 1
) -> BaseGeometry:
    """Return an irregular outline about a point; `jag` roughens it."""
    import shapely

    rng = np.random.default_rng(seed)
    angle = np.sort(rng.random(vertices)) * 2 * np.pi
    reach = radius_m * (1 + 0.3 * np.sin(3 * angle) + 0.05 * jag * rng.standard_normal(vertices))
    return shapely.Polygon(
        np.stack([x_m + reach * np.cos(angle), y_m + reach * np.sin(angle)], axis=1)
    )


def _polygons(geometry: BaseGeometry) -> MultiPolygon:
    import shapely

    parts = shapely.get_parts(geometry)
    return shapely.MultiPolygon([part for part in parts if part.geom_type == "Polygon"])
