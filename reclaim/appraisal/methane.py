"""Methane from what still rots: first-order decay from today on, year by year."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from reclaim.appraisal.quantities import DECAY_CLASSES
from reclaim.waste.decay import METHANE_PER_CARBON, decay_rates

if TYPE_CHECKING:
    from reclaim.appraisal.prices import Prices

FloatArray = NDArray[np.floating[Any]]


def class_rates(climate: str, price: Prices) -> FloatArray:
    """Return the decay rate of each class from today on [1/y], shape ``(n_draws, n_classes)``.

    Fines have a rate of their own (``carbon.fines_decay_rate``): their rotting matter is stated
    as it is today, so the table that ages waste does not age them, but they still rot.
    """
    everything = price.looking_at(slice(None))

    def draw() -> FloatArray:
        rates = decay_rates(climate, price.draws, everything["waste.decay_rate_factor"])
        rates["fines"] = everything["carbon.fines_decay_rate"]
        return np.stack([rates[name] for name in DECAY_CLASSES], axis=1)

    return price.remembered(f"decay rates, {climate}", draw)


def methane_generated(
    rotting_c_t: FloatArray, rate: FloatArray, n_years: int, correction: FloatArray | float = 1.0
) -> FloatArray:
    """Return the methane made in each year [t], shape ``(n_draws, n_years)``, year 0 first.

    Parameters
    ----------
    rotting_c_t
        Carbon that rots (DDOCm before the correction factor) at the start of year 1 [t], shape
        ``(n_draws, n_classes)``.
    rate
        Decay rate [1/y], same shape.
    n_years
        Years wanted; in year 0, the year of building, nothing is counted.
    correction
        Methane correction factor (MCF) [-], a number or ``(n_draws,)``.

    Notes
    -----
    IPCC (2006) Guidelines, Volume 5, equations 3.4 to 3.6: what rots in year T is the stock at
    its start times 1 - exp(-k); half of the gas is methane.
    """
    made = np.zeros((rotting_c_t.shape[0], n_years))
    years = np.arange(n_years - 1)
    for column in range(rotting_c_t.shape[1]):
        k = rate[:, column]
        first = rotting_c_t[:, column] * -np.expm1(-k)
        made[:, 1:] += first[:, None] * np.exp(-k[:, None] * years)
    return np.asarray(made * METHANE_PER_CARBON * np.reshape(correction, (-1, 1)))


def methane_emitted(
    generated_t: FloatArray, captured: FloatArray, oxidised: FloatArray
) -> FloatArray:
    """Return what reaches the air [t], same shape as `generated_t`.

    Parameters
    ----------
    generated_t
        ``(n_draws, n_years)``.
    captured, oxidised
        Shares [-] that broadcast to it; what is collected is taken off before oxidation.

    Notes
    -----
    IPCC (2006) Guidelines, Volume 5, equation 3.1.
    """
    return np.asarray(generated_t * (1 - captured) * (1 - oxidised))
