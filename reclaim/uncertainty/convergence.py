"""How many draws are enough: running P10, P50 and P90, each with its standard error."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.floating[Any]]

PROBABILITIES = (0.1, 0.5, 0.9)
_STEPS = 24
_FEWEST = 50


@dataclass(frozen=True, slots=True)
class Convergence:
    """Running quantiles of one quantity.

    Attributes
    ----------
    n_draws
        Numbers of draws after which the quantiles were taken, shape ``(n_steps,)``.
    quantiles, standard_error
        Of P10, P50 and P90, shape ``(n_steps, 3)``.
    precision
        The largest of the last three standard errors over the distance from P10 to P90 [-].
    asked
        Precision that was asked for, or None.
    """

    n_draws: NDArray[np.int_]
    quantiles: FloatArray
    standard_error: FloatArray
    precision: float
    asked: float | None

    @property
    def is_reached(self) -> bool:
        """True where no precision was asked for, or it was reached."""
        return self.asked is None or self.precision <= self.asked


def convergence(draws: FloatArray, asked: float | None = None) -> Convergence:
    """Return how the quantiles of a quantity settle as draws are added, shape ``(n_draws,)``."""
    fewest = min(_FEWEST, draws.size)
    steps = np.unique(np.geomspace(fewest, draws.size, _STEPS).astype(int))
    quantiles = np.array([np.quantile(draws[:n], PROBABILITIES) for n in steps])
    errors = np.array([quantile_errors(draws[:n]) for n in steps])
    return Convergence(steps, quantiles, errors, precision_of(draws), asked)


def precision_of(draws: FloatArray) -> float:
    """Return the largest standard error of P10, P50, P90 over P90 - P10 [-]; 0 without spread."""
    low, _, high = np.quantile(draws, PROBABILITIES)
    return 0.0 if high == low else float(quantile_errors(draws).max() / (high - low))


def quantile_errors(draws: FloatArray) -> FloatArray:
    """Return the standard errors of P10, P50 and P90, shape ``(3,)``.

    Notes
    -----
    Half the distance between the order statistics one binomial standard deviation below and
    above: David and Nagaraja (2003), Order Statistics, section 7.1. It is that of independent
    draws; stratified draws are a little better.
    """
    probability = np.array(PROBABILITIES)
    reach = np.sqrt(probability * (1 - probability) / draws.size)
    below, above = np.clip(probability - reach, 0, 1), np.clip(probability + reach, 0, 1)
    return np.asarray((np.quantile(draws, above) - np.quantile(draws, below)) / 2)
