"""Compositions by their ratios: for shape, distance and simulation, never for tonnage.

Shares add to one, so they cannot vary freely. Logarithms of their ratios can. A mean of log-ratios
is a geometric centre: it describes a typical core, and is biased for the mass of all of them.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from reclaim.reference import constant

FloatArray = NDArray[np.floating[Any]]


def closed(parts: FloatArray) -> FloatArray:
    """Return parts scaled to add to 1 along the last axis."""
    return np.asarray(parts / parts.sum(axis=-1, keepdims=True))


def without_zeros(fractions: FloatArray) -> FloatArray:
    """Return compositions whose zeros are replaced by a small share, the others scaled down.

    Parameters
    ----------
    fractions
        Shape ``(n, n_parts)``, each row adds to 1, each part found in at least one row.

    Raises
    ------
    ValueError
        Where a part is zero in every row: leave it out first.

    Notes
    -----
    Multiplicative replacement, which keeps the ratios of the parts that were found:
    Martin-Fernandez, Barcelo-Vidal and Pawlowsky-Glahn (2003), Mathematical Geology 35, 253-278.
    A zero of sorting is a share too small to be met, so 0.65 of the smallest share met of that
    part stands in for it.
    """
    smallest = np.where(fractions > 0, fractions, np.inf).min(axis=0)
    if not np.isfinite(smallest).all():
        raise ValueError("A part that is nowhere found has no ratio to the others.")
    stand_in = np.where(fractions > 0, 0.0, constant("zero_replacement_share") * smallest)
    return np.asarray(
        np.where(fractions > 0, fractions * (1 - stand_in.sum(axis=1, keepdims=True)), stand_in)
    )


def clr(fractions: FloatArray) -> FloatArray:
    """Return centred log-ratios, same shape: the logarithm of each part over the geometric mean.

    Notes
    -----
    Aitchison (1986), The Statistical Analysis of Compositional Data, section 4.6.
    """
    logs = np.log(fractions)
    return np.asarray(logs - logs.mean(axis=-1, keepdims=True))


def ilr(fractions: FloatArray) -> FloatArray:
    """Return isometric log-ratios, one fewer than there are parts.

    Notes
    -----
    Pivot basis, sqrt(i / (i + 1)) x (mean of the first i logarithms - the next): Egozcue et al.
    (2003), Mathematical Geology 35, 279-300.
    """
    return np.asarray(np.log(fractions) @ _basis(fractions.shape[-1]))


def ilr_inverse(coordinates: FloatArray) -> FloatArray:
    """Return the compositions of isometric log-ratios; the inverse of `ilr`."""
    logs = coordinates @ _basis(coordinates.shape[-1] + 1).T
    return closed(np.exp(logs - logs.max(axis=-1, keepdims=True)))


def aitchison_distance(first: FloatArray, second: FloatArray) -> FloatArray:
    """Return the distance between compositions along the last axis, free of units and closure.

    Notes
    -----
    Aitchison et al. (2000), Mathematical Geology 32, 271-275.
    """
    return np.asarray(np.linalg.norm(clr(first) - clr(second), axis=-1))


def log_ratio_centre(fractions: FloatArray, weights: FloatArray | None = None) -> FloatArray:
    """Return the geometric centre of compositions: what a typical core looks like.

    Parameters
    ----------
    fractions
        Shape ``(n, n_parts)``; zeros are replaced, parts nowhere found stay zero.
    weights
        Shape ``(n,)``; equal where not given.
    """
    found = fractions.max(axis=0) > 0
    centre = np.zeros(fractions.shape[1])
    logs = np.log(without_zeros(closed(fractions[:, found])))
    centre[found] = closed(np.exp(np.average(logs, axis=0, weights=weights)))
    return centre


def total_variance(fractions: FloatArray) -> float:
    """Return the sum of the variances of the log-ratios, one number for the spread of all parts.

    Zeros are replaced and parts nowhere found left out; 0 for one composition.
    """
    if len(fractions) < 2:
        return 0.0
    found = fractions.max(axis=0) > 0
    return float(clr(without_zeros(closed(fractions[:, found]))).var(axis=0, ddof=1).sum())


def _basis(parts: int) -> FloatArray:
    """Orthonormal contrasts, shape ``(parts, parts - 1)``; each column adds to 0."""
    basis = np.zeros((parts, parts - 1))
    for column in range(parts - 1):
        count = column + 1
        scale = np.sqrt(count / (count + 1))
        basis[:count, column] = scale / count
        basis[count, column] = -scale
    return basis
