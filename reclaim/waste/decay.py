"""What is left to rot: first-order decay since the years of tipping."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from reclaim.assumptions import Draws, quantity_assumption
from reclaim.reference import Quantity, materials, quantity_of, read_rows

FloatArray = NDArray[np.floating[Any]]

# Methane per tonne of carbon that rots [t/t]: half the gas is methane by volume, 16 t CH4 hold
# 12 t C. IPCC (2006) Guidelines, Volume 5, equation 3.3 with F = 0.5.
METHANE_PER_CARBON = 0.5 * 16 / 12


def decay_rates(climate: str, draws: Draws, factor: FloatArray) -> dict[str, FloatArray]:
    """Return the decay rate of each class in a climate [1/year], shape ``(n_draws,)``.

    Raises
    ------
    ValueError
        For a climate that the table does not have.
    """
    rows = [row for row in read_rows("decay_rates.csv") if row["climate"] == climate]
    if not rows:
        raise ValueError(f"No decay rates for the climate {climate!r}.")
    return {
        row["decay_class"]: factor
        * draws.of(quantity_assumption(f"decay rate {row['decay_class']}", quantity_of(row)))
        for row in rows
    }


def decaying_share(decay_class: str) -> Quantity:
    """Return the share of a class's degradable carbon that rots in the ground (DOCf) [-]."""
    return next(
        quantity_of(row)
        for row in read_rows("decay_shares.csv")
        if row["decay_class"] == decay_class
    )


def undecayed_share(
    rate: FloatArray, years_since_opened: FloatArray, years_since_closed: FloatArray
) -> FloatArray:
    """Return how much of the matter that rots is still there today.

    Parameters
    ----------
    rate
        Decay rate [1/year], any shape.
    years_since_opened, years_since_closed
        Age of the oldest and the youngest waste [years], same shape or scalar.

    Returns
    -------
    Mean of ``exp(-rate x age)`` over even tipping between the two years [-].

    Notes
    -----
    IPCC (2006) Guidelines, Volume 5, equations 3.4 and 3.5, integrated over even tipping.
    """
    span = np.asarray(rate * (years_since_opened - years_since_closed), dtype=float)
    youngest = np.exp(-rate * years_since_closed)
    ratio = np.divide(-np.expm1(-span), span, out=np.ones_like(span), where=span > 1e-12)
    return np.asarray(youngest * ratio)


def methane_potential_left(dry_t: FloatArray, decaying_carbon: FloatArray) -> FloatArray:
    """Return the methane that the waste can still give [t], shape ``(n_draws,)``.

    Parameters
    ----------
    dry_t
        Dry mass by material [t], shape ``(n_draws, n_materials)``.
    decaying_carbon
        Carbon that still rots, of dry mass [-], shape ``(n_draws, n_materials)``.

    Notes
    -----
    IPCC (2006) Guidelines, Volume 5, equation 3.3.
    """
    return np.asarray((dry_t * decaying_carbon).sum(axis=1) * METHANE_PER_CARBON)


def decay_class_of_materials() -> tuple[str, ...]:
    """Return each material's decay class, empty for what does not rot."""
    return tuple(material.decay_class for material in materials())
