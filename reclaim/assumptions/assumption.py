"""One uncertain number: how it was stated, its best estimate, and its quantiles."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from reclaim.reference import Default, Quantity, constant

Kind = Literal["fixed", "triangular", "normal", "lognormal"]
FloatArray = NDArray[np.float64]

_FORMS: dict[frozenset[str], Kind] = {
    frozenset({"low", "mode", "high"}): "triangular",
    frozenset({"mean", "sd"}): "normal",
    frozenset({"median", "gsd"}): "lognormal",
}
WHOLE = "number"
"""Unit of what can only be counted: a whole number, never a distribution."""
_FORMS_IN_WORDS = "a number, {low, mode, high}, {mean, sd} or {median, gsd}"


@dataclass(frozen=True, slots=True)
class Assumption:
    """A number that is not known exactly.

    Attributes
    ----------
    key
        Section and key of the site file, e.g. ``waste.moisture``.
    kind
        ``fixed`` (value), ``triangular`` (low, mode, high), ``normal`` (mean, standard
        deviation) or ``lognormal`` (median, geometric standard deviation).
    numbers
        The numbers of that kind, in the order just given.
    unit, source, status, label
        What the report shows beside it; `source` is a key of ``sources.csv`` or ``site file``.
    minimum, maximum
        Bounds that the distribution is cut to.
    given
        True where the user stated it.
    """

    key: str
    kind: Kind
    numbers: tuple[float, ...]
    unit: str
    label: str
    source: str
    status: str
    minimum: float
    maximum: float
    given: bool

    @property
    def central(self) -> float:
        """Best estimate: the value, mode, mean or median."""
        return self.numbers[1] if self.kind == "triangular" else self.numbers[0]

    def quantile(self, probability: FloatArray) -> FloatArray:
        """Return the value below which the number lies with each probability.

        Parameters
        ----------
        probability
            Probabilities in (0, 1), any shape.

        Notes
        -----
        Inverse distribution functions; normal and lognormal are truncated to the bounds, so no
        probability piles up on a bound. Johnson, Kotz and Balakrishnan (1994), Continuous
        Univariate Distributions, ch. 13 and 14 (normal, lognormal); triangular by integration.
        """
        if self.kind == "fixed":
            return np.full_like(probability, self.numbers[0])
        if self.kind == "triangular":
            low, mode, high = self.numbers
            if high == low:
                return np.full_like(probability, mode)
            split = (mode - low) / (high - low)
            rising = low + np.sqrt(probability * (high - low) * (mode - low))
            falling = high - np.sqrt((1 - probability) * (high - low) * (high - mode))
            return np.where(probability < split, rising, falling)
        return self._bell_quantile(probability)

    def _bell_quantile(self, probability: FloatArray) -> FloatArray:
        from scipy.special import ndtr, ndtri

        centre, spread = self.numbers
        lower, upper = self.minimum, self.maximum
        if self.kind == "lognormal":
            with np.errstate(divide="ignore"):
                centre, spread = float(np.log(centre)), float(np.log(spread))
                lower, upper = np.log(max(lower, 0.0)), np.log(max(upper, 0.0))
        if spread == 0:
            return np.full_like(probability, self.numbers[0])
        below, up_to = ndtr((lower - centre) / spread), ndtr((upper - centre) / spread)
        value = centre + spread * ndtri(below + probability * (up_to - below))
        return np.asarray(np.exp(value) if self.kind == "lognormal" else value)


def default_assumption(default: Default) -> Assumption:
    """Turn a reference row into an assumption: triangular, or fixed where it has no range."""
    quantity = default.quantity
    fixed = quantity.low == quantity.high
    return Assumption(
        key=default.key,
        kind="fixed" if fixed else "triangular",
        numbers=(quantity.mode,) if fixed else (quantity.low, quantity.mode, quantity.high),
        unit=quantity.unit,
        label=default.label,
        source=quantity.source,
        status=quantity.status,
        minimum=default.minimum,
        maximum=default.maximum,
        given=False,
    )


def stated_assumption(default: Default, stated: float | Mapping[str, Any]) -> Assumption:
    """Turn what the site file says into an assumption.

    Raises
    ------
    ValueError
        With one sentence naming the rule that is broken: an unknown form, numbers out of order,
        a negative spread, or a value outside the bounds of the quantity.
    """
    if isinstance(stated, Mapping):
        kind = _FORMS.get(frozenset(stated))
        if kind is None:
            raise ValueError(f"Expected {_FORMS_IN_WORDS}, got {{{', '.join(sorted(stated))}}}.")
        order = next(
            form
            for form in (("low", "mode", "high"), ("mean", "sd"), ("median", "gsd"))
            if set(form) == set(stated)
        )
        raw = [stated[name] for name in order]
    else:
        kind, raw = "fixed", [stated]
    if any(isinstance(value, bool) or not isinstance(value, int | float) for value in raw):
        raise ValueError(f"Expected {_FORMS_IN_WORDS}.")
    numbers = tuple(float(value) for value in raw)
    _refuse_nonsense(default, kind, numbers)
    return Assumption(
        key=default.key,
        kind=kind,
        numbers=numbers,
        unit=default.quantity.unit,
        label=default.label,
        source="site file",
        status="given",
        minimum=default.minimum,
        maximum=default.maximum,
        given=True,
    )


def _refuse_nonsense(default: Default, kind: Kind, numbers: tuple[float, ...]) -> None:
    if default.quantity.unit == WHOLE and (kind != "fixed" or numbers[0] % 1 != 0):
        raise ValueError("This must be one whole number; it takes no range and no distribution.")
    if not all(np.isfinite(numbers)):
        raise ValueError("The numbers must be finite.")
    if kind == "triangular" and not numbers[0] <= numbers[1] <= numbers[2]:
        raise ValueError(f"low <= mode <= high does not hold for {numbers}.")
    if kind == "normal" and numbers[1] < 0:
        raise ValueError("sd must not be negative.")
    if kind == "lognormal" and (numbers[0] <= 0 or numbers[1] < 1):
        raise ValueError("median must be positive and gsd at least 1.")
    stated_values = numbers if kind in ("fixed", "triangular") else numbers[:1]
    for value in stated_values:
        if not default.minimum <= value <= default.maximum:
            raise ValueError(
                f"{value:g} is outside what this quantity can be "
                f"({default.minimum:g} to {default.maximum:g} {default.quantity.unit})."
            )
    if kind == "normal" and numbers[1] > 0:
        outside = _normal_share_outside(numbers[0], numbers[1], default.minimum, default.maximum)
        if outside > constant("normal_outside_bounds"):
            raise ValueError(
                f"{outside:.0%} of this normal distribution lies outside what the quantity can be "
                f"({default.minimum:g} to {default.maximum:g} {default.quantity.unit}); "
                "use {low, mode, high} or {median, gsd}."
            )


def _normal_share_outside(mean: float, sd: float, minimum: float, maximum: float) -> float:
    from scipy.special import ndtr

    return float(ndtr((minimum - mean) / sd) + ndtr((mean - maximum) / sd))


@cache
def quantity_assumption(
    key: str, quantity: Quantity, minimum: float = 0.0, maximum: float = float("inf")
) -> Assumption:
    """Turn a reference number that is no site-file key (a material property) into an assumption."""
    return default_assumption(Default(key, key, quantity, minimum, maximum))
