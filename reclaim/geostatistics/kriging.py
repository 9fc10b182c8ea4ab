"""Ordinary kriging of many quantities at once: one factorisation, one matrix product."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Iterator

    from reclaim.geostatistics.covariance import CovarianceModel, FloatArray

_BLOCK_NUMBERS = 400_000  # numbers in one block of targets: two blocks stay in the cache


class OrdinaryKriging:
    """Data places and a covariance model, factorised once for any number of targets.

    Weights at every target add to one, so shares that add to one at the data add to one at the
    targets. Estimates are exact at the data, nugget or not.

    Parameters
    ----------
    data_xy
        East and north of the data [m], shape ``(n_data, 2)``, no place twice.
    model
        Covariance of the quantities, shared by all of them.

    Raises
    ------
    ValueError
        No data, a place that is not a number, or two data at one place (average them first).

    Notes
    -----
    Isaaks and Srivastava (1989), An Introduction to Applied Geostatistics, chapter 12; Cressie
    (1993), Statistics for Spatial Data, section 3.2. The bordered system is inverted by blocks
    from the Cholesky factor of the covariance matrix.
    """

    def __init__(self, data_xy: FloatArray, model: CovarianceModel) -> None:
        from scipy.linalg import LinAlgError, cho_factor, cho_solve

        data_xy = np.asarray(data_xy, dtype=float)
        if data_xy.ndim != 2 or data_xy.shape[1] != 2 or len(data_xy) == 0:
            raise ValueError("Kriging needs at least one place with east and north.")
        if not np.isfinite(data_xy).all():
            raise ValueError("A place of the data is not a number.")
        self._model = model
        self._centre = data_xy.mean(axis=0)
        self._data = model.scaled(data_xy - self._centre)
        covariance = np.empty((len(data_xy), len(data_xy)))
        model.fill(covariance, self._data, self._data)
        try:
            factor = cho_factor(covariance, lower=True)
        except LinAlgError:
            raise ValueError("Two data are at one place; average them first.") from None
        inverse = cho_solve(factor, np.eye(len(data_xy)))
        if np.linalg.norm(covariance, 1) * np.linalg.norm(inverse, 1) > 1 / np.finfo(float).eps:
            raise ValueError("Two data are at one place; average them first.")
        self._bordered = _bordered_inverse(inverse)

    def weights(self, targets_xy: FloatArray) -> FloatArray:
        """Return the kriging weights, shape ``(n_targets, n_data)``; each row adds to one."""
        weights = np.empty((len(targets_xy), len(self._data)))
        for block, right_side in self._right_sides(targets_xy):
            weights[block] = (self._bordered[:-1] @ right_side).T
        return weights

    def estimate(self, values: FloatArray, targets_xy: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return estimates and kriging variance at targets.

        Parameters
        ----------
        values
            Of each quantity at the data, shape ``(n_data, n_quantities)``, or ``(n_data,)`` for
            one.
        targets_xy
            East and north [m], shape ``(n_targets, 2)``.

        Returns
        -------
        estimates
            Shape ``(n_targets, n_quantities)``, or ``(n_targets,)`` for one.
        variance
            Of the error at each target, shape ``(n_targets,)``; the same for all quantities, in
            the unit of the model.

        Raises
        ------
        ValueError
            Values that do not match the data, or are not numbers.
        """
        values = np.asarray(values, dtype=float)
        if len(values) != len(self._data) or not np.isfinite(values).all():
            raise ValueError("Kriging needs one number per place and quantity.")
        columns = values.reshape(len(values), -1)
        border = len(self._data) + 1
        # Weights and estimates leave one matrix product, the estimates as its last rows.
        product = np.vstack([self._bordered, columns.T @ self._bordered[:-1]])
        estimates = np.empty((len(targets_xy), columns.shape[1]))
        variance = np.empty(len(targets_xy))
        for block, right_side in self._right_sides(targets_xy):
            solved = product @ right_side
            estimates[block] = solved[border:].T
            variance[block] = np.einsum("ij,ij->j", solved[:border], right_side)
        np.subtract(self._model.sill, variance, out=variance)
        np.maximum(variance, 0.0, out=variance)
        return estimates.reshape(len(targets_xy), *values.shape[1:]), variance

    def error_covariance(self, first_xy: FloatArray, second_xy: FloatArray) -> FloatArray:
        """Return the covariance of the errors at two sets of places, without the nugget.

        The nugget averages out over any block much larger than a core, so these are the errors
        of means over small blocks. Shape ``(n, m)``, in the unit of the model.
        """
        if self._model.partial_sill == 0:
            between = np.asarray(np.zeros((len(first_xy), len(second_xy))))
        else:
            between = np.asarray(replace(self._model, nugget=0.0).between(first_xy, second_xy))
        known = self._side(first_xy).T @ self._bordered @ self._side(second_xy)
        return np.asarray(between - known)

    def _side(self, places_xy: FloatArray) -> FloatArray:
        """Right side of the system for block means at places, shape ``(n_data + 1, n)``."""
        side = np.ones((len(self._data) + 1, len(places_xy)))
        side[:-1] = 0.0
        if self._model.partial_sill > 0:
            smooth = replace(self._model, nugget=0.0)
            smooth.fill(side[:-1], self._data, smooth.scaled(places_xy - self._centre))
        return side

    def left_out(self, values: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return how far each value is from what the others say there, and that error's variance.

        Parameters
        ----------
        values
            Shape ``(n_data, n_quantities)`` or ``(n_data,)``, two data or more.

        Returns
        -------
        errors
            Value less its estimate from all other data, in the shape of `values`.
        variance
            Kriging variance of those estimates, shape ``(n_data,)``.

        Notes
        -----
        Dubrule (1983), Mathematical Geology 15, 687-699: from the inverse already at hand.
        """
        values = np.asarray(values, dtype=float)
        inverse = self._bordered[:-1, :-1]
        variance = 1 / np.diag(inverse)
        errors = (inverse @ values.reshape(len(values), -1)) * variance[:, None]
        return errors.reshape(values.shape), variance

    def _right_sides(self, targets_xy: FloatArray) -> Iterator[tuple[slice, FloatArray]]:
        """Yield blocks of targets with the right side of their systems."""
        size = max(1, _BLOCK_NUMBERS // (len(self._data) + 1))
        for first in range(0, len(targets_xy), size):
            block = slice(first, min(first + size, len(targets_xy)))
            targets = self._model.scaled(np.asarray(targets_xy[block], dtype=float) - self._centre)
            right_side = np.ones((len(self._data) + 1, len(targets)))
            self._model.fill(right_side[:-1], self._data, targets)
            yield block, right_side


def ordinary_kriging(
    data_xy: FloatArray, values: FloatArray, targets_xy: FloatArray, model: CovarianceModel
) -> tuple[FloatArray, FloatArray]:
    """Return estimates and kriging variance at targets; see `OrdinaryKriging.estimate`."""
    return OrdinaryKriging(data_xy, model).estimate(values, targets_xy)


def _bordered_inverse(inverse: FloatArray) -> FloatArray:
    """Return the inverse of a covariance matrix bordered by ones, from the matrix's own."""
    row_sums = inverse.sum(axis=1)
    total = row_sums.sum()
    count = len(inverse)
    bordered = np.empty((count + 1, count + 1))
    bordered[:count, :count] = inverse - np.outer(row_sums, row_sums) / total
    bordered[:count, count] = bordered[count, :count] = row_sums / total
    bordered[count, count] = -1 / total
    return bordered
