"""What the line itself brings: dust, drying boxes, hot air, and fuel that heats itself."""

from __future__ import annotations

from typing import TYPE_CHECKING

from reclaim.hazards.rules import caution_rules

if TYPE_CHECKING:
    from reclaim.hazards.caution import Caution

_MONTHS_PER_YEAR = 12.0
_WEEKS_PER_YEAR = 52.0


def process_cautions(
    *,
    fuel_t: float,
    fuel_moisture: float,
    feed_t: float,
    capacity_t_y: float,
    drying_feed_t: float,
    heat_bought_mwh: float,
    hazardous_t: float,
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
    """
    table = caution_rules()
    cautions = [
        *dust_caution(fuel_t, fuel_moisture),
        *drying_cautions(drying_feed_t, heat_bought_mwh),
        *self_heating_caution(fuel_t, feed_t, capacity_t_y),
    ]
    batteries = table["battery_fires"]
    if hazardous_t > batteries.number:
        why = f"About {hazardous_t:,.0f} t of hazardous items go through the line."
        cautions.append(batteries.raised_by(why))
    return tuple(cautions), (
        "Machine guarding, traffic, noise and manual handling in the plant were not assessed.",
        "Emissions of dryers and of whoever burns the fuel were not assessed.",
    )


def dust_caution(fuel_t: float, moisture: float) -> tuple[Caution, ...]:
    """Raise the more urgent of the two dust cautions that the fuel's moisture calls for.

    Parameters
    ----------
    fuel_t
        Fuel, wet [t]; without any there is no dust of it.
    moisture
        Water over wet mass [-].
    """
    if fuel_t <= 0:
        return ()
    for rule in (caution_rules()["dust_explosive"], caution_rules()["dust_dry_fuel"]):
        if moisture < rule.number:
            why = f"The fuel holds {moisture:.1%} water; the limit is {rule.number:.0%}."
            return (rule.raised_by(why),)
    return ()


def drying_cautions(drying_feed_t: float, heat_bought_mwh: float) -> tuple[Caution, ...]:
    """Raise what drying brings: closed boxes, hot process air, burners; [t] and [MWh]."""
    if drying_feed_t <= 0:
        return ()
    table = caution_rules()
    dried = f"The line dries {drying_feed_t:,.0f} t of waste."
    air = table["process_air"]
    cautions = [
        table["drying_confined_space"].raised_by(dried),
        air.raised_by(f"{dried} By common practice the air is burnt above {air.number:.0f} C."),
    ]
    burners = table["drying_burners"]
    if heat_bought_mwh > burners.number:
        why = f"{heat_bought_mwh:,.0f} MWh of drying heat have to be bought."
        cautions.append(burners.raised_by(why))
    return tuple(cautions)


def self_heating_caution(fuel_t: float, feed_t: float, capacity_t_y: float) -> tuple[Caution, ...]:
    """Raise the caution on stored fuel, with what comes out in a week and piles up unsold.

    Parameters
    ----------
    fuel_t, feed_t
        Fuel made and waste fed in all, wet [t].
    capacity_t_y
        What the line takes in a year, wet [t/y].

    Notes
    -----
    Piles of shredded waste fuel caught fire after about six months in store: Hogland and Marques
    (2003), Resources, Conservation and Recycling 40, 53-69.
    """
    if fuel_t <= 0 or feed_t <= 0:
        return ()
    rule = caution_rules()["fuel_self_heating"]
    fuel_t_y = fuel_t / feed_t * capacity_t_y
    stored_t = min(fuel_t, fuel_t_y * rule.number / _MONTHS_PER_YEAR)
    why = (
        f"The line makes {fuel_t:,.0f} t of fuel, "
        f"about {fuel_t_y / _WEEKS_PER_YEAR:,.0f} t a week; "
        f"without an outlet {stored_t:,.0f} t lie in store after {rule.number:.0f} months."
    )
    return (rule.raised_by(why),)
