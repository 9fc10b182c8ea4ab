"""How an unknown number is stated, what it is by default, and how it is drawn.

Comes in: a number or a distribution from the site file, a default from `reference`.
Goes out: `Assumption`, with a best estimate and draws of shape ``(n_draws,)``.
Does not do: any use of the numbers.
"""

from reclaim.assumptions.assumption import (
    Assumption,
    Kind,
    default_assumption,
    quantity_assumption,
    stated_assumption,
)
from reclaim.assumptions.correlations import Correlations, correlations_from
from reclaim.assumptions.draws import CHUNK, Draws, Sampling

__all__ = [
    "CHUNK",
    "Assumption",
    "Correlations",
    "Draws",
    "Kind",
    "Sampling",
    "correlations_from",
    "default_assumption",
    "quantity_assumption",
    "stated_assumption",
]
