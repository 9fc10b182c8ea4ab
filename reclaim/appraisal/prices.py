"""Money assumptions in the site's currency."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from collections.abc import Mapping

    from reclaim.assumptions import Assumption, Draws

FloatArray = NDArray[np.floating[Any]]

# Old metal prices rise and fall together, so they share one stream of probabilities.
_METAL_MARKET = "metal market"
_STREAMS = {
    "money.price_ferrous_per_t": _METAL_MARKET,
    "money.price_nonferrous_per_t": _METAL_MARKET,
}


@dataclass(frozen=True, slots=True)
class Prices:
    """Looks up assumptions; default money in EUR is turned into the site's currency."""

    assumptions: Mapping[str, Assumption]
    draws: Draws

    def __getitem__(self, key: str) -> FloatArray:
        """Return the values of one assumption, shape ``(n_draws,)``."""
        assumption = self.assumptions[key]
        values = self.draws.of(assumption, _STREAMS.get(key))
        if assumption.unit.startswith("EUR") and not assumption.given:
            return np.asarray(values * self.draws.of(self.assumptions["money.currency_per_eur"]))
        return values
