"""Which uncertain numbers rise and fall together, and how strongly."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.floating[Any]]
Pairs = Mapping[tuple[str, str], float]

_SMALLEST_EIGENVALUE = 1e-9


@dataclass(frozen=True, slots=True)
class Correlations:
    """Rank correlations between named streams of draws.

    Attributes
    ----------
    pairs
        Rank (Spearman) correlation of each pair that was stated.
    mix
        How each correlated stream is made: weights on the independent normal scores of itself and
        of others.
    """

    pairs: Pairs = field(default_factory=dict)
    mix: Mapping[str, Mapping[str, float]] = field(default_factory=dict)

    def groups(self) -> tuple[frozenset[str], ...]:
        """Return the sets of names that hang together."""
        sets: list[set[str]] = []
        for pair in self.pairs:
            touching = [part for part in sets if part & set(pair)]
            sets = [part for part in sets if part not in touching]
            sets.append(set(pair).union(*touching))
        return tuple(frozenset(part) for part in sets)


def correlations_from(pairs: Pairs) -> Correlations:
    """Turn stated pairs into a way to draw them.

    Parameters
    ----------
    pairs
        Rank correlation in [-1, 1] by pair of names; pairs not stated are 0.

    Raises
    ------
    ValueError
        With one sentence: a correlation outside -1 to 1, of a name with itself, stated twice, or
        correlations that no three or more numbers can have among each other.

    Notes
    -----
    Gaussian copula: a rank correlation ``r`` is a correlation of normal scores of
    ``2 sin(pi r / 6)`` (Pearson 1907, as in Kruskal 1958, Journal of the American Statistical
    Association 53, 814-861). The scores are mixed by the Cholesky factor of their matrix, and only
    the order of the draws is taken from them: Iman and Conover (1982), Communications in
    Statistics B11, 311-334. So each number keeps its own distribution and its strata.
    """
    for (one, other), rank in pairs.items():
        if one == other:
            raise ValueError(f"{one} is paired with itself.")
        if (other, one) in pairs:
            raise ValueError(f"The pair {one} and {other} is given twice.")
        if not -1 <= rank <= 1:
            raise ValueError(f"The rank correlation of {one} and {other} is {rank:g}, not -1 to 1.")
    correlations = Correlations(dict(pairs))
    mix: dict[str, Mapping[str, float]] = {}
    for group in correlations.groups():
        names = sorted(group)
        weights = _cholesky(names, pairs)
        for row, name in enumerate(names):
            mix[name] = {
                other: float(weight)
                for other, weight in zip(names, weights[row], strict=True)
                if weight != 0
            }
    return Correlations(dict(pairs), mix)


def _cholesky(names: list[str], pairs: Pairs) -> FloatArray:
    matrix = np.eye(len(names))
    for (one, other), rank in pairs.items():
        if one in names:
            i, j = names.index(one), names.index(other)
            matrix[i, j] = matrix[j, i] = 2 * np.sin(np.pi * rank / 6)
    if np.linalg.eigvalsh(matrix)[0] < -_SMALLEST_EIGENVALUE:
        raise ValueError(
            f"The correlations of {', '.join(names)} cannot all hold at once "
            "(their matrix is not positive definite)."
        )
    size, direction = np.linalg.eigh(matrix)
    root = direction * np.sqrt(np.maximum(size, 0))
    return np.asarray(np.linalg.qr(root.T)[1].T)
