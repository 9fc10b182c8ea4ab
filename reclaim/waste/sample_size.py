"""How many samples or cores a stated precision needs, and how precise those at hand are."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from collections.abc import Callable

FloatArray = NDArray[np.floating[Any]]


def samples_needed(
    mean: float, standard_deviation: float, precision: float, confidence: float = 0.90
) -> int:
    """Return the number of sorting samples for one material.

    Parameters
    ----------
    mean, standard_deviation
        Of the material's mass fraction between samples [-].
    precision
        Wanted half-width of the interval, relative to the mean [-].
    confidence
        Two-sided confidence level [-].

    Raises
    ------
    ValueError
        Unless mean, standard deviation and precision are positive.

    Examples
    --------
    >>> samples_needed(0.14, 0.06, 0.10)
    52

    Notes
    -----
    ASTM D5231-92, n = (t s / (e x))^2. The standard takes t for n = infinity first, then repeats
    with t for the n found; where two results differ by at most 10 per cent the larger is taken.
    For very few samples the steps can go round in a circle; the smallest number that its own t
    does not ask more of is taken then.
    """
    from scipy.special import ndtri, stdtrit

    if mean <= 0 or standard_deviation <= 0 or precision <= 0:
        raise ValueError("mean, standard_deviation and precision must be positive")
    upper = (1 + confidence) / 2

    def needed(t_value: float) -> int:
        return max(2, math.ceil((t_value * standard_deviation / (precision * mean)) ** 2))

    previous = needed(float(ndtri(upper)))
    met = {previous}
    while True:
        current = needed(float(stdtrit(previous - 1, upper)))
        if abs(current - previous) <= 0.10 * previous:
            return max(current, previous)
        if current in met:
            return _smallest_enough(needed, upper)
        met.add(current)
        previous = current


def _smallest_enough(needed: Callable[[float], int], upper: float) -> int:
    """Return the smallest number that its own t asks for, where the standard's steps go round."""
    from scipy.special import stdtrit

    count = 2
    while needed(float(stdtrit(count - 1, upper))) > count:
        count += 1
    return count


@dataclass(frozen=True, slots=True)
class VarianceParts:
    """Where the spread of samples comes from.

    Attributes
    ----------
    between
        Variance between the means of whole cores, shape ``(n_columns,)``.
    within
        Variance between samples of one core, shape ``(n_columns,)``; NaN where no core has two.
    samples_per_core
        Typical number of samples in a core.
    """

    between: FloatArray
    within: FloatArray
    samples_per_core: float

    def of_core_mean(self, samples_per_core: float | None = None) -> FloatArray:
        """Return the variance of one core's mean, shape ``(n_columns,)``."""
        count = self.samples_per_core if samples_per_core is None else samples_per_core
        within = np.where(np.isfinite(self.within), self.within, 0.0)
        return np.asarray(self.between + within / count)


def variance_parts(values: FloatArray, core: NDArray[np.int_]) -> VarianceParts:
    """Split the variance of samples into that between cores and that within cores.

    Parameters
    ----------
    values
        One row per sample, shape ``(n_samples, n_columns)``.
    core
        Number of each sample's core, shape ``(n_samples,)``.

    Raises
    ------
    ValueError
        With fewer than two cores.

    Notes
    -----
    One-way random effects by the analysis of variance, unequal numbers allowed: Searle, Casella
    and McCulloch (1992), Variance Components, section 3.6. A negative part is set to zero. Where
    every core has one sample, all variance counts as between cores.
    """
    _, member = np.unique(core, return_inverse=True)
    sizes = np.bincount(member)
    cores, samples = len(sizes), len(values)
    if cores < 2:
        raise ValueError("Spread between cores needs at least two cores.")
    means = np.stack([np.bincount(member, column) / sizes for column in values.T], axis=1)
    between_ms = (sizes[:, None] * (means - values.mean(axis=0)) ** 2).sum(axis=0) / (cores - 1)
    typical = (samples - (sizes**2).sum() / samples) / (cores - 1)
    if samples == cores:
        return VarianceParts(between_ms, np.full(values.shape[1], np.nan), 1.0)
    within = ((values - means[member]) ** 2).sum(axis=0) / (samples - cores)
    between = np.maximum((between_ms - within) / typical, 0.0)
    return VarianceParts(between, within, float(typical))


def precision_reached(
    mean: float, standard_deviation: float, count: int, confidence: float = 0.90
) -> float:
    """Return the half-width of the interval of a mean, relative to it [-].

    `standard_deviation` is that of one sample or, for cores, of one core's mean. NaN for fewer
    than two, or where the mean is zero.

    Notes
    -----
    The form of ASTM D5231-92 turned round: e = t s / (x sqrt(n)), t with n - 1 degrees of freedom.
    """
    from scipy.special import stdtrit

    if count < 2 or mean <= 0:
        return float("nan")
    t_value = float(stdtrit(count - 1, (1 + confidence) / 2))
    return t_value * standard_deviation / (mean * math.sqrt(count))
