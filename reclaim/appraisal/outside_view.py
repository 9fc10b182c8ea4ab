"""The outside view: published ranges and cases, and a conservative reading beside the base one.

Most published cases lose money, and forecasts have missed by half (volume) or changed sign (space
at the gate fee, scrap at the clean price). This room holds the estimate against them.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import nan
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from reclaim.appraisal.appraise import appraise_quantities
from reclaim.reference import constant, read_rows

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping

    from reclaim.appraisal.appraisal import Appraisal
    from reclaim.appraisal.prices import Prices
    from reclaim.appraisal.quantities import Quantities
    from reclaim.assumptions import Assumption

FloatArray = NDArray[np.floating[Any]]

RECYCLABLES = ("ferrous", "nonferrous", "glass", "aggregate")


@dataclass(frozen=True, slots=True)
class OutsideFlag:
    """A number of this estimate that lies outside what has been published.

    Attributes
    ----------
    key, label
        Assumption or outcome.
    value
        Of the best estimate.
    low, high
        Published range, in the site's money where it is money.
    unit
        Of all three.
    source, status, note
        Of the range; `source` is a key of ``sources.csv``.
    """

    key: str
    label: str
    value: float
    low: float
    high: float
    unit: str
    source: str
    status: str
    note: str


@dataclass(frozen=True, slots=True)
class PublishedCase:
    """A published case, or this estimate among them; NaN where a number is not known.

    Attributes
    ----------
    name, place
        Key and words.
    year
        Of the money.
    cost_per_m3
        All payments per m3 dug, in the site's money and price year [currency/m3].
    soil_share
        Soil-like fines in what was dug [-].
    airspace_share
        Space reclaimed of space opened [-].
    npv_per_t
        Net present value per tonne dug [currency/t].
    source, status, note
        `source` is a key of ``sources.csv``.
    """

    name: str
    place: str
    year: int
    cost_per_m3: float
    soil_share: float
    airspace_share: float
    npv_per_t: float
    source: str
    status: str
    note: str


@dataclass(frozen=True, slots=True)
class Reading:
    """The value of mining under one more cautious step; each step keeps those before it.

    Attributes
    ----------
    name, label
        Key and words.
    npv
        Net present value [currency], shape ``(n_draws,)``.
    """

    name: str
    label: str
    npv: FloatArray


@dataclass(frozen=True, slots=True)
class OutsideView:
    """What the estimate looks like from outside.

    Attributes
    ----------
    flags
        Numbers outside published ranges.
    checked
        How many numbers were held against a range.
    own
        This estimate as a case.
    cases
        Published cases.
    """

    flags: tuple[OutsideFlag, ...]
    checked: int
    own: PublishedCase
    cases: tuple[PublishedCase, ...]


def conservative_readings(
    quantities: Quantities,
    price: Prices,
    closed_months: Collection[int] = (),
    discount_convention: str = "constant",
) -> tuple[Reading, ...]:
    """Return the base reading and what is left of it step by step.

    No income from recyclables; space at what a new cell would cost, where that is less; and half
    as much again in the ground, as happened in one published case.
    """
    everything = slice(None)
    all_draws = price.looking_at(everything)
    clean = {
        f"money.price_{name}_per_t": np.minimum(all_draws[f"money.price_{name}_per_t"], 0.0)
        for name in RECYCLABLES
    }
    space = np.minimum(
        all_draws["airspace.value_per_m3"], all_draws["airspace.new_cell_cost_per_m3"]
    )
    no_sales = price.with_values(clean)
    plain_space = no_sales.with_values({"airspace.value_per_m3": space})
    overrun = 1 + constant("volume_overrun_share")
    steps = (
        ("base", "As estimated", quantities, price),
        ("no_recyclables", "No income from metals, glass and aggregate", quantities, no_sales),
        ("space_at_cost", "Space at the cost of a new cell", quantities, plain_space),
        ("overrun", f"{overrun - 1:.0%} more in the ground", _larger(quantities, overrun),
         plain_space),
    )  # fmt: skip
    return tuple(
        Reading(
            name,
            label,
            appraise_quantities(amounts, prices, closed_months, discount_convention).npv,
        )
        for name, label, amounts, prices in steps
    )


def _larger(quantities: Quantities, factor: float) -> Quantities:
    """Return a dig with more in the same plan area."""
    return replace(quantities.times(factor), area_m2=quantities.area_m2)


def answer_survives(readings: tuple[Reading, ...]) -> bool:
    """Return whether the best estimate's answer, pays or does not pay, holds in every reading."""
    return len({bool(reading.npv[0] > 0) for reading in readings}) == 1


