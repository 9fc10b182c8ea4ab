"""What it would be worth to know more before choosing a course of action."""

from __future__ import annotations

from dataclasses import dataclass
from fnmatch import fnmatchcase
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from reclaim.uncertainty.hermite import Fit, sparse_fit

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

FloatArray = NDArray[np.floating[Any]]

_REPEATS = 100


@dataclass(frozen=True, slots=True)
class Worth:
    """Expected worth of knowing something [currency].

    Attributes
    ----------
    value, error
        And its standard error.
    changes_choice
        Share of what might be learnt that would change the choice [-].
    """

    value: float
    error: float
    changes_choice: float


def best_course(worth: FloatArray) -> int:
    """Return the course with the highest mean, from shape ``(n_draws, n_courses)``."""
    return int(worth.mean(axis=0).argmax())


def perfect_information(worth: FloatArray) -> Worth:
    """Return the expected value of perfect information.

    Parameters
    ----------
    worth
        Net present value of each course, shape ``(n_draws, n_courses)``.

    Notes
    -----
    Mean of the best course of each draw, less the best mean: Raiffa and Schlaifer (1961), Applied
    Statistical Decision Theory, ch. 4.
    """
    gain = worth.max(axis=1) - worth[:, best_course(worth)]
    return Worth(
        float(gain.mean()), float(gain.std() / np.sqrt(gain.size)), float(np.mean(gain > 0))
    )


class Learning:
    """What knowing some inputs better would be worth, by regression on their normal scores.

    Parameters
    ----------
    worth
        Net present value of each course, shape ``(n_draws, n_courses)``.
    scores
        Standard normal scores by input name, each ``(n_draws,)``.
    """

    def __init__(self, worth: FloatArray, scores: Mapping[str, FloatArray]) -> None:
        self._gains = worth - worth[:, [best_course(worth)]]
        self._scores = scores
        self._fits: dict[tuple[str, ...], tuple[Fit, ...]] = {}

    def perfect(self, patterns: Sequence[str]) -> Worth:
        """Return the expected value of perfect information on the inputs that fit a pattern."""
        return self.sample(dict.fromkeys(patterns, 1.0))

    def sample(self, known: Mapping[str, float]) -> Worth:
        """Return the expected value of data.

        Parameters
        ----------
        known
            By pattern of names, the share of the variance of those inputs that the data take
            away [-].
        """
        names, shares = [], []
        for name in self._scores:
            share = next((v for p, v in known.items() if fnmatchcase(name, p)), 0.0)
            if share > 0:
                names.append(name)
                shares.append(share)
        if not names or not np.any(self._gains > 0):  # worth no more than knowing everything
            return Worth(0.0, 0.0, 0.0)
        key = tuple(names)
        if key not in self._fits:
            scores = np.stack([self._scores[name] for name in names], axis=1)
            self._fits[key] = tuple(sparse_fit(scores, gain) for gain in self._gains.T)
        return _worth_of(self._fits[key], np.array(shares))


def _worth_of(fits: Sequence[Fit], known: FloatArray) -> Worth:
    """Return the worth of data; its error from the coefficients' covariance and the draws."""
    learnt = np.stack([fit.at(known) for fit in fits], axis=1)
    gain = np.maximum(learnt.max(axis=1), 0.0)
    generator = np.random.default_rng(0)
    repeats = np.zeros(_REPEATS)
    if any(fit.terms for fit in fits):
        other = [
            fit.values
            @ (
                generator.multivariate_normal(fit.weights, fit.covariance, _REPEATS, method="eigh")
                * fit.shrinkage(known)
            ).T
            + fit.constant
            for fit in fits
            if fit.terms
        ]
        repeats = np.maximum(np.max(other, axis=0), 0.0).mean(axis=0)
    error = np.hypot(repeats.std(), gain.std() / np.sqrt(gain.size))
    return Worth(float(gain.mean()), float(error), float(np.mean(gain > 0)))
