"""Money by year for mining: building in year 0, then digging, then filling the space won."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from reclaim.appraisal.appraisal import Airspace, CashItem

if TYPE_CHECKING:
    from collections.abc import Sequence

    from reclaim.appraisal.airspace import Returned
    from reclaim.appraisal.prices import Prices
    from reclaim.appraisal.quantities import Quantities
    from reclaim.appraisal.schedule import Timetable

FloatArray = NDArray[np.floating[Any]]

SQUARE_METRES_PER_HECTARE = 10_000.0
LONGEST_HORIZON_YEARS = 252

Total = tuple[str, str, FloatArray]


def horizon(time: Timetable, airspace: Airspace, price: Prices) -> int:
    """Return the number of years to look at, year 0 included.

    To the end of digging, of filling the space won, and of the aftercare that is avoided,
    whichever is last in any draw; never beyond year 251.
    """
    filled = time.duration_years + airspace.life_years + 1
    ends = np.maximum(filled, price["money.avoided_aftercare_years"])
    return int(min(np.ceil(ends.max()) + 2, LONGEST_HORIZON_YEARS))


def mining_items(
    quantities: Quantities, back: Returned, airspace: Airspace, time: Timetable, price: Prices
) -> tuple[CashItem, ...]:
    """Return every line of the cash flow of mining; see `reclaim.appraisal.CashItem` for signs.

    The group ``avoided`` holds what leaving the site would have cost.
    """
    building = building_items(time, price)
    operation = operation_items(quantities, time, price)
    return (
        *building,
        contingency_item(building, price),
        CashItem("salvage", "Plant sold at the end", "capital", _salvage(time, price)),
        CashItem("grant", "Grant", "grant", spread_over_start(price["money.grant"], time)),
        *operation,
        contingency_item(operation, price),
        *disposal_items(quantities, back, time, price),
        *sales_items(quantities, back, time, price),
        *land_and_space_items(quantities, airspace, time, price),
        *avoided_items(quantities.area_m2, time, price),
    )


def building_items(time: Timetable, price: Prices) -> tuple[CashItem, ...]:
    """Return investigation, plant with its renewals, engineering, and bringing it all in."""
    plant = price["plant.capacity_t_y"] * price["money.capital_per_annual_t"]
    first = price["money.capital_first_year_share"]
    year = np.arange(time.n_years)
    paid = np.where(year == 0, first[:, None], np.where(year == 1, 1 - first[:, None], 0.0))
    engineering = plant * price["money.engineering_share"]
    return (
        CashItem(
            "investigation",
            "Further investigation",
            "capital",
            -spread_over_start(price["money.investigation_cost"], time),
        ),
        CashItem("plant_capital", "Plant, built", "capital", -plant[:, None] * paid),
        CashItem(
            "plant_renewal", "Plant, renewed", "capital", -plant[:, None] * _renewals(time, price)
        ),
        CashItem(
            "engineering",
            "Engineering and permits",
            "capital",
            -spread_over_start(engineering, time),
        ),
        CashItem(
            "mobilisation",
            "Bringing crews and machines in and out",
            "capital",
            -spread_over_start(price["money.mobilisation_cost"], time),
        ),
    )


def spread_over_start(amount: FloatArray, time: Timetable) -> FloatArray:
    """Place an amount in year 0, shape ``(n_draws, n_years)``."""
    return np.asarray(amount[:, None] * (np.arange(time.n_years) == 0))


def contingency_item(items: Sequence[CashItem], price: Prices) -> CashItem:
    """Return the contingency on lines of one group, in that group, spread as they are."""
    flow = np.sum([item.flow for item in items], axis=0)
    share = price["money.contingency_share"][:, None]
    group = items[0].group
    return CashItem(f"contingency_{group}", f"Contingency on {group}", group, share * flow)


def _renewals(time: Timetable, price: Prices) -> FloatArray:
    """Count the plants bought anew in each year: when a life ends and there is more to dig."""
    life = price["money.plant_life_years"][:, None]
    year = np.arange(time.n_years)
    worn = np.floor(np.maximum(year - 1, 0) / life) - np.floor(np.maximum(year - 2, 0) / life)
    return np.where((worn > 0) & (time.years_dug > 0), worn, 0.0)


def _salvage(time: Timetable, price: Prices) -> FloatArray:
    plant = price["plant.capacity_t_y"] * price["money.capital_per_annual_t"]
    return time.in_last_year(plant * price["money.salvage_share"])


def operation_items(quantities: Quantities, time: Timetable, price: Prices) -> tuple[CashItem, ...]:
    """Return what running the works costs: by m3 dug, by tonne, by hour of the plant, by year."""
    plant_hours = quantities.waste_t / price["plant.capacity_t_y"] * price["plant.working_hours_y"]
    digging: tuple[Total, ...] = (
        ("digging", "Digging", quantities.dug_m3 * price["money.dig_cost_per_m3"]),
        (
            "environment",
            "Odour, gas, dust, leachate, monitoring",
            quantities.waste_t * price["money.environment_cost_per_t"],
        ),
    )
    plant: tuple[Total, ...] = (
        (
            "sorting",
            "Screening and sorting",
            quantities.waste_t * price["money.sorting_cost_per_t"],
        ),
        (
            "plant_hours",
            "Crew and machines paid by the hour",
            plant_hours * price["money.plant_cost_per_h"],
        ),
        ("drying", "Drying", quantities.dried_t * price["money.drying_cost_per_t"]),
        ("power", "Electricity", quantities.power_mwh * price["money.power_per_mwh"]),
        (
            "heat",
            "Bought heat, for drying and exhaust air",
            quantities.heat_mwh * price["money.heat_per_mwh"],
        ),
    )
    running = -price["money.fixed_cost_per_y"][:, None] * time.years_dug
    return (
        *spread(digging, "operation", -1, time.dug_share),
        *spread(plant, "operation", -1, time.processed_share),
        CashItem("site_running", "Running the site", "operation", running),
    )


def disposal_items(
    quantities: Quantities, back: Returned, time: Timetable, price: Prices
) -> tuple[CashItem, ...]:
    """Return placing, gate fees by kind of waste, and taxes on them."""
    waste_back = back.residue_back_t + back.soil_back_t
    placed = waste_back + back.overdig_back_t
    away = back.residue_away_t
    levy = waste_back * price["money.levy_returned_per_t"]
    totals: list[Total] = [
        ("placing", "Residue and soil put back", placed * price["money.residue_placing_per_t"]),
        ("levy_returned", "Tax on what is put back", levy),
        ("gate_fee", "Residue taken elsewhere", away * price["money.residue_gate_fee_per_t"]),
        (
            "levy_disposal",
            "Tax on what is taken elsewhere",
            away * price["money.levy_disposal_per_t"],
        ),
    ]
    if "hazardous" in quantities.product_t:
        cost = quantities.product("hazardous") * price["money.hazardous_cost_per_t"]
        totals.append(("hazardous", "Hazardous items taken elsewhere", cost))
    return spread(totals, "disposal", -1, time.processed_share)


def fuel_price(quantities: Quantities, price: Prices) -> FloatArray:
    """Return the price of the fuel made, for its calorific value and chlorine [currency/t].

    Notes
    -----
    Stated price + (net value - reference) x slope - chlorine above 1 % of dry mass x penalty.
    Straight lines stand in for the steps of contracts; the classes are those of ISO 21640.
    """
    made, dry = quantities.product("fuel"), quantities.fuel_dry_t
    some = (made > 0) & (dry > 0)
    reference = price["money.fuel_reference_ncv"]
    ncv = np.divide(quantities.fuel_gj, made, out=reference + 0.0, where=some)
    chlorine = np.divide(quantities.fuel_chlorine_t, dry, out=np.zeros_like(dry), where=some)
    better = (ncv - reference) * price["money.fuel_price_per_ncv"]
    worse = np.maximum(100 * chlorine - 1, 0) * price["money.fuel_chlorine_penalty"]
    return np.asarray(price["money.price_fuel_per_t"] + better - worse)


def metal_price(name: str, quantities: Quantities, price: Prices) -> FloatArray:
    """Return the price of a metal product: the stated one times its purity over the reference."""
    grade = quantities.purity(name) / price["money.metal_reference_purity"]
    stated = price[f"money.price_{name}_per_t"]
    return np.asarray(np.where(stated > 0, stated * grade, stated))


def sales_items(
    quantities: Quantities, back: Returned, time: Timetable, price: Prices
) -> tuple[CashItem, ...]:
    """Return what the products bring, or cost where a fee is paid."""
    priced = {
        "fuel": ("Fuel", fuel_price(quantities, price)),
        "ferrous": ("Ferrous metal", metal_price("ferrous", quantities, price)),
        "nonferrous": ("Non-ferrous metal", metal_price("nonferrous", quantities, price)),
        "glass": ("Glass", price["money.price_glass_per_t"]),
        "aggregate": ("Mineral aggregate", price["money.price_aggregate_per_t"]),
    }
    totals: list[Total] = [
        (name, label, quantities.product(name) * amount)
        for name, (label, amount) in priced.items()
        if name in quantities.product_t
    ]
    sold = back.soil_away_t - back.daily_cover_t
    saved = back.daily_cover_t * price["money.cover_soil_saved_per_t"]
    totals.append(("soil", "Soil and cover", sold * price["money.price_soil_per_t"]))
    totals.append(("daily_cover", "Daily cover not bought", saved))
    return spread(totals, "products", 1, time.processed_share)


def spread(
    totals: Sequence[Total], group: str, sign: int, share: FloatArray
) -> tuple[CashItem, ...]:
    """Spread totals over the years by shares that add to one."""
    return tuple(
        CashItem(name, label, group, sign * total[:, None] * share) for name, label, total in totals
    )


def land_and_space_items(
    quantities: Quantities, airspace: Airspace, time: Timetable, price: Prices
) -> tuple[CashItem, ...]:
    """Return space as it is filled again, and land released and restored."""
    used = space_used(airspace, time, price)
    return (
        CashItem(
            "airspace",
            "Space reclaimed, as it is filled",
            "airspace",
            price["airspace.value_per_m3"][:, None] * used,
        ),
        CashItem(
            "land",
            "Land released",
            "avoided",
            time.in_last_year(price["money.land_value_per_m2"] * quantities.area_m2),
        ),
        CashItem(
            "restoration",
            "Ground restored to its new use",
            "disposal",
            -time.in_last_year(price["money.restoration_per_m2"] * quantities.area_m2),
        ),
    )


def space_used(airspace: Airspace, time: Timetable, price: Prices) -> FloatArray:
    """Return the space filled in each year [m3], shape ``(n_draws, n_years)``.

    Space can be filled from the year after it was dug, no faster than the fill rate. Where more
    goes back than came out, the missing space is charged as it is dug.
    """
    won = airspace.reclaimed_m3 * price["airspace.usable"]
    dug = np.cumsum(time.dug_share, axis=1)
    open_before = np.concatenate([np.zeros_like(dug[:, :1]), dug[:, :-1]], axis=1)
    rate, growth = price["airspace.fill_rate_m3_y"], price["airspace.fill_rate_growth"]
    filled = np.zeros_like(dug)
    total = np.zeros_like(won)
    for year in range(1, time.n_years):
        room = np.maximum(won, 0) * open_before[:, year] - total
        filled[:, year] = np.minimum(room, rate * (1 + growth) ** (year - 1))
        total = total + filled[:, year]
    return np.where(won[:, None] < 0, airspace.reclaimed_m3[:, None] * time.dug_share, filled)


def aftercare_owed(time: Timetable, years: FloatArray) -> FloatArray:
    """Return the part of each year in which aftercare is owed [-], from year 1 on."""
    year = np.arange(time.n_years)
    return np.asarray(np.clip(years[:, None] - (year - 1), 0, 1) * (year > 0))


def aftercare_saved(time: Timetable, years: FloatArray) -> FloatArray:
    """Return the part of it that a dig saves: none until the works have ended."""
    later = np.arange(time.n_years) > time.duration_years[:, None]
    return np.asarray(np.maximum(aftercare_owed(time, years) - time.years_dug, 0) * later)


def avoided_items(area_m2: FloatArray, time: Timetable, price: Prices) -> tuple[CashItem, ...]:
    """Return what leaving the site would have cost from then on."""
    hectares = area_m2 / SQUARE_METRES_PER_HECTARE
    saved = aftercare_saved(time, price["money.avoided_aftercare_years"])
    aftercare = price["money.avoided_aftercare_per_ha_y"] * hectares
    closure = price["money.avoided_closure_per_m2"] * area_m2
    in_year_one = np.arange(time.n_years) == 1
    return (
        CashItem("aftercare", "Aftercare no longer needed", "avoided", aftercare[:, None] * saved),
        CashItem(
            "closure",
            "Capping or remedy no longer needed",
            "avoided",
            closure[:, None] * in_year_one,
        ),
    )
