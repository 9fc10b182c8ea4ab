"""The stage gate: go on to the next study, stop, or which data first."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
from numpy.typing import NDArray

from reclaim.appraisal.outside_view import Reading, answer_survives
from reclaim.reference import constant, read_rows

if TYPE_CHECKING:
    from collections.abc import Mapping

    from reclaim.appraisal.prices import Prices
    from reclaim.assumptions import Assumption

FloatArray = NDArray[np.floating[Any]]
Verdict = Literal["go", "no go", "data first"]

_RANGE = np.array([0.01, 0.99])


@dataclass(frozen=True, slots=True)
class DataNeed:
    """An input that alone could turn the answer, inside the range stated for it.

    Attributes
    ----------
    key, label, unit
        Of the assumption; money in the site's currency.
    assumed, breakeven
        Central value, and the value at which the best estimate is worth nothing.
    low, high
        Range in which it lies, 1 to 99 per cent.
    """

    key: str
    label: str
    unit: str
    assumed: float
    breakeven: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class StageGate:
    """Whether to go on.

    Attributes
    ----------
    verdict
        ``go`` (to the next study, never to the works), ``no go`` (on money alone), or
        ``data first``.
    chance
        Share of the draws that are worth more than nothing [-].
    survives
        True where the answer holds in the conservative readings too.
    data_first
        Inputs that alone could turn the answer, the nearest to doing so first.
    """

    verdict: Verdict
    chance: float
    survives: bool
    data_first: tuple[DataNeed, ...]


def stage_gate(
    npv: FloatArray,
    readings: tuple[Reading, ...],
    breakeven: Mapping[str, float],
    assumptions: Mapping[str, Assumption],
    price: Prices,
) -> StageGate:
    """Return the verdict on one estimate.

    Parameters
    ----------
    npv
        Of all draws [currency].
    readings
        Conservative readings of the best estimate.
    breakeven
        By input, see `appraise`.
    assumptions
        The site's.
    price
        Of the best estimate.

    Notes
    -----
    Judgement, in ``constants.csv``: go where the chance is likely (two in three) or better and
    the conservative reading pays too; no go where it is very unlikely (one in ten) and no input
    alone could turn it; else data first.
    """
    chance = float(np.mean(npv > 0))
    survives = answer_survives(readings)
    needs = _needs(breakeven, assumptions, price)
    verdict: Verdict = "data first"
    if chance >= constant("gate_go_chance") and readings[-1].npv[0] > 0:
        verdict = "go"
    elif chance < constant("gate_stop_chance") and not needs:
        verdict = "no go"
    return StageGate(verdict, chance, survives, needs)


def _needs(
    breakeven: Mapping[str, float], assumptions: Mapping[str, Assumption], price: Prices
) -> tuple[DataNeed, ...]:
    found = []
    for key, value in breakeven.items():
        assumption = assumptions[key]
        euros = assumption.unit.startswith("EUR") and not assumption.given
        scale = float(price.euros[0]) if euros else 1.0
        low, high = (scale * float(bound) for bound in assumption.quantile(_RANGE))
        if low < value < high:
            assumed = scale * assumption.central
            found.append(
                DataNeed(key, assumption.label, assumption.unit, assumed, value, low, high)
            )
    return tuple(
        sorted(found, key=lambda need: abs(need.breakeven - need.assumed) / (need.high - need.low))
    )


@dataclass(frozen=True, slots=True)
class CostClass:
    """A class of a published cost-estimate classification.

    Attributes
    ----------
    name, purpose
        Its name, and what such estimates are for.
    low_from, low_to, high_from, high_to
        Typical accuracy of the total [-]: how far below and above it the cost may come out.
    source, status
        `source` is a key of ``sources.csv``.
    """

    name: str
    purpose: str
    low_from: float
    low_to: float
    high_from: float
    high_to: float
    source: str
    status: str


def cost_class() -> CostClass:
    """Return the class of every estimate made here: the roughest, since nothing is designed yet."""
    row = read_rows("cost_classes.csv")[0]
    return CostClass(
        row["name"],
        row["purpose"],
        float(row["low_from"]),
        float(row["low_to"]),
        float(row["high_from"]),
        float(row["high_to"]),
        row["source"],
        row["status"],
    )
