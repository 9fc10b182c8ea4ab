"""Surfaces from core logs: the base of the waste and the cover, interpolated between cores."""

from __future__ import annotations

from contextlib import contextmanager
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np

from reclaim.site.surfaces import placed

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from shapely.geometry.base import BaseGeometry

    from reclaim.site.model import Cores, FloatArray, Grid, Window


def base_elevations(cores: Cores) -> FloatArray:
    """Return the elevation of the base of the waste at each collar [m], shape ``(n_cores,)``.

    Collar elevation less the depth at which the deepest waste ends, or the cover where there is
    no waste. NaN for a core that does not end in natural ground: how far the waste goes on is
    unknown.
    """
    depths = np.full(len(cores.collars), np.nan)
    logs = dict(tuple(cores.intervals.groupby("core_id")))
    for index, core in enumerate(cores.collars["core_id"]):
        log = logs.get(core)
        if log is None or log["layer"].iloc[-1] != "natural":
            continue
        waste = log.loc[log["layer"] == "waste", "to_m"]
        cover = log.loc[log["layer"] == "cover", "to_m"]
        above_natural = waste if len(waste) else cover
        depths[index] = above_natural.max() if len(above_natural) else 0.0
    return np.asarray(cores.collars["elevation_m"] - depths)


def cover_thicknesses(cores: Cores) -> FloatArray:
    """Return the thickness of the cover at each collar [m], shape ``(n_cores,)``.

    Only cover above the first waste counts; soil between layers of waste is dug with the waste.
    NaN for a core without a log.
    """
    thicknesses = np.full(len(cores.collars), np.nan)
    logs = dict(tuple(cores.intervals.groupby("core_id")))
    for index, core in enumerate(cores.collars["core_id"]):
        log = logs.get(core)
        if log is None:
            continue
        is_top = (log["layer"] == "cover").cumprod().astype(bool)
        thicknesses[index] = (log["to_m"] - log["from_m"])[is_top].sum()
    return thicknesses


@dataclass(frozen=True, slots=True)
class CoreSurface:
    """Values at cores [m], linear between them.

    Inside the hull of the cores: linear on the Delaunay triangles. Outside: the value at the
    nearest point of the hull, so that nothing rises or falls beyond what was drilled.

    Attributes
    ----------
    x_m, y_m, value_m
        Cores with a value, no place twice [m], shape ``(n_cores,)``.
    label
        What to call it.
    grid
        The common grid.
    """

    x_m: FloatArray
    y_m: FloatArray
    value_m: FloatArray
    label: str
    grid: Grid

    @classmethod
    def through(
        cls, x_m: FloatArray, y_m: FloatArray, value_m: FloatArray, label: str, grid: Grid
    ) -> CoreSurface:
        """Return the surface through all finite values; cores at one place are averaged."""
        known = np.isfinite(value_m)
        places, which = np.unique(
            np.column_stack([x_m[known], y_m[known]]), axis=0, return_inverse=True
        )
        which = which.reshape(-1)
        means = np.bincount(which, weights=value_m[known]) / np.bincount(which)
        return cls(places[:, 0], places[:, 1], means, label, grid)

    @contextmanager
    def reader(self) -> Iterator[Callable[[Window], FloatArray]]:
        """Open the surface; see `Surface`."""
        inside = self._between_cores()
        edges = self._hull_edges()
        yield lambda window: placed(
            self.grid, window, lambda part: self._values(part, inside, edges)
        )

    def hull(self) -> BaseGeometry:
        """Return the area between the cores; beyond it the surface is extrapolated."""
        from shapely import MultiPoint

        return MultiPoint(np.column_stack([self.x_m, self.y_m])).convex_hull

    def _between_cores(self) -> Any:
        """Return the Delaunay triangles inside the hull, None where the hull has no area."""
        from scipy.spatial import Delaunay

        if len(self.x_m) < 3 or self.hull().area == 0:
            return None
        return Delaunay(self._centred(self.x_m, self.y_m))

    def _on_triangles(self, triangles: Any, places_m: FloatArray) -> FloatArray:
        """Return the value at places by barycentric coordinates, NaN outside the triangles."""
        found = triangles.find_simplex(places_m)
        to_sides, corner = triangles.transform[found, :2], triangles.transform[found, 2]
        sides = (to_sides * (places_m - corner)[:, None, :]).sum(axis=2)
        weights = np.column_stack([sides, 1 - sides[:, 0] - sides[:, 1]])
        values = (weights * self.value_m[triangles.simplices[found]]).sum(axis=1)
        return np.where(found >= 0, values, np.nan)

    def _centred(self, x_m: FloatArray, y_m: FloatArray) -> FloatArray:
        """Return coordinates about the cores' centre, where round-off is least."""
        return np.column_stack([x_m - self.x_m.mean(), y_m - self.y_m.mean()])

    def _hull_edges(self) -> list[tuple[int, int]]:
        """Return pairs of cores along the hull; a chain where all lie on one line."""
        from scipy.spatial import ConvexHull

        if len(self.x_m) >= 3 and self.hull().area > 0:
            hull = ConvexHull(self._centred(self.x_m, self.y_m))
            return [(int(first), int(last)) for first, last in hull.simplices]
        order = np.lexsort([self.y_m, self.x_m])
        return list(pairwise(int(index) for index in order)) or [(0, 0)]

    def _values(self, part: Window, inside: Any, edges: list[tuple[int, int]]) -> FloatArray:
        grid = self.grid
        columns = grid.west_m + (part.column + np.arange(part.columns) + 0.5) * grid.cell_x_m
        rows = grid.north_m - (part.row + np.arange(part.rows) + 0.5) * grid.cell_y_m
        x_m, y_m = (axis.ravel() for axis in np.meshgrid(columns, rows))
        values = np.full(x_m.size, np.nan)
        if inside is not None:
            values = self._on_triangles(inside, self._centred(x_m, y_m))
        outside = np.isnan(values)
        values[outside] = self._on_nearest_edge(x_m[outside], y_m[outside], edges)
        return values.reshape(part.rows, part.columns)

    def _on_nearest_edge(
        self, x_m: FloatArray, y_m: FloatArray, edges: list[tuple[int, int]]
    ) -> FloatArray:
        """Return the value at the point of the hull's edge that is nearest to each place."""
        nearest = np.full(x_m.size, np.inf)
        values = np.full(x_m.size, np.nan)
        for first, last in edges:
            along_x, along_y = self.x_m[last] - self.x_m[first], self.y_m[last] - self.y_m[first]
            length2 = along_x**2 + along_y**2
            from_x, from_y = x_m - self.x_m[first], y_m - self.y_m[first]
            share = np.clip((from_x * along_x + from_y * along_y) / (length2 or 1.0), 0, 1)
            distance2 = (from_x - share * along_x) ** 2 + (from_y - share * along_y) ** 2
            closer = distance2 < nearest
            nearest[closer] = distance2[closer]
            rise = self.value_m[last] - self.value_m[first]
            values[closer] = self.value_m[first] + share[closer] * rise
        return values
