"""How sure are we?

Comes in: the best estimate and the draws of any quantity.
Goes out: `Band`, the value with its P10 and P90, and the chance of passing a threshold.
Does not do: the draws themselves, or any model; it knows nothing of waste.
"""

from reclaim.uncertainty.bands import Band, band, chance_above

__all__ = ["Band", "band", "chance_above"]
