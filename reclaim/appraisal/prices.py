"""The assumptions as the appraisal reads them: money in the site's currency and price year."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from reclaim.assumptions import Assumption, Draws

FloatArray = NDArray[np.floating[Any]]


@dataclass(frozen=True, slots=True)
class Prices:
    """Looks up assumptions; default money in EUR is turned into the site's currency and prices.

    Attributes
    ----------
    assumptions, draws
        The site's, and where their draws come from.
    part
        The draws looked at, all of them as a rule.
    instead
        Values that stand in for an assumption, already in the site's currency, for all draws.
    _drawn
        What has been drawn so far, by key.
    """

    assumptions: Mapping[str, Assumption]
    draws: Draws
    part: slice = field(default_factory=lambda: slice(None))
    instead: Mapping[str, FloatArray] = field(default_factory=dict)
    _drawn: dict[str, FloatArray] = field(default_factory=dict, repr=False, compare=False)

    def __getitem__(self, key: str) -> FloatArray:
        """Return the values of one assumption, shape ``(n_draws,)`` of the part looked at."""
        if key in self.instead:
            return self.instead[key][self.part]
        return self.remembered(key, lambda: self._values(key))

    def remembered(self, key: str, draw: Callable[[], FloatArray]) -> FloatArray:
        """Return values of the part looked at, drawn for all draws only the first time."""
        if key not in self._drawn:
            self._drawn[key] = draw()
        return self._drawn[key][self.part]

    def _values(self, key: str) -> FloatArray:
        assumption = self.assumptions[key]
        values = self.draws.of(assumption)
        if assumption.unit.startswith("EUR") and not assumption.given:
            return np.asarray(values * self.euros)
        return np.asarray(values)

    @property
    def euros(self) -> FloatArray:
        """Site money of the site's price year that one EUR of the defaults is, all draws."""
        everything = self.looking_at(slice(None))
        return np.asarray(everything["money.currency_per_eur"] * everything["money.price_index"])

    def looking_at(self, part: slice) -> Prices:
        """Return the same prices for some of the draws; what was drawn is not drawn again."""
        return replace(self, part=part)

    def with_values(self, values: Mapping[str, FloatArray]) -> Prices:
        """Return prices in which some assumptions have other values, for all draws."""
        return replace(self, instead={**self.instead, **values})
