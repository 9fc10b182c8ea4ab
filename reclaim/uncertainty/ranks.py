"""Ranks of draws, and what can be made of them."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.floating[Any]]


def mean_ranks(values: FloatArray) -> FloatArray:
    """Return ranks from 1 on, shape ``(n_draws,)``; equal values share the mean of theirs."""
    _, place, counts = np.unique(values, return_inverse=True, return_counts=True)
    last = np.cumsum(counts)
    return np.asarray((last - (counts - 1) / 2)[place])


def rank_correlation(one: FloatArray, other: FloatArray) -> float:
    """Return the rank correlation of two quantities [-]; 0 where one of them is constant.

    Notes
    -----
    Spearman (1904), American Journal of Psychology 15, 72-101.
    """
    first, second = mean_ranks(one), mean_ranks(other)
    first, second = first - first.mean(), second - second.mean()
    scale = float(np.sqrt((first**2).sum() * (second**2).sum()))
    return 0.0 if scale == 0 else float((first * second).sum() / scale)


def normal_scores(values: FloatArray) -> FloatArray:
    """Return the normal scores of the ranks of a quantity, shape ``(n_draws,)``.

    Notes
    -----
    Ranks less one half, over n, as Hazen (1914) plotted them.
    """
    from scipy.special import ndtri

    return np.asarray(ndtri((mean_ranks(values) - 0.5) / values.size))
