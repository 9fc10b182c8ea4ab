"""Pictures of what may lie between the data: conditional simulation of a Gaussian field."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from reclaim.geostatistics.covariance import CovarianceModel, FloatArray

IntArray = NDArray[np.int_]
BoolArray = NDArray[np.bool_]

_NEAREST_DATA = 24
_NEAREST_PLACES = 16


class ConditionalSimulation:
    """Places to simulate and the data they must fit, prepared once for any number of draws.

    The mean is unknown: each draw takes one of its own, as likely as the data make it, so the
    draws have the variance of ordinary kriging.

    Parameters
    ----------
    data_xy
        East and north of the data [m], shape ``(n_data, 2)``, no place twice.
    model
        Covariance with a sill of any size; the draws have that sill.
    places_xy
        Where to simulate [m], shape ``(n_places, 2)``, none of them a datum or twice.
    nearest_data, nearest_places
        How many data, and how many places before it, each place leans on.

    Raises
    ------
    ValueError
        No data, or two data at one place.

    Notes
    -----
    Sequential Gaussian simulation: Deutsch and Journel (1998), GSLIB, section V.2. In random
    order each place leans on the nearest data and the nearest places before it, with the same
    weights in every draw. Places lean on each other without the nugget, which is added last. Time
    and memory grow in proportion to places and to draws.
    """

    def __init__(
        self,
        data_xy: FloatArray,
        model: CovarianceModel,
        places_xy: FloatArray,
        *,
        nearest_data: int = _NEAREST_DATA,
        nearest_places: int = _NEAREST_PLACES,
    ) -> None:
        from scipy.linalg import LinAlgError, cho_factor, cho_solve

        if len(data_xy) == 0:
            raise ValueError("A conditional simulation needs at least one datum.")
        try:
            factor = cho_factor(model.between(data_xy, data_xy), lower=True)
        except LinAlgError:
            raise ValueError("Two data are at one place; average them first.") from None
        solved = cho_solve(factor, np.ones(len(data_xy)))
        self._mean_weights = solved / solved.sum()
        self._nugget_sd = float(np.sqrt(model.nugget))
        self._mean_sd = float(np.sqrt(1 / solved.sum()))
        self._order = np.random.default_rng(len(places_xy)).permutation(len(places_xy))
        nodes = model.scaled(np.vstack([data_xy, places_xy[self._order]]) - data_xy.mean(axis=0))
        self._neighbours, held = _neighbours(nodes, len(data_xy), nearest_data, nearest_places)
        self._weights, self._noise_sd = _kriging_weights(
            nodes, len(data_xy), self._neighbours, held, model
        )

    def draw(self, values: FloatArray, n_draws: int, generator: np.random.Generator) -> FloatArray:
        """Return draws of several fields that share the model and do not depend on each other.

        Parameters
        ----------
        values
            Of each field at the data, shape ``(n_data, n_fields)``.
        n_draws
            How many draws.
        generator
            Source of the random numbers.

        Returns
        -------
        ndarray
            Shape ``(n_places, n_draws, n_fields)``.
        """
        n_data, n_places = len(values), len(self._order)
        mean = self._mean_weights @ values + self._mean_sd * generator.standard_normal(
            (n_draws, values.shape[1])
        )
        columns = mean.size
        departure = np.empty((n_data + n_places, columns))
        departure[:n_data] = (values[:, None, :] - mean).reshape(n_data, columns)
        generator.standard_normal(out=departure[n_data:])
        departure[n_data:] *= self._noise_sd[:, None]
        for place in range(n_places):
            known = departure[self._neighbours[place]]
            departure[n_data + place] += self._weights[place] @ known
        fields = np.empty((n_places, n_draws, values.shape[1]))
        fields[self._order] = departure[n_data:].reshape(fields.shape)
        fields += mean
        if self._nugget_sd > 0:
            fields += self._nugget_sd * generator.standard_normal(fields.shape)
        return fields


def _neighbours(
    nodes: FloatArray, n_data: int, nearest_data: int, nearest_places: int
) -> tuple[IntArray, BoolArray]:
    """Return the nearest data and the nearest earlier places of each place, and which count.

    Both have shape ``(n_places, n_neighbours)``. The search for earlier places runs over twice as
    many each time, so that about half of what it finds lies before the place: the nearest three
    times as many hold enough.
    """
    from scipy.spatial import cKDTree

    data, places = nodes[:n_data], nodes[n_data:]
    count, from_data = len(places), min(nearest_data, n_data)
    neighbours = np.zeros((count, from_data + nearest_places), dtype=int)
    held = np.zeros(neighbours.shape, dtype=bool)
    _, found = cKDTree(data).query(places, k=from_data)
    neighbours[:, :from_data] = np.asarray(found).reshape(count, from_data)
    held[:, :from_data] = True
    first = 1
    while first < count:
        last = min(2 * first, count)
        asked = min(3 * nearest_places, last)
        _, found = cKDTree(places[:last]).query(places[first:last], k=asked)
        found = np.asarray(found).reshape(last - first, asked)
        before = found < np.arange(first, last)[:, None]
        # A stable sort puts the earlier ones first and keeps them by distance.
        order = np.argsort(~before, axis=1, kind="stable")[:, :nearest_places]
        columns = slice(from_data, from_data + order.shape[1])
        neighbours[first:last, columns] = n_data + np.take_along_axis(found, order, axis=1)
        held[first:last, columns] = np.take_along_axis(before, order, axis=1)
        first = last
    return np.where(held, neighbours, 0), held


def _kriging_weights(
    nodes: FloatArray,
    n_data: int,
    neighbours: IntArray,
    held: BoolArray,
    model: CovarianceModel,
    at_once: int = 2000,
) -> tuple[FloatArray, FloatArray]:
    """Return simple kriging weights of the neighbours and the standard deviation left."""
    weights = np.zeros(neighbours.shape)
    noise_sd = np.empty(len(neighbours))
    for first in range(0, len(neighbours), at_once):
        block = slice(first, first + at_once)
        near, used = nodes[neighbours[block]], held[block]
        own = nodes[n_data + first : n_data + first + len(near), None, :]
        system = model.by_distance(
            model.range_m * np.linalg.norm(near[:, :, None, :] - near[:, None, :, :], axis=-1)
        )
        both = used[:, :, None] & used[:, None, :]
        system = np.where(both, system, 0.0)
        diagonal = np.arange(near.shape[1])
        own_variance = np.where(neighbours[block] < n_data, model.sill, model.partial_sill)
        system[:, diagonal, diagonal] = np.where(used & (own_variance > 0), own_variance, 1.0)
        apart_m = model.range_m * np.linalg.norm(near - own, axis=-1)
        right_side = np.where(used, model.by_distance(apart_m), 0.0)
        solved = np.linalg.solve(system, right_side[:, :, None])[:, :, 0]
        weights[block] = solved
        left = model.partial_sill - np.einsum("tn,tn->t", solved, right_side)
        noise_sd[block] = np.sqrt(np.maximum(left, 0.0))
    return weights, noise_sd