def outside_view(
    quantities: Quantities,
    appraisal: Appraisal,
    assumptions: Mapping[str, Assumption],
    price: Prices,
) -> OutsideView:
    """Hold the best estimate against published ranges and cases.

    Parameters
    ----------
    quantities, appraisal
        Of the best estimate.
    assumptions
        The site's.
    price
        Of the best estimate.
    """
    own = _own_case(quantities, appraisal)
    outcomes = _outcomes(quantities, appraisal, own)
    euros = float(price.euros[0])
    flags, checked = [], 0
    for row in read_rows("published_ranges.csv"):
        key = row["key"]
        if key in outcomes:
            value, unit = outcomes[key], row["unit"]
        elif key in assumptions:
            value, unit = float(price[key][0]), assumptions[key].unit
        else:
            continue
        checked += 1
        scale = euros * _to_default_prices(row["price_year"]) if row["currency"] else 1.0
        low, high = scale * float(row["low"]), scale * float(row["high"])
        if not low - 1e-9 <= value <= high + 1e-9:
            flags.append(
                OutsideFlag(key, row["label"], value, low, high, unit, row["source"],
                            row["status"], row["note"])
            )  # fmt: skip
    return OutsideView(tuple(flags), checked, own, published_cases(euros))


def _to_default_prices(year: str) -> float:
    """Return what turns euros of a year into those of the money defaults [-]."""
    index = {row["year"]: float(row["index"]) for row in read_rows("price_index.csv")}
    return index[f"{constant('money_price_year'):.0f}"] / index[year]


def published_cases(euros: float) -> tuple[PublishedCase, ...]:
    """Return the published cases, their money turned into the site's.

    Parameters
    ----------
    euros
        Site money of the site's price year that one EUR of the defaults is.

    Notes
    -----
    Money of a case over the exchange rate of its year, times the euro price index of the
    defaults' year over that of its year (``exchange_rates.csv``, from memory and rough). A case
    whose rate is not known shows no money.
    """
    rates = {(row["currency"], row["year"]): row for row in read_rows("exchange_rates.csv")}
    index = {row["year"]: float(row["index"]) for row in read_rows("price_index.csv")}
    today = index[f"{constant('money_price_year'):.0f}"]
    cases = []
    for row in read_rows("published_cases.csv"):
        rate = rates.get((row["currency"], row["year"]))
        scale = (
            euros / float(rate["per_eur"]) * today / float(rate["eur_price_index_2015_100"])
            if rate
            else nan
        )

        def number(name: str, factor: float, row: dict[str, str] = row) -> float:
            return factor * float(row[name]) if row[name] else nan

        cases.append(
            PublishedCase(
                row["case"],
                row["place"],
                int(row["year"]),
                number("cost_per_m3", scale),
                number("soil_share", 1.0),
                number("airspace_share", 1.0),
                number("npv_per_t", scale),
                row["source"],
                row["status"],
                row["note"],
            )
        )
    return tuple(cases)


def _own_case(quantities: Quantities, appraisal: Appraisal) -> PublishedCase:
    space = appraisal.airspace
    return PublishedCase(
        name="this_estimate",
        place="This estimate",
        year=0,
        cost_per_m3=float(appraisal.cost[0] / quantities.dug_m3[0]),
        soil_share=float(quantities.product("soil")[0] / quantities.waste_t[0]),
        airspace_share=float(space.reclaimed_m3[0] / space.opened_m3[0]),
        npv_per_t=float(appraisal.npv[0] / quantities.waste_t[0]),
        source="judgement",
        status="judgement",
        note="best estimate",
    )


def _outcomes(quantities: Quantities, appraisal: Appraisal, own: PublishedCase) -> dict[str, float]:
    waste = float(quantities.waste_t[0])

    def share(name: str) -> float:
        return float(quantities.product(name)[0]) / waste

    metal = sum(
        float(item.flow[0].sum())
        for item in appraisal.items
        if item.name in ("ferrous", "nonferrous")
    )
    return {
        "outcome.soil_share": own.soil_share,
        "outcome.fuel_share": share("fuel"),
        "outcome.ferrous_share": share("ferrous"),
        "outcome.nonferrous_share": share("nonferrous"),
        "outcome.metal_income_per_t": metal / waste,
        "outcome.airspace_share": own.airspace_share,
        "outcome.npv_per_t": own.npv_per_t,
        "outcome.cost_per_m3": own.cost_per_m3,
    }
