"""Which investigation is worth its price: what each would tell, its cost, and the difference."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from reclaim.reference import read_rows

if TYPE_CHECKING:
    from collections.abc import Mapping

    from reclaim.assumptions import Assumption
    from reclaim.uncertainty.worth_of_knowing import Learning, Worth


@dataclass(frozen=True, slots=True)
class KnownNow:
    """What an investigation would add to.

    Attributes
    ----------
    cores, density_cores
        Number of cores, and of those with a measured density.
    survey_sd_m, base_sd_m
        Standard deviations of today's surfaces [m].
    money_per_eur
        Site money of the site's price year that one EUR of the default costs is.
    """

    cores: int
    density_cores: int
    survey_sd_m: float
    base_sd_m: float
    money_per_eur: float


@dataclass(frozen=True, slots=True)
class Plan:
    """An investigation before its worth is known.

    Attributes
    ----------
    key, label
        For files, and in words with its number.
    informs
        Patterns of the inputs it tells about.
    known
        Share of their variance that it takes away [-].
    cost
        [currency].
    """

    key: str
    label: str
    informs: tuple[str, ...]
    known: float
    cost: float


@dataclass(frozen=True, slots=True)
class Investigation:
    """An investigation with its expected worth.

    Attributes
    ----------
    key, label
        For files, and in words with its number.
    cost
        [currency].
    worth
        Expected worth of what it tells [currency], and how often it would change the choice.
    known
        Share of the variance of what it measures that it takes away [-].
    """

    key: str
    label: str
    cost: float
    worth: Worth
    known: float

    @property
    def net(self) -> float:
        """Expected worth less cost [currency]."""
        return self.worth.value - self.cost


def plans(assumptions: Mapping[str, Assumption], now: KnownNow) -> tuple[Plan, ...]:
    """Return the investigations that the site file asks to compare; a number of 0 leaves one out.

    Notes
    -----
    What is known beforehand counts as ``n0`` samples; ``m`` more take ``m / (m + n0)`` of the
    variance away (a normal quantity with known scatter: Raiffa and Schlaifer 1961, ch. 11). For a
    survey, sample size is one over its error variance.
    """
    found = []
    for row in read_rows("investigations.csv"):
        number = _central(assumptions, row["number"]) if row["number"] else 1.0
        if number <= 0:
            continue
        cost = sum(
            (number if key == row["unit_cost"] else 1.0) * _money(assumptions, key, now)
            for key in (row["unit_cost"], row["fixed_cost"])
            if key
        )
        found.append(
            Plan(
                row["key"],
                row["words"].format(number=f"{number:.0f}"),
                tuple(row["informs"].split("|")),
                _known_share(row["key"], row["known"], number, assumptions, now),
                cost,
            )
        )
    return tuple(found)


def ranked(plans: tuple[Plan, ...], learning: Learning) -> tuple[Investigation, ...]:
    """Return the investigations with their worth, the highest net first."""
    found = [
        Investigation(
            plan.key,
            plan.label,
            plan.cost,
            learning.sample(dict.fromkeys(plan.informs, plan.known)),
            plan.known,
        )
        for plan in plans
    ]
    return tuple(sorted(found, key=lambda item: -item.net))


def _known_share(
    key: str, known_key: str, number: float, assumptions: Mapping[str, Assumption], now: KnownNow
) -> float:
    if key == "base_survey":
        after = _central(assumptions, "base_survey_sd_m")
        both = now.base_sd_m**2 + now.survey_sd_m**2
        of_base = now.base_sd_m**2 / both if both > 0 else 0.0
        return of_base * now.base_sd_m**2 / (now.base_sd_m**2 + after**2)
    if key == "cores" and now.cores:
        before = float(now.cores)
    elif key == "density_pits" and now.density_cores:
        before = float(now.density_cores)
    else:
        before = _central(assumptions, known_key)
    return number / (number + before)


def _central(assumptions: Mapping[str, Assumption], name: str) -> float:
    return assumptions[f"investigations.{name}"].central


def _money(assumptions: Mapping[str, Assumption], name: str, now: KnownNow) -> float:
    assumption = assumptions[f"investigations.{name}"]
    return assumption.central * (1.0 if assumption.given else now.money_per_eur)
