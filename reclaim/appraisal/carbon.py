"""Greenhouse gas of a course of action: what it gives off, what it saves, year by year for methane.

Tonnes of CO2 equivalent; minus is a saving. Carbon dioxide of biogenic carbon stands apart and is
in no sum.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from reclaim.appraisal.methane import class_rates, methane_emitted, methane_generated

if TYPE_CHECKING:
    from reclaim.appraisal.prices import Prices
    from reclaim.appraisal.quantities import Quantities
    from reclaim.appraisal.schedule import Timetable

FloatArray = NDArray[np.floating[Any]]

CO2_PER_CARBON = 44 / 12
CARBON_YEARS = 101
"""Year 0 and the hundred years over which the warming factor of methane is stated."""

_KG_PER_T = 1000.0


@dataclass(frozen=True, slots=True)
class Carbon:
    """Greenhouse gas of one course over a hundred years [t CO2e], minus a saving; ``(n_draws,)``.

    Attributes
    ----------
    landfill_gas_t
        Methane that reaches the air, from the site and from what goes back into it.
    fossil_burnt_t
        Carbon dioxide of the fossil carbon in the fuel made.
    fuel_substituted_t
        Carbon dioxide of the fuel it replaces, for the same heat.
    metals_t, glass_t
        Saved by recycling.
    operations_t
        Diesel, electricity and bought heat.
    transport_t
        Road haul.
    biogenic_t
        Carbon dioxide of biogenic carbon burnt as fuel; in no sum.
    stored_t
        Carbon that stays in the ground after a hundred years, as carbon dioxide; in no sum.
    methane_t
        Methane that reaches the air in each year [t CH4], shape ``(n_draws, 101)``, year 0 first;
        ``(n_draws, 0)`` where it was not kept.
    """

    landfill_gas_t: FloatArray
    fossil_burnt_t: FloatArray
    fuel_substituted_t: FloatArray
    metals_t: FloatArray
    glass_t: FloatArray
    operations_t: FloatArray
    transport_t: FloatArray
    biogenic_t: FloatArray
    stored_t: FloatArray
    methane_t: FloatArray

    @property
    def gross_t(self) -> FloatArray:
        """All that is given off, without any credit."""
        return np.asarray(
            self.landfill_gas_t + self.fossil_burnt_t + self.operations_t + self.transport_t
        )

    @property
    def net_t(self) -> FloatArray:
        """What is given off less what is saved."""
        return np.asarray(self.gross_t + self.fuel_substituted_t + self.metals_t + self.glass_t)

    def less(self, other: Carbon) -> Carbon:
        """Return what this course gives off and stores beside another.

        Methane by year is left out unless both have it.
        """
        years = min(self.methane_t.shape[1], other.methane_t.shape[1])
        by_year = self.methane_t[:, :years] - other.methane_t[:, :years]
        sums = {
            item.name: np.asarray(getattr(self, item.name) - getattr(other, item.name))
            for item in fields(Carbon)
            if item.name != "methane_t"
        }
        return Carbon(**sums, methane_t=by_year)


def carbon_of_leaving(
    quantities: Quantities,
    climate: str,
    price: Prices,
    captured: FloatArray | None = None,
    oxidised: FloatArray | None = None,
) -> Carbon:
    """Return the carbon of a site that stays, as it is or with gas collected.

    Parameters
    ----------
    quantities
        Of the whole site.
    climate
        Of ``decay_rates.csv``.
    price
        The site's assumptions.
    captured, oxidised
        Shares by year [-], shape ``(n_draws, 101)`` or ``(n_draws, 1)``; those of the site as it
        is where not given.
    """
    made = _generated(quantities.rotting_c_t, climate, price)
    captured = price["carbon.capture_left"][:, None] if captured is None else captured
    oxidised = price["carbon.oxidation_left"][:, None] if oxidised is None else oxidised
    return _carbon(quantities, price, methane_emitted(made, captured, oxidised), made.sum(axis=1))


def carbon_of_digging(
    quantities: Quantities,
    time: Timetable,
    returned_c_t: FloatArray,
    climate: str,
    price: Prices,
    *,
    products_used: bool,
    road_t: FloatArray,
) -> Carbon:
    """Return the carbon of a dig.

    Parameters
    ----------
    quantities
        What is dug.
    time
        When it is dug.
    returned_c_t
        Carbon that still rots in what is put in the ground again, here or elsewhere [t], shape
        ``(n_draws, n_classes)``.
    climate, price
        As in `carbon_of_leaving`.
    products_used
        False where nothing is sorted, so no fuel is burnt and no metal recycled.
    road_t
        What goes by road [t], shape ``(n_draws,)``.

    Notes
    -----
    What has not been dug rots on as if left. What goes back rots on in a new cell, with the
    oxidation of a new cell. Rotting matter in fuel is burnt, that in soil used elsewhere rots in
    air; neither gives methane. Gas that the open face lets out at once is not counted: it was
    made before and would have come out.
    """
    undug = 1 - _mean_share(np.cumsum(time.dug_share, axis=1))
    placed = _mean_share(np.cumsum(time.processed_share, axis=1))
    in_ground = _generated(quantities.rotting_c_t, climate, price) * undug
    again = _generated(returned_c_t, climate, price) * placed
    emitted = methane_emitted(
        in_ground, price["carbon.capture_left"][:, None], price["carbon.oxidation_left"][:, None]
    ) + methane_emitted(again, 0.0 * road_t[:, None], price["carbon.oxidation_capped"][:, None])
    rotted = in_ground.sum(axis=1) + again.sum(axis=1)
    return _carbon(
        quantities, price, emitted, rotted, dug=True, products_used=products_used, road_t=road_t
    )


def _mean_share(done: FloatArray) -> FloatArray:
    """Mean over each year of a share reached at its end, carried on to a hundred years."""
    whole = np.ones((done.shape[0], CARBON_YEARS))
    kept = min(done.shape[1], CARBON_YEARS)
    whole[:, :kept] = done[:, :kept]
    before = np.concatenate([np.zeros_like(whole[:, :1]), whole[:, :-1]], axis=1)
    return np.asarray((whole + before) / 2)


def _generated(rotting_c_t: FloatArray, climate: str, price: Prices) -> FloatArray:
    rate = class_rates(climate, price)
    return methane_generated(rotting_c_t, rate, CARBON_YEARS, price["carbon.methane_correction"])


def _carbon(
    quantities: Quantities,
    price: Prices,
    methane_t: FloatArray,
    methane_made_t: FloatArray,
    *,
    dug: bool = False,
    products_used: bool = False,
    road_t: FloatArray | None = None,
) -> Carbon:
    zero = np.zeros(quantities.n_draws)
    used = 1.0 if products_used else 0.0
    diesel = price["carbon.diesel_l_m3"] * price["carbon.diesel_kg_l"] / _KG_PER_T
    operations = quantities.dug_m3 * diesel if dug else zero
    energy = quantities.power_mwh * price["carbon.power_t_mwh"] + (
        quantities.heat_mwh * price["carbon.heat_t_mwh"]
    )
    road = zero if road_t is None else road_t
    haul = road * price["options.haul_distance_km"] * price["carbon.truck_kg_t_km"] / _KG_PER_T
    iron = (
        quantities.product("ferrous")
        * quantities.purity("ferrous")
        * price["carbon.dug_ferrous_yield"]
        * price["carbon.ferrous_credit"]
    )
    other = price["carbon.dug_nonferrous_yield"] * (
        quantities.aluminium_t * price["carbon.aluminium_credit"]
        + quantities.other_nonferrous_t * price["carbon.other_nonferrous_credit"]
    )
    glass = quantities.product("glass") * price["carbon.glass_credit"]
    replaced = quantities.fuel_gj * price["carbon.replaced_fuel_kg_gj"] / _KG_PER_T
    rotted_c = 2 * methane_made_t * 12 / 16  # half of the carbon that rots leaves as methane
    burnt_c = used * (quantities.fuel_fossil_c_t + quantities.fuel_biogenic_c_t)
    return Carbon(
        landfill_gas_t=methane_t.sum(axis=1) * price["carbon.gwp_methane"],
        fossil_burnt_t=used * quantities.fuel_fossil_c_t * CO2_PER_CARBON,
        fuel_substituted_t=-used * replaced,
        metals_t=-used * (iron + other),
        glass_t=-used * glass,
        operations_t=operations + used * energy,
        transport_t=haul,
        biogenic_t=used * quantities.fuel_biogenic_c_t * CO2_PER_CARBON,
        stored_t=np.maximum(quantities.carbon_t - rotted_c - burnt_c, 0) * CO2_PER_CARBON,
        methane_t=methane_t,
    )
