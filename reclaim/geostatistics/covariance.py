"""How alike two places are: covariance by distance, with nugget and anisotropy."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.floating[Any]]
Shape = Literal["spherical", "exponential"]

# Distances below this share of the range are one place: the nugget counts there.
_SAME_PLACE = 1e-9
# exp(-3) = 0.05: the covariance has fallen by 95 % at the practical range.
_PRACTICAL = 3.0


@dataclass(frozen=True, slots=True)
class CovarianceModel:
    """Covariance of one quantity between two places; nugget at distance zero only.

    The variogram is the sill less the covariance. A nugget is a spread over distances shorter
    than any between two data: estimates honour the data exactly.

    Attributes
    ----------
    shape
        ``spherical`` falls to zero at the range; ``exponential`` to 5 % of its start there.
    partial_sill
        Covariance at a very short distance [unit of the value, squared].
    range_m
        Range, or practical range, along the azimuth [m].
    nugget
        Spread between places next to each other [unit of the value, squared].
    azimuth_deg
        Direction of the longest range, clockwise from north [degrees].
    anisotropy_ratio
        Range across the azimuth over range along it, above 0 and at most 1.

    Raises
    ------
    ValueError
        A number outside its domain, or a sill of zero.

    Notes
    -----
    Isaaks and Srivastava (1989), An Introduction to Applied Geostatistics, chapter 16.
    """

    shape: Shape
    partial_sill: float
    range_m: float
    nugget: float = 0.0
    azimuth_deg: float = 0.0
    anisotropy_ratio: float = 1.0

    def __post_init__(self) -> None:
        if self.shape not in {"spherical", "exponential"}:
            raise ValueError(f"There is no covariance shape {self.shape!r}.")
        if min(self.partial_sill, self.nugget) < 0 or not self.sill > 0:
            raise ValueError("Nugget and partial sill must not be negative, nor both zero.")
        if not self.range_m > 0 or not 0 < self.anisotropy_ratio <= 1:
            raise ValueError("The range must be positive and the anisotropy ratio in (0, 1].")

    @property
    def sill(self) -> float:
        """Variance of the quantity: nugget and partial sill [unit of the value, squared]."""
        return self.nugget + self.partial_sill

    def scaled(self, places_xy: FloatArray) -> FloatArray:
        """Return places so turned and stretched that the range is 1 in every direction.

        Parameters
        ----------
        places_xy
            East and north [m], shape ``(n, 2)``.

        Returns
        -------
        ndarray
            Along and across the azimuth, in ranges, shape ``(n, 2)``.
        """
        azimuth = np.radians(self.azimuth_deg)
        east, north = places_xy[:, 0], places_xy[:, 1]
        along = east * np.sin(azimuth) + north * np.cos(azimuth)
        across = (east * np.cos(azimuth) - north * np.sin(azimuth)) / self.anisotropy_ratio
        return np.column_stack([along, across]) / self.range_m

    def between(self, first_xy: FloatArray, second_xy: FloatArray) -> FloatArray:
        """Return the covariance of every first place with every second.

        Parameters
        ----------
        first_xy, second_xy
            East and north [m], shapes ``(n, 2)`` and ``(m, 2)``.

        Returns
        -------
        ndarray
            Shape ``(n, m)``.
        """
        covariance = np.empty((len(first_xy), len(second_xy)))
        self.fill(covariance, self.scaled(first_xy), self.scaled(second_xy))
        return covariance

    def fill(self, out: FloatArray, first: FloatArray, second: FloatArray) -> None:
        """Write the covariance between `scaled` places into `out`, shape ``(n, m)``.

        The work is done in few passes over `out`, since for large grids memory traffic is the
        cost of kriging.
        """
        step = np.empty_like(out)
        np.subtract(first[:, 0, None], second[:, 0], out=out)
        np.multiply(out, out, out=out)
        np.subtract(first[:, 1, None], second[:, 1], out=step)
        np.multiply(step, step, out=step)
        np.add(out, step, out=out)
        np.sqrt(out, out=out)
        self._replace(out, step)

    def by_distance(self, distance_m: FloatArray) -> FloatArray:
        """Return the covariance of places that far apart along the azimuth [m]."""
        covariance = np.array(distance_m, dtype=float) / self.range_m
        self._replace(covariance, np.empty_like(covariance))
        return covariance

    def _replace(self, out: FloatArray, work: FloatArray) -> None:
        """Write the covariance over distances in ranges; `work` is of the same shape."""
        same = np.nonzero(out < _SAME_PLACE) if self.nugget else None
        if self.shape == "spherical":
            np.minimum(out, 1.0, out=out)
            np.multiply(out, out, out=work)
            work -= 3.0
            out *= work
            out *= 0.5 * self.partial_sill
        else:
            out *= -_PRACTICAL
            np.expm1(out, out=out)
            out *= self.partial_sill
        out += self.partial_sill
        if same is not None:
            out[same] += self.nugget
