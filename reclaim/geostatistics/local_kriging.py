"""Ordinary kriging from the nearest data only, where data are too many for one system."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from reclaim.geostatistics.kriging import ordinary_kriging

if TYPE_CHECKING:
    from reclaim.geostatistics.covariance import CovarianceModel, FloatArray

_BLOCK_NUMBERS = 2_000_000  # numbers in the systems solved at once


def local_kriging(
    data_xy: FloatArray,
    values: FloatArray,
    targets_xy: FloatArray,
    model: CovarianceModel,
    *,
    nearest: int,
) -> tuple[FloatArray, FloatArray]:
    """Return estimates and kriging variance, each target from its nearest data.

    Parameters
    ----------
    data_xy, values, targets_xy, model
        As for `ordinary_kriging`; `values` has shape ``(n_data, n_quantities)``.
    nearest
        Data used for each target; near and far are measured in ranges of the model. With as
        many as there are data the answer is that of `ordinary_kriging`.

    Returns
    -------
    estimates, variance
        Shapes ``(n_targets, n_quantities)`` and ``(n_targets,)``.

    Raises
    ------
    ValueError
        Fewer than one datum asked for, or two data at one place.

    Notes
    -----
    Moving neighbourhood: Isaaks and Srivastava (1989), An Introduction to Applied Geostatistics,
    chapter 14. All targets' small systems are solved together.
    """
    from scipy.spatial import cKDTree

    if nearest < 1:
        raise ValueError("Kriging needs at least one datum for each target.")
    if nearest >= len(data_xy):
        return ordinary_kriging(data_xy, values, targets_xy, model)
    data = model.scaled(np.asarray(data_xy, dtype=float))
    tree = cKDTree(data)
    estimates = np.empty((len(targets_xy), values.shape[1]))
    variance = np.empty(len(targets_xy))
    size = max(1, _BLOCK_NUMBERS // (nearest + 1) ** 2)
    for first in range(0, len(targets_xy), size):
        block = slice(first, first + size)
        targets = model.scaled(np.asarray(targets_xy[block], dtype=float))
        distance, found = tree.query(targets, k=nearest)
        distance = np.asarray(distance).reshape(-1, nearest)
        found = np.asarray(found).reshape(-1, nearest)
        near = data[found]
        between = np.linalg.norm(near[:, :, None, :] - near[:, None, :, :], axis=-1)
        system = np.ones((len(targets), nearest + 1, nearest + 1))
        system[:, :-1, :-1] = model.by_distance(model.range_m * between)
        system[:, -1, -1] = 0.0
        right_side = np.ones((len(targets), nearest + 1, 1))
        right_side[:, :-1, 0] = model.by_distance(model.range_m * distance)
        try:
            solved = np.linalg.solve(system, right_side)
        except np.linalg.LinAlgError:
            raise ValueError("Two data are at one place; average them first.") from None
        estimates[block] = np.einsum("tn,tnq->tq", solved[:, :-1, 0], values[found])
        variance[block] = model.sill - np.einsum("tns,tns->t", solved, right_side)
    return estimates, np.maximum(variance, 0.0)
