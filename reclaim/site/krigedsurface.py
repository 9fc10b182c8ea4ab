"""Surfaces kriged from cores, their error, and an old survey corrected to the cores."""

from __future__ import annotations

from contextlib import contextmanager
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from reclaim.geostatistics import CovarianceModel, OrdinaryKriging, likeliest_covariance
from reclaim.reference import constant
from reclaim.site.model import Window
from reclaim.site.settings import limit
from reclaim.site.surfaces import placed

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from numpy.typing import NDArray
    from shapely.geometry.base import BaseGeometry

    from reclaim.site.model import FloatArray, Grid, Surface


_SYSTEMS_KEPT = 64  # neighbourhoods kept while windows are read, some 50 kB each


@dataclass(frozen=True, slots=True)
class CoreValues:
    """One value [m] at each place that has one.

    Attributes
    ----------
    places_m
        East and north [m], no place twice, shape ``(n, 2)``.
    value_m
        Shape ``(n,)``.
    """

    places_m: FloatArray
    value_m: FloatArray

    @classmethod
    def of(cls, x_m: FloatArray, y_m: FloatArray, value_m: FloatArray) -> CoreValues:
        """Take all finite values; cores at one place are averaged."""
        known = np.isfinite(value_m)
        places, which = np.unique(
            np.column_stack([x_m[known], y_m[known]]), axis=0, return_inverse=True
        )
        which = which.reshape(-1)
        return cls(places, np.bincount(which, weights=value_m[known]) / np.bincount(which))

    def model(self, sd_m: float, range_m: float) -> CovarianceModel:
        """Return the likeliest covariance, or the stated one where there are too few values.

        Of many values a part drawn at random is fitted, the same at each call.
        `sd_m` and `range_m` [m] are those of the stated one.
        """
        if len(self.value_m) < limit("kriging_cores") or np.ptp(self.value_m) == 0:
            return CovarianceModel("spherical", max(sd_m, 1e-6) ** 2, range_m)
        chosen = np.arange(len(self.value_m))
        if self.are_many:
            most = int(constant("local_search_cores"))
            chosen = np.random.default_rng(0).choice(chosen, most, replace=False)
        return likeliest_covariance(self.places_m[chosen], self.value_m[chosen])

    @property
    def are_many(self) -> bool:
        """Tell whether one system of all places would take too long and too much memory."""
        return len(self.value_m) > constant("local_search_cores")


@dataclass(frozen=True, slots=True)
class KrigedSurface:
    """Values at cores, kriged between and beyond them; or the standard deviation of that.

    Attributes
    ----------
    cores
        Places and values.
    model
        Their covariance.
    label, grid
        What to call it, and the common grid.
    is_sd
        True for the kriging standard deviation [m] instead of the value.
    """

    cores: CoreValues
    model: CovarianceModel
    label: str
    grid: Grid
    is_sd: bool = False

    @contextmanager
    def reader(self) -> Iterator[Callable[[Window], FloatArray]]:
        """Open the surface; see `Surface`."""
        if self.cores.are_many:
            near = _Neighbourhoods(self)
            yield lambda window: placed(self.grid, window, near.values)
            return
        kriging, value_m = OrdinaryKriging(self.cores.places_m, self.model), self.cores.value_m
        yield lambda window: placed(
            self.grid, window, lambda part: self.kriged(kriging, value_m, part)
        )

    def kriged(self, kriging: OrdinaryKriging, value_m: FloatArray, part: Window) -> FloatArray:
        """Return what a system gives at the cells of a window inside the grid [m]."""
        grid = self.grid
        x_m = grid.west_m + (part.column + np.arange(part.columns) + 0.5) * grid.cell_x_m
        y_m = grid.north_m - (part.row + np.arange(part.rows) + 0.5) * grid.cell_y_m
        cells = np.column_stack([axis.ravel() for axis in np.meshgrid(x_m, y_m)])
        estimate, variance = kriging.estimate(value_m, cells)
        return (np.sqrt(variance) if self.is_sd else estimate).reshape(part.rows, part.columns)

    def hull(self) -> BaseGeometry:
        """Return the area between the cores; beyond it the surface is extrapolated."""
        from shapely import MultiPoint

        return MultiPoint(self.cores.places_m).convex_hull

    def left_out_m(self) -> FloatArray:
        """Return value less estimate from all other places [m]; NaN where there is no other."""
        if len(self.cores.value_m) < 2:
            return np.full(len(self.cores.value_m), np.nan)
        if self.cores.are_many:
            return _Neighbourhoods(self).left_out_m()
        kriging = OrdinaryKriging(self.cores.places_m, self.model)
        return kriging.left_out(self.cores.value_m)[0]


