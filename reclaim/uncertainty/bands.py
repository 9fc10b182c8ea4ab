"""P10, P90 and friends of draws: the band that stands beside every headline."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.floating[Any]]


@dataclass(frozen=True, slots=True)
class Band:
    """A best estimate beside the spread of its draws.

    Attributes
    ----------
    value
        The best estimate (central values), not the median of the draws; it can lie outside the
        band where the model is skewed, and the report says so.
    low, high
        P10 and P90 of the draws; NaN where no draw has a value.
    unit
        Unit of all three.
    """

    value: float
    low: float
    high: float
    unit: str


def band(best: FloatArray, draws: FloatArray, unit: str) -> Band:
    """Return the band of one quantity.

    Parameters
    ----------
    best
        The best estimate, shape ``(1,)`` or a scalar.
    draws
        Shape ``(n_draws,)``; NaN draws (no such value, e.g. no payback) are left out.
    unit
        Unit of both.

    Notes
    -----
    Quantiles by linear interpolation of the order statistics (type 7 of Hyndman and Fan 1996,
    The American Statistician 50(4), 361-365).
    """
    value = float(np.asarray(best).reshape(-1)[0])
    finite = np.asarray(draws)[np.isfinite(draws)]
    if finite.size == 0:
        return Band(value, float("nan"), float("nan"), unit)
    low, high = np.quantile(finite, [0.1, 0.9])
    return Band(value, float(low), float(high), unit)


def chance_above(draws: FloatArray, threshold: float) -> float:
    """Return the share of draws above a threshold [-]; NaN draws count as not above it."""
    return float(np.mean(np.asarray(draws) > threshold))
