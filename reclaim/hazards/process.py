"""What the line itself brings: dust, drying boxes, hot air, and fuel that heats itself."""

from __future__ import annotations

from typing import TYPE_CHECKING

from reclaim.hazards.rules import RuleBook, rule_book

if TYPE_CHECKING:
    from reclaim.hazards.caution import Caution

_MONTHS_PER_YEAR = 12.0
_WEEKS_PER_YEAR = 52.0
_CARBON_DIOXIDE_PER_CELLULOSE = 6 * 44.009 / 162.141


def process_cautions(
    *,
    fuel_t: float,
    fuel_moisture: float,
    feed_t: float,
    capacity_t_y: float,
    drying_feed_t: float,
    heat_bought_mwh: float,
    hazardous_t: float,
    solids_lost_t: float = 0.0,
    book: RuleBook | None = None,
) -> tuple[tuple[Caution, ...], tuple[str, ...]]:
    """Raise the cautions on the line.

    Parameters
    ----------
    fuel_t, fuel_moisture
        Fuel made in all, wet [t], and its water over wet mass [-].
    feed_t, capacity_t_y
        Waste through the line in all [t], and in a year [t/y], wet.
    drying_feed_t, heat_bought_mwh
        Wet mass that is dried [t] and heat bought for it [MWh]; zeros where nothing is dried.
    hazardous_t
        Hazardous items in the feed, wet [t].
    solids_lost_t
        Dry matter that rots away in the drying boxes [t].
    book
        Rules that hold.
    """
    book = book or rule_book()
    cautions = [
        *dust_caution(fuel_t, fuel_moisture, book),
        *drying_cautions(drying_feed_t, heat_bought_mwh, solids_lost_t, book),
        *self_heating_caution(fuel_t, feed_t, capacity_t_y, book),
    ]
    batteries = book["battery_fires"]
    if hazardous_t > batteries.number:
        why = f"About {hazardous_t:,.0f} t of hazardous items go through the line."
        cautions.append(batteries.raised_by(why))
    return tuple(cautions), (
        "Machine guarding, traffic, noise and manual handling in the plant were not assessed.",
        "Emissions of dryers and of whoever burns the fuel were not assessed.",
    )


def dust_caution(
    fuel_t: float, moisture: float, book: RuleBook | None = None
) -> tuple[Caution, ...]:
    """Raise the more urgent of the two dust cautions that the fuel's moisture calls for.

    Parameters
    ----------
    fuel_t
        Fuel, wet [t]; without any there is no dust of it.
    moisture
        Water over wet mass [-].
    book
        Rules that hold.
    """
    book = book or rule_book()
    if fuel_t <= 0:
        return ()
    for rule in (book["dust_explosive"], book["dust_dry_fuel"]):
        if moisture < rule.number:
            why = f"The fuel holds {moisture:.1%} water; the limit is {rule.number:.0%}."
            return (rule.raised_by(why),)
    return ()


def drying_cautions(
    drying_feed_t: float,
    heat_bought_mwh: float,
    solids_lost_t: float = 0.0,
    book: RuleBook | None = None,
) -> tuple[Caution, ...]:
    """Raise what drying brings: closed boxes, hot process air, burners.

    Parameters
    ----------
    drying_feed_t, heat_bought_mwh, solids_lost_t
        As in `process_cautions`.
    book
        Rules that hold.

    Notes
    -----
    Rotting matter is taken as cellulose, C6H10O5: 162 g give off 6 x 44 g of carbon dioxide.
    """
    if drying_feed_t <= 0:
        return ()
    book = book or rule_book()
    dried = f"The line dries {drying_feed_t:,.0f} t of waste."
    air = book["process_air"]
    gas = solids_lost_t * _CARBON_DIOXIDE_PER_CELLULOSE
    gives_off = (
        f" It gives off about {gas / drying_feed_t * 1000:.2g} kg of carbon dioxide a tonne."
    )
    cautions = [
        book["drying_confined_space"].raised_by(dried + (gives_off if gas > 0 else "")),
        air.raised_by(f"{dried} By common practice the air is burnt above {air.number:.0f} C."),
    ]
    burners = book["drying_burners"]
    if heat_bought_mwh > burners.number:
        bought = f"{heat_bought_mwh:,.0f} MWh of drying heat have to be bought"
        hot = book["hot_surfaces"]
        cautions.append(burners.raised_by(f"{bought}."))
        cautions.append(
            hot.raised_by(f"{bought}; the limit for surfaces is {hot.number:.0f} C ({hot.limit}).")
        )
    return tuple(cautions)


def self_heating_caution(
    fuel_t: float, feed_t: float, capacity_t_y: float, book: RuleBook | None = None
) -> tuple[Caution, ...]:
    """Raise the caution on stored fuel, with what comes out in a week and piles up unsold.

    Parameters
    ----------
    fuel_t, feed_t
        Fuel made and waste fed in all, wet [t].
    capacity_t_y
        What the line takes in a year, wet [t/y].
    book
        Rules that hold.

    Notes
    -----
    Piles of shredded waste fuel caught fire after about six months in store: Hogland and Marques
    (2003), Resources, Conservation and Recycling 40, 53-69.
    """
    if fuel_t <= 0 or feed_t <= 0:
        return ()
    rule = (book or rule_book())["fuel_self_heating"]
    fuel_t_y = fuel_t / feed_t * capacity_t_y
    stored_t = min(fuel_t, fuel_t_y * rule.number / _MONTHS_PER_YEAR)
    why = (
        f"The line makes {fuel_t:,.0f} t of fuel, "
        f"about {fuel_t_y / _WEEKS_PER_YEAR:,.0f} t a week; "
        f"without an outlet {stored_t:,.0f} t lie in store after {rule.number:.0f} months."
    )
    return (rule.raised_by(why),)
