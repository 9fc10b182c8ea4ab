"""How many sorting samples a stated precision needs."""

from __future__ import annotations

import math


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
    """
    from scipy.special import ndtri, stdtrit

    if mean <= 0 or standard_deviation <= 0 or precision <= 0:
        raise ValueError("mean, standard_deviation and precision must be positive")
    upper = (1 + confidence) / 2

    def needed(t_value: float) -> int:
        return max(2, math.ceil((t_value * standard_deviation / (precision * mean)) ** 2))

    previous = needed(float(ndtri(upper)))
    while True:
        current = needed(float(stdtrit(previous - 1, upper)))
        if abs(current - previous) <= 0.10 * previous:
            return max(current, previous)
        previous = current
