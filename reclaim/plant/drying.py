"""Drying: heat from matter that rots, air that carries water off, heat that must be bought."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from reclaim.plant.air import AIR_HEAT, VAPOUR_HEAT, DryingAir, drying_air, humidity_ratio
from reclaim.plant.products import Drying
from reclaim.reference import constant

if TYPE_CHECKING:
    from collections.abc import Mapping

    from reclaim.assumptions import Assumption
    from reclaim.plant.rows import RowDraws

FloatArray = NDArray[np.floating[Any]]

MJ_PER_KWH = 3.6
_REFERENCE_DAYS = 7.0
_HOURS_PER_DAY = 24.0


@dataclass(frozen=True, slots=True)
class DryingTerms:
    """What a box is asked to do and the air it gets, per row, shape ``(n_rows,)``.

    Attributes
    ----------
    target_moisture
        Water over wet mass to reach [-].
    days
        Days in the box.
    rot_speed
        Factor of the box temperature on the rate of rotting [-].
    heat_mj_kg
        Heat for each kilogram of water evaporated, air and losses included [MJ/kg].
    bought_heat_share
        Share of the missing heat that is bought [-].
    air
        What the air takes up.
    air_rate_m3_t_h
        Most air that the fans give [m3 per tonne fed and hour].
    fan_kwh_m3
        Electricity of the fans [kWh/m3].
    treatment_kwh_kg
        Heat to bring the exhaust to its treatment temperature, what is recovered taken off
        [kWh per kg of dry air].
    condensed_share
        Share of the evaporated water that condenses where the exhaust is cooled [-].
    """

    target_moisture: FloatArray
    days: FloatArray
    rot_speed: FloatArray
    heat_mj_kg: FloatArray
    bought_heat_share: FloatArray
    air: DryingAir
    air_rate_m3_t_h: FloatArray
    fan_kwh_m3: FloatArray
    treatment_kwh_kg: FloatArray
    condensed_share: FloatArray


@dataclass(frozen=True, slots=True)
class Dried:
    """What leaves in a dryer.

    Attributes
    ----------
    lost_share
        Of the rotting matter [-], shape ``(n_rows, n_materials)``.
    evaporated_share
        Of the water [-], shape ``(n_rows,)``.
    drying
        The account of water, heat and air.
    """

    lost_share: FloatArray
    evaporated_share: FloatArray
    drying: Drying


def drying_terms(assumptions: Mapping[str, Assumption], rows: RowDraws) -> DryingTerms:
    """Return the terms of a site's assumptions in some rows."""

    def of(name: str) -> FloatArray:
        return rows.of(assumptions[f"plant.{name}"])

    box_c, ambient_c = of("box_temperature_c"), of("ambient_temperature_c")
    air = drying_air(box_c, of("exhaust_humidity"), ambient_c, of("ambient_humidity"))
    warming = (of("air_treatment_c") - box_c) * (AIR_HEAT + VAPOUR_HEAT * air.exhaust_water)
    cooled = humidity_ratio(of("condenser_temperature_c"), np.ones(rows.n_rows))
    condensed = (air.exhaust_water - cooled) / air.takes_up
    pressure_j_m3 = of("fan_pressure_pa") / of("fan_efficiency")
    return DryingTerms(
        target_moisture=of("target_moisture"),
        days=of("drying_days"),
        rot_speed=rot_speed(box_c),
        heat_mj_kg=air.heat_mj_kg / (1 - of("heat_loss")),
        bought_heat_share=of("bought_heat_share"),
        air=air,
        air_rate_m3_t_h=of("air_rate_m3_t_h"),
        fan_kwh_m3=pressure_j_m3 / (MJ_PER_KWH * 1e6),
        treatment_kwh_kg=warming / 1000 / MJ_PER_KWH * (1 - of("air_treatment_recovered")),
        condensed_share=np.clip(condensed, 0.0, 1.0),
    )