class _Neighbourhoods:
    """Kriging from the nearest cores, the same ones for all cells of a square of the grid.

    The squares stand on the grid, so that a cell has one value whichever window it is read in.

    Notes
    -----
    Search neighbourhoods: Isaaks and Srivastava (1989), An Introduction to Applied Geostatistics,
    chapter 14. Between squares the surface may step, the less the more cores they share; a square
    holds a sixteenth of the cores it is kriged from.
    """

    def __init__(self, surface: KrigedSurface) -> None:
        from scipy.spatial import cKDTree

        self._surface, self._nearest = surface, int(constant("local_search_nearest"))
        grid, places_m = surface.grid, surface.cores.places_m
        area_m2 = surface.hull().area or float(np.prod(np.ptp(places_m, axis=0) + grid.cell_x_m))
        side_m = np.sqrt(area_m2 / len(places_m) * self._nearest / 16)
        self._rows, self._columns = (
            max(1, round(side_m / cell_m)) for cell_m in (grid.cell_y_m, grid.cell_x_m)
        )
        self._square = np.column_stack(
            [
                np.floor((grid.north_m - places_m[:, 1]) / grid.cell_y_m / self._rows),
                np.floor((places_m[:, 0] - grid.west_m) / grid.cell_x_m / self._columns),
            ]
        ).astype(np.int64)
        self._tree = cKDTree(surface.model.scaled(places_m))
        self._system = lru_cache(_SYSTEMS_KEPT)(self._solve)

    def values(self, part: Window) -> FloatArray:
        """Return the surface on a window inside the grid [m]."""
        found = np.empty((part.rows, part.columns))
        for row, top, bottom in _cut(part.row, part.row + part.rows, self._rows):
            for column, left, end in _cut(part.column, part.column + part.columns, self._columns):
                kriging, chosen = self._system(row, column)
                at = (
                    slice(top - part.row, bottom - part.row),
                    slice(left - part.column, end - part.column),
                )
                found[at] = self._surface.kriged(
                    kriging,
                    self._surface.cores.value_m[chosen],
                    Window(top, left, bottom - top, end - left),
                )
        return found

    def left_out_m(self) -> FloatArray:
        """Return value less estimate from the others near by [m], shape ``(n,)``."""
        value_m = self._surface.cores.value_m
        errors_m = np.empty(len(value_m))
        squares, member = np.unique(self._square, axis=0, return_inverse=True)
        for number, (row, column) in enumerate(squares.tolist()):
            kriging, chosen = self._system(row, column)
            own = np.flatnonzero(member.reshape(-1) == number)
            left_out_m = kriging.left_out(value_m[chosen])[0]
            errors_m[own] = left_out_m[np.searchsorted(chosen, own)]
        return errors_m

    def _solve(self, row: int, column: int) -> tuple[OrdinaryKriging, NDArray[np.int64]]:
        """Return the system of a square, and its cores in order: the nearest and all inside."""
        grid, places_m = self._surface.grid, self._surface.cores.places_m
        middle_m = (
            grid.west_m + (column + 0.5) * self._columns * grid.cell_x_m,
            grid.north_m - (row + 0.5) * self._rows * grid.cell_y_m,
        )
        model = self._surface.model
        _, nearest = self._tree.query(model.scaled(np.array([middle_m]))[0], k=self._nearest)
        inside = np.flatnonzero((self._square == (row, column)).all(axis=1))
        chosen = np.union1d(nearest, inside)
        return OrdinaryKriging(places_m[chosen], model), chosen


def _cut(first: int, end: int, length: int) -> Iterator[tuple[int, int, int]]:
    """Yield number, first and end of each stretch of some length that a range of cells meets."""
    for number in range(first // length, (end - 1) // length + 1):
        yield number, max(number * length, first), min((number + 1) * length, end)


@dataclass(frozen=True, slots=True)
class CorrectedSurface:
    """A surface and a correction to it [m], added cell by cell.

    Attributes
    ----------
    surface, correction
        What is added.
    label
        What to call it.
    """

    surface: Surface
    correction: KrigedSurface
    label: str

    @contextmanager
    def reader(self) -> Iterator[Callable[[Window], FloatArray]]:
        """Open the surface; see `Surface`."""
        with self.surface.reader() as read, self.correction.reader() as correct:
            yield lambda window: read(window) + correct(window)
