"""Money by year: building in year 0, then digging, then filling the space won."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from reclaim.appraisal.appraisal import Airspace, CashItem

if TYPE_CHECKING:
    from collections.abc import Sequence

    from reclaim.appraisal.airspace import Returned
    from reclaim.appraisal.prices import Prices
    from reclaim.ground import DugVolumes
    from reclaim.plant import Products
    from reclaim.waste import Feed

FloatArray = NDArray[np.floating[Any]]

_MOST_YEARS = 250
_SQUARE_METRES_PER_HECTARE = 10_000.0


@dataclass(frozen=True, slots=True)
class Timetable:
    """When things happen, year 0 first.

    Attributes
    ----------
    duration_years
        Years of digging, shape ``(n_draws,)``.
    years_dug
        Part of each year in which digging goes on [-], shape ``(n_draws, n_years)``.
    dug_share
        Part of the waste dug in each year [-], same shape; adds to 1.
    """

    duration_years: FloatArray
    years_dug: FloatArray
    dug_share: FloatArray

    @property
    def n_years(self) -> int:
        """Number of years, year 0 included."""
        return int(self.dug_share.shape[1])

    def in_last_year(self, amount: FloatArray) -> FloatArray:
        """Place an amount in the year in which digging ends, shape ``(n_draws, n_years)``."""
        last = np.ceil(self.duration_years).astype(int)
        return np.where(np.arange(self.n_years) == last[:, None], amount[:, None], 0.0)


def timetable(feed: Feed, airspace: Airspace, price: Prices) -> Timetable:
    """Return the timetable of a dig that keeps the plant at capacity.

    The horizon reaches to the end of digging, of filling the space won, and of the aftercare
    that is avoided, whichever is last in any draw, at most 250 years.
    """
    duration = feed.total_wet_t / price["plant.capacity_t_y"]
    ends = np.maximum(duration + airspace.life_years + 1, price["money.avoided_aftercare_years"])
    n_years = min(int(np.ceil(ends.max())), _MOST_YEARS) + 2
    if duration.max() > _MOST_YEARS:
        raise ValueError(
            f"Digging takes {duration.max():.0f} years; "
            "plant.capacity_t_y is too small for the site."
        )
    year = np.arange(n_years)
    years_dug = np.clip(duration[:, None] - (year - 1), 0, 1) * (year > 0)
    return Timetable(duration, years_dug, years_dug / duration[:, None])


def cash_items(
    volumes: DugVolumes,
    feed: Feed,
    products: Products,
    back: Returned,
    airspace: Airspace,
    area_m2: float,
    time: Timetable,
    price: Prices,
) -> tuple[CashItem, ...]:
    """Return every line of the cash flow; see `reclaim.appraisal.CashItem` for signs."""
    building = _building(time, price)
    operation = _operation(volumes, feed, products, time, price)
    contingency = CashItem(
        "contingency",
        "Contingency",
        "capital",
        price["money.contingency_share"][:, None]
        * np.sum([item.flow for item in (*building, *operation)], axis=0),
    )
    salvage = time.in_last_year(
        price["plant.capacity_t_y"]
        * price["money.capital_per_annual_t"]
        * price["money.salvage_share"]
    )
    return (
        *building,
        contingency,
        CashItem("salvage", "Plant sold at the end", "capital", salvage),
        *operation,
        *_disposal(products, back, time, price),
        *_sales(products, back, time, price),
        CashItem(
            "airspace",
            "Space reclaimed, as it is filled",
            "airspace",
            price["airspace.value_per_m3"][:, None] * _space_used(airspace, time, price),
        ),
        *_avoided(area_m2, time, price),
    )


def _building(time: Timetable, price: Prices) -> tuple[CashItem, ...]:
    plant = price["plant.capacity_t_y"] * price["money.capital_per_annual_t"]
    amounts = (
        ("investigation", "Further investigation", price["money.investigation_cost"]),
        ("plant_capital", "Plant, built", plant),
        ("engineering", "Engineering and permits", plant * price["money.engineering_share"]),
    )
    first_year = np.arange(time.n_years) == 0
    return tuple(
        CashItem(name, label, "capital", -amount[:, None] * first_year)
        for name, label, amount in amounts
    )


def _operation(
    volumes: DugVolumes, feed: Feed, products: Products, time: Timetable, price: Prices
) -> tuple[CashItem, ...]:
    dug_m3 = volumes.cover_m3 + volumes.waste_m3 + volumes.overdig_m3
    waste_t = feed.total_wet_t
    drying = products.drying
    totals = (
        ("digging", "Digging", dug_m3 * price["money.dig_cost_per_m3"]),
        ("sorting", "Screening and sorting", waste_t * price["money.sorting_cost_per_t"]),
        ("drying", "Drying", drying.feed_t * price["money.drying_cost_per_t"]),
        ("power", "Electricity", products.power_mwh * price["money.power_per_mwh"]),
        ("heat", "Bought heat", drying.heat_bought_mwh * price["money.heat_per_mwh"]),
        (
            "environment",
            "Odour, gas, dust, leachate, monitoring",
            waste_t * price["money.environment_cost_per_t"],
        ),
    )
    running = -price["money.fixed_cost_per_y"][:, None] * time.years_dug
    return (
        *_spread(totals, "operation", -1, time),
        CashItem("site_running", "Running the site", "operation", running),
    )


def _disposal(
    products: Products, back: Returned, time: Timetable, price: Prices
) -> tuple[CashItem, ...]:
    placed_t = back.residue_back_t + back.soil_back_t + back.overdig_back_t
    totals = [
        ("placing", "Residue and soil put back", placed_t * price["money.residue_placing_per_t"]),
        (
            "gate_fee",
            "Residue taken elsewhere",
            back.residue_away_t * price["money.residue_gate_fee_per_t"],
        ),
    ]
    if "hazardous" in products.names:
        cost = products.wet_t("hazardous") * price["money.hazardous_cost_per_t"]
        totals.append(("hazardous", "Hazardous items taken elsewhere", cost))
    return _spread(totals, "disposal", -1, time)


def _sales(
    products: Products, back: Returned, time: Timetable, price: Prices
) -> tuple[CashItem, ...]:
    labels = {
        "fuel": "Fuel",
        "ferrous": "Ferrous metal",
        "nonferrous": "Non-ferrous metal",
        "glass": "Glass",
        "aggregate": "Mineral aggregate",
    }
    totals = [
        (name, label, products.wet_t(name) * price[f"money.price_{name}_per_t"])
        for name, label in labels.items()
        if name in products.names
    ]
    totals.append(("soil", "Soil and cover", back.soil_away_t * price["money.price_soil_per_t"]))
    return _spread(totals, "products", 1, time)


def _spread(
    totals: Sequence[tuple[str, str, FloatArray]],
    group: str,
    sign: int,
    time: Timetable,
) -> tuple[CashItem, ...]:
    """Spread totals over the years in step with the digging."""
    return tuple(
        CashItem(name, label, group, sign * total[:, None] * time.dug_share)
        for name, label, total in totals
    )


def _space_used(airspace: Airspace, time: Timetable, price: Prices) -> FloatArray:
    """Space filled in each year [m3], shape ``(n_draws, n_years)``.

    Space can be filled from the year after it was dug, no faster than the fill rate. Where more
    goes back than came out, the missing space is charged as it is dug.
    """
    won = (airspace.reclaimed_m3 * price["airspace.usable"])[:, None]
    dug = np.cumsum(time.dug_share, axis=1)
    open_before = np.concatenate([np.zeros_like(dug[:, :1]), dug[:, :-1]], axis=1)
    rate = price["airspace.fill_rate_m3_y"][:, None]
    filled = np.zeros_like(dug)
    total = np.zeros_like(won[:, 0])
    for year in range(1, time.n_years):
        room = np.maximum(won[:, 0], 0) * open_before[:, year] - total
        filled[:, year] = np.minimum(room, rate[:, 0])
        total = total + filled[:, year]
    return np.where(won < 0, airspace.reclaimed_m3[:, None] * time.dug_share, filled)


def _avoided(area_m2: float, time: Timetable, price: Prices) -> tuple[CashItem, ...]:
    hectares = area_m2 / _SQUARE_METRES_PER_HECTARE
    year = np.arange(time.n_years)
    owed = np.clip(price["money.avoided_aftercare_years"][:, None] - (year - 1), 0, 1) * (year > 0)
    saved = np.maximum(owed - time.years_dug, 0) * (year > time.duration_years[:, None])
    aftercare = price["money.avoided_aftercare_per_ha_y"] * hectares
    closure = price["money.avoided_closure_per_m2"] * area_m2
    return (
        CashItem("aftercare", "Aftercare no longer needed", "avoided", aftercare[:, None] * saved),
        CashItem(
            "closure",
            "Capping or remedy no longer needed",
            "avoided",
            closure[:, None] * (year == 1),
        ),
        CashItem(
            "land",
            "Land released",
            "avoided",
            time.in_last_year(price["money.land_value_per_m2"] * area_m2),
        ),
    )
