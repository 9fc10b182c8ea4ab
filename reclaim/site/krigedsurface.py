"""Surfaces kriged from cores, their error, and an old survey corrected to the cores."""

from __future__ import annotations

from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from reclaim.geostatistics import CovarianceModel, OrdinaryKriging, likeliest_covariance
from reclaim.site.settings import limit
from reclaim.site.surfaces import placed

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from shapely.geometry.base import BaseGeometry

    from reclaim.site.model import FloatArray, Grid, Surface, Window


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

        `sd_m` and `range_m` [m] are those of the stated one.
        """
        if len(self.value_m) < limit("kriging_cores") or np.ptp(self.value_m) == 0:
            return CovarianceModel("spherical", max(sd_m, 1e-6) ** 2, range_m)
        return likeliest_covariance(self.places_m, self.value_m)


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
        kriging = OrdinaryKriging(self.cores.places_m, self.model)
        yield lambda window: placed(self.grid, window, lambda part: self._values(kriging, part))

    def _values(self, kriging: OrdinaryKriging, part: Window) -> FloatArray:
        grid = self.grid
        x_m = grid.west_m + (part.column + np.arange(part.columns) + 0.5) * grid.cell_x_m
        y_m = grid.north_m - (part.row + np.arange(part.rows) + 0.5) * grid.cell_y_m
        cells = np.column_stack([axis.ravel() for axis in np.meshgrid(x_m, y_m)])
        estimate, variance = kriging.estimate(self.cores.value_m, cells)
        return (np.sqrt(variance) if self.is_sd else estimate).reshape(part.rows, part.columns)

    def hull(self) -> BaseGeometry:
        """Return the area between the cores; beyond it the surface is extrapolated."""
        from shapely import MultiPoint

        return MultiPoint(self.cores.places_m).convex_hull

    def left_out_m(self) -> FloatArray:
        """Return value less estimate from all other places [m]; NaN where there is no other."""
        if len(self.cores.value_m) < 2:
            return np.full(len(self.cores.value_m), np.nan)
        kriging = OrdinaryKriging(self.cores.places_m, self.model)
        return kriging.left_out(self.cores.value_m)[0]


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