def rot_speed(box_c: FloatArray) -> FloatArray:
    """Return the rate of rotting at a temperature over that at which ``box_loss`` holds [-].

    Notes
    -----
    Haug (1993), The Practical Handbook of Compost Engineering, from memory: rate over that at
    20 C = 1.066^(T - 20) - 1.21^(T - 60); fastest near 71 C, zero from about 81 C on.
    """

    def rate(temperature_c: FloatArray) -> FloatArray:
        return np.asarray(1.066 ** (temperature_c - 20) - 1.21 ** (temperature_c - 60))

    usual = rate(np.array(constant("box_loss_temperature_c")))
    return np.asarray(np.maximum(rate(box_c), 0.0) / usual)


def wetness_factor(moisture: FloatArray) -> FloatArray:
    """Return how far the moisture of the mix lets it rot, 0 dry to 1 wet, straight between."""
    dry, wet = constant("rot_stops_moisture"), constant("rot_free_moisture")
    return np.asarray(np.clip((moisture - dry) / (wet - dry), 0.0, 1.0))


def dry(
    stable_t: FloatArray,
    rotting_t: FloatArray,
    water_t: FloatArray,
    box_loss: FloatArray,
    rotting_heat_mj_kg: FloatArray,
    terms: DryingTerms,
) -> Dried:
    """Return what a run in a biological drying box takes from its feed.

    Parameters
    ----------
    stable_t, rotting_t, water_t
        Dry matter that cannot rot, dry matter that can, and water [t], shape
        ``(n_rows, n_materials)``.
    box_loss
        Share of the rotting matter that goes in a run of seven days [-], same shape.
    rotting_heat_mj_kg
        Heat from each kilogram that rots [MJ/kg], same shape.
    terms
        Target, days, heat and air.

    Notes
    -----
    First-order loss of rotting matter over the days, at the rate of ``box_loss`` times the
    factors of temperature and moisture (midway between feed and target). Water that goes is the
    least of what is above the target, what heat evaporates (own heat, then bought) and what the
    air carries. Velis et al. (2009), Bioresource Technology 100, 2747-2761.
    """
    dry_in = (stable_t + rotting_t).sum(axis=1)
    water_in = water_t.sum(axis=1)
    feed_t = dry_in + water_in
    moisture_in = _ratio(water_in, feed_t)
    midway = (moisture_in + np.minimum(terms.target_moisture, moisture_in)) / 2
    runs = terms.days / _REFERENCE_DAYS * terms.rot_speed * wetness_factor(midway)
    lost_share = 1 - (1 - box_loss) ** runs[:, None]
    lost_t = rotting_t * lost_share
    dry_out = dry_in - lost_t.sum(axis=1)
    at_target_t = dry_out * terms.target_moisture / (1 - terms.target_moisture)
    wanted_t = np.maximum(water_in - at_target_t, 0.0)

    own_heat_gj = (lost_t * rotting_heat_mj_kg).sum(axis=1)
    own_t = np.minimum(wanted_t, own_heat_gj / terms.heat_mj_kg)
    heated_t = own_t + (wanted_t - own_t) * terms.bought_heat_share
    air_t_per_day = feed_t * terms.air_rate_m3_t_h * _HOURS_PER_DAY / terms.air.intake_m3_kg / 1000
    carried_t_per_day = air_t_per_day * terms.air.takes_up
    evaporated_t = np.minimum(heated_t, carried_t_per_day * terms.days)
    bought_t = np.maximum(evaporated_t - own_t, 0.0)

    air_kg = evaporated_t / terms.air.takes_up * 1000
    intake_m3 = air_kg * terms.air.intake_m3_kg
    mwh_per_t = terms.heat_mj_kg / MJ_PER_KWH
    return Dried(
        lost_share=lost_share,
        evaporated_share=_ratio(evaporated_t, water_in),
        drying=Drying(
            feed_t=feed_t,
            moisture_in=moisture_in,
            moisture_out=_ratio(water_in - evaporated_t, dry_out + water_in - evaporated_t),
            water_removed_t=evaporated_t,
            solids_lost_t=lost_t.sum(axis=1),
            heat_needed_mwh=wanted_t * mwh_per_t,
            heat_own_mwh=own_heat_gj / MJ_PER_KWH,
            heat_bought_mwh=bought_t * mwh_per_t,
            days_of_air=_ratio(heated_t, carried_t_per_day),
            air_m3=intake_m3,
            exhaust_m3=air_kg * terms.air.exhaust_m3_kg,
            condensate_t=evaporated_t * terms.condensed_share,
            fan_mwh=intake_m3 * terms.fan_kwh_m3 / 1000,
            air_treatment_mwh=air_kg * terms.treatment_kwh_kg / 1000,
        ),
    )


