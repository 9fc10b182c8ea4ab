"""The spread of one quantity, and which course of action comes out best how often."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.floating[Any]]

SHORTFALL_SHARE = 0.1
"""Expected shortfall is the mean of the worst tenth, beside P10."""


@dataclass(frozen=True, slots=True)
class Spread:
    """What the draws of one quantity say.

    Attributes
    ----------
    p10, p50, p90, mean
        Of the draws.
    chance_above_zero
        Share of the draws above zero [-].
    expected_shortfall
        Mean of the worst tenth of the draws.
    """

    p10: float
    p50: float
    p90: float
    mean: float
    chance_above_zero: float
    expected_shortfall: float


@dataclass(frozen=True, slots=True)
class CourseOdds:
    """How one course of action fares over the draws.

    Attributes
    ----------
    name
        The course.
    spread
        Of its net present value [currency].
    chance_best
        Share of the draws in which no other course is worth more [-]; ties are shared.
    """

    name: str
    spread: Spread
    chance_best: float


def spread_of(draws: FloatArray) -> Spread:
    """Return the spread of a quantity, shape ``(n_draws,)``.

    Notes
    -----
    Expected shortfall: Acerbi and Tasche (2002), Journal of Banking and Finance 26, 1487-1503,
    with the draw on the edge counted in part.
    """
    p10, p50, p90 = np.quantile(draws, [0.1, 0.5, 0.9])
    return Spread(
        float(p10),
        float(p50),
        float(p90),
        float(np.mean(draws)),
        float(np.mean(draws > 0)),
        expected_shortfall(draws, SHORTFALL_SHARE),
    )


def expected_shortfall(draws: FloatArray, share: float) -> float:
    """Return the mean of the lowest share of the draws."""
    ordered = np.sort(draws)
    weight = np.clip(share * ordered.size - np.arange(ordered.size), 0, 1)
    return float((ordered * weight).sum() / weight.sum())


def chance_best(worth: FloatArray) -> FloatArray:
    """Return how often each course is best, shape ``(n_courses,)``, from ``(n_draws, n_courses)``.

    Courses that tie in a draw share it.
    """
    best = worth == worth.max(axis=1, keepdims=True)
    return np.asarray((best / best.sum(axis=1, keepdims=True)).mean(axis=0))
