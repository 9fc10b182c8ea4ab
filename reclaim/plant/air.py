"""Moist air: what it holds, what it weighs, and what it costs to warm it and load it with water."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.floating[Any]]

ATMOSPHERE_KPA = 101.325
# Molar mass of water over that of dry air [-].
WATER_TO_AIR = 0.62198
# Gas constant of dry air [kJ/(kg K)].
AIR_GAS_CONSTANT = 0.287042
# Heat capacity of dry air, vapour and water [kJ/(kg K)], and heat of evaporation at 0 C [kJ/kg].
AIR_HEAT, VAPOUR_HEAT, WATER_HEAT, EVAPORATION_AT_ZERO = 1.006, 1.86, 4.186, 2501.0
_KELVIN = 273.15


def saturation_pressure_kpa(temperature_c: FloatArray) -> FloatArray:
    """Return the vapour pressure over water [kPa].

    Notes
    -----
    Magnus form with the constants of WMO (2008), Guide to Meteorological Instruments, annex 4.B;
    within 0.7 % of steam tables from 20 to 70 C.
    """
    return np.asarray(0.6112 * np.exp(17.62 * temperature_c / (243.12 + temperature_c)))


def humidity_ratio(temperature_c: FloatArray, relative_humidity: FloatArray) -> FloatArray:
    """Return water over dry air [kg/kg] at one atmosphere; ideal gas."""
    pressure = relative_humidity * saturation_pressure_kpa(temperature_c)
    return np.asarray(WATER_TO_AIR * pressure / (ATMOSPHERE_KPA - pressure))


def enthalpy_kj(temperature_c: FloatArray, water: FloatArray) -> FloatArray:
    """Return the enthalpy of moist air per kilogram of dry air [kJ/kg], 0 at 0 C and dry.

    Notes
    -----
    ASHRAE Handbook Fundamentals, chapter Psychrometrics: h = 1.006 T + w (2501 + 1.86 T).
    """
    return np.asarray(
        AIR_HEAT * temperature_c + water * (EVAPORATION_AT_ZERO + VAPOUR_HEAT * temperature_c)
    )


def volume_m3(temperature_c: FloatArray, water: FloatArray) -> FloatArray:
    """Return the volume of moist air per kilogram of dry air [m3/kg] at one atmosphere."""
    dry = AIR_GAS_CONSTANT * (temperature_c + _KELVIN) / ATMOSPHERE_KPA
    return np.asarray(dry * (1 + water / WATER_TO_AIR))


@dataclass(frozen=True, slots=True)
class DryingAir:
    """Air that goes through a drying box, per row, shape ``(n_rows,)``.

    Attributes
    ----------
    takes_up
        Water that a kilogram of dry air carries off [kg/kg].
    heat_mj_kg
        Heat to evaporate a kilogram of water and to warm the air that carries it [MJ/kg].
    evaporation_share
        Part of that heat that goes into evaporation alone [-].
    intake_m3_kg, exhaust_m3_kg
        Volume going in and coming out per kilogram of dry air [m3/kg].
    exhaust_water
        Water in the exhaust [kg/kg dry air].
    """

    takes_up: FloatArray
    heat_mj_kg: FloatArray
    evaporation_share: FloatArray
    intake_m3_kg: FloatArray
    exhaust_m3_kg: FloatArray
    exhaust_water: FloatArray


def drying_air(
    box_c: FloatArray,
    exhaust_humidity: FloatArray,
    ambient_c: FloatArray,
    ambient_humidity: FloatArray,
) -> DryingAir:
    """Return what air does on its way through a box.

    Parameters
    ----------
    box_c, ambient_c
        Temperature of the waste and the exhaust, and outdoors [C], shape ``(n_rows,)``.
    exhaust_humidity, ambient_humidity
        Relative humidity [-].

    Notes
    -----
    Enthalpy balance of the air, less what the water brought at outdoor temperature. Air that
    takes up nothing (a box no warmer than a damp day) gets a very small uptake, so that drying
    is limited by air and not by a division by zero.
    """
    coming, going = (
        humidity_ratio(ambient_c, ambient_humidity),
        humidity_ratio(box_c, exhaust_humidity),
    )
    takes_up = np.maximum(going - coming, 1e-9)
    rise = enthalpy_kj(box_c, going) - enthalpy_kj(ambient_c, coming)
    water_brought = WATER_HEAT * ambient_c
    evaporation = EVAPORATION_AT_ZERO + VAPOUR_HEAT * box_c - water_brought
    heat = rise / takes_up - water_brought
    return DryingAir(
        takes_up=takes_up,
        heat_mj_kg=np.asarray(heat / 1000),
        evaporation_share=np.asarray(np.clip(evaporation / heat, 0.0, 1.0)),
        intake_m3_kg=volume_m3(ambient_c, coming),
        exhaust_m3_kg=volume_m3(box_c, going),
        exhaust_water=going,
    )