def dry_with_heat(
    dry_t: FloatArray, water_t: FloatArray, target_moisture: FloatArray, heat_kwh_kg: FloatArray
) -> Dried:
    """Return what a thermal dryer takes from its feed: water down to the target, all heat bought.

    Parameters
    ----------
    dry_t, water_t
        [t], shape ``(n_rows, n_materials)``.
    target_moisture
        Water over wet mass to reach [-], shape ``(n_rows,)``.
    heat_kwh_kg
        Heat for each kilogram of water evaporated [kWh/kg], shape ``(n_rows,)``.

    Notes
    -----
    Nothing rots in the short time. All vapour is taken to condense; the little air is left out.
    """
    dry_in, water_in = dry_t.sum(axis=1), water_t.sum(axis=1)
    at_target_t = dry_in * target_moisture / (1 - target_moisture)
    evaporated_t = np.maximum(water_in - at_target_t, 0.0)
    none = np.zeros_like(dry_in)
    left_t = water_in - evaporated_t
    return Dried(
        lost_share=np.zeros_like(dry_t),
        evaporated_share=_ratio(evaporated_t, water_in),
        drying=Drying(
            feed_t=dry_in + water_in,
            moisture_in=_ratio(water_in, dry_in + water_in),
            moisture_out=_ratio(left_t, dry_in + left_t),
            water_removed_t=evaporated_t,
            solids_lost_t=none,
            heat_needed_mwh=evaporated_t * heat_kwh_kg,
            heat_own_mwh=none,
            heat_bought_mwh=evaporated_t * heat_kwh_kg,
            days_of_air=none,
            air_m3=none,
            exhaust_m3=none,
            condensate_t=evaporated_t,
            fan_mwh=none,
            air_treatment_mwh=none,
        ),
    )


def all_drying(parts: list[Drying], n_rows: int) -> Drying:
    """Return all dryers of a line as one account; moistures are those of the feeds together."""
    moistures = {"moisture_in", "moisture_out"}
    names = [field.name for field in fields(Drying) if field.name not in moistures]
    none = np.zeros(n_rows)
    total = {name: np.sum([none, *(getattr(p, name) for p in parts)], axis=0) for name in names}
    total["days_of_air"] = np.max([none, *(part.days_of_air for part in parts)], axis=0)
    water_in = np.sum([none, *(part.feed_t * part.moisture_in for part in parts)], axis=0)
    left = total["feed_t"] - total["water_removed_t"] - total["solids_lost_t"]
    return Drying(
        moisture_in=_ratio(water_in, total["feed_t"]),
        moisture_out=_ratio(water_in - total["water_removed_t"], left),
        **total,
    )


def idle_dryer(drying: Drying, target_moisture: float) -> str | None:
    """Return what is wrong with a target that the waste is already below, or None.

    Parameters
    ----------
    drying
        Of the best estimate, one row.
    target_moisture
        Water over wet mass aimed at [-].
    """
    if drying.feed_t[0] > 0 and drying.moisture_in[0] < target_moisture:
        return (
            f"The target moisture {target_moisture:.0%} is above the {drying.moisture_in[0]:.0%} "
            "of what reaches the dryer, so it dries nothing."
        )
    return None


def _ratio(part: FloatArray, whole: FloatArray) -> FloatArray:
    return np.divide(part, whole, out=np.zeros_like(whole), where=whole > 0)
