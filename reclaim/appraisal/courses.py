"""Courses of action on one basis: leave, cap, haul away, mine, mine part.

Each course stands for itself: what it costs and brings from year 0 on, aftercare and any duty to
cap included. Set against leaving the site, the course `mine` has the value of `appraise`.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from reclaim.appraisal.airspace import airspace_won, nothing_returned, returned
from reclaim.appraisal.appraisal import CashItem
from reclaim.appraisal.appraise import discounting
from reclaim.appraisal.carbon import CARBON_YEARS, Carbon, carbon_of_digging, carbon_of_leaving
from reclaim.appraisal.cash_flow import (
    LONGEST_HORIZON_YEARS,
    SQUARE_METRES_PER_HECTARE,
    aftercare_owed,
    aftercare_saved,
    contingency_item,
    horizon,
    land_and_space_items,
    mining_items,
    operation_items,
    spread,
    spread_over_start,
)
from reclaim.appraisal.schedule import Timetable, dig_schedule
from reclaim.assumptions.records import joined, without_columns

if TYPE_CHECKING:
    from collections.abc import Collection, Sequence

    from reclaim.appraisal.prices import Prices
    from reclaim.appraisal.quantities import Quantities

FloatArray = NDArray[np.floating[Any]]

COURSES = {
    "leave": "Leave it and look after it",
    "cap": "Cap it and collect the gas",
    "haul": "Dig it and haul it away",
    "mine": "Mine the whole",
    "mine_part": "Mine part",
}
"""Courses by name, with their labels, in the order they are shown."""

_DRAWS_AT_ONCE = 1024


@dataclass(frozen=True, slots=True)
class Course:
    """One course of action; arrays are ``(n_draws,)``.

    Attributes
    ----------
    name, label
        Key of `COURSES` and words.
    cost
        All payments, not discounted [currency].
    npv
        Net present value of the course by itself [currency].
    npv_beside_leaving
        The same less that of leaving the site.
    airspace_m3
        Space reclaimed [m3].
    land_m2
        Ground from which all waste is gone [m2].
    carbon_t
        Greenhouse gas, net, over a hundred years [t CO2e].
    carbon_beside_leaving_t
        The same less that of leaving the site.
    duration_years
        Years of works [y]; 0 for leaving.
    truck_trips
        Loads on public roads, one way.
    waste_m3
        Waste dug [m3].
    carbon
        Its parts; the methane by year too.
    """

    name: str
    label: str
    cost: FloatArray
    npv: FloatArray
    npv_beside_leaving: FloatArray
    airspace_m3: FloatArray
    land_m2: FloatArray
    carbon_t: FloatArray
    carbon_beside_leaving_t: FloatArray
    duration_years: FloatArray
    truck_trips: FloatArray
    waste_m3: FloatArray
    carbon: Carbon


@dataclass(frozen=True, slots=True)
class _Plan:
    """A course before it is set against leaving the site."""

    items: tuple[CashItem, ...]
    airspace_m3: FloatArray
    land_m2: FloatArray
    duration_years: FloatArray
    road_t: FloatArray
    waste_m3: FloatArray
    carbon: Carbon


def compare_courses(
    whole: Quantities,
    part: Quantities,
    climate: str,
    price: Prices,
    *,
    courses: Sequence[str] = tuple(COURSES),
    closed_months: Collection[int] = (),
    discount_convention: str = "constant",
    methane_of: Collection[str] = tuple(COURSES),
) -> tuple[Course, ...]:
    """Work out courses of action on one basis.

    Parameters
    ----------
    whole
        Bill of quantities of digging everything.
    part
        That of the part worth digging, see `best_part`.
    climate
        Of ``decay_rates.csv``.
    price
        The site's assumptions.
    courses
        Names in `COURSES`; leaving the site is always worked out, since the others stand beside
        it.
    closed_months, discount_convention
        As in `appraise`.
    methane_of
        Courses whose methane by year is kept in what is returned; fewer for very many draws.

    Returns
    -------
    The courses asked for, in the order of `COURSES`.

    Raises
    ------
    ValueError
        For a course that is not known, or works of more than 250 years.

    Notes
    -----
    Draws are worked through a few thousand at a time, so memory does not grow with their number
    beyond the totals returned.
    """
    unknown = [name for name in courses if name not in COURSES]
    if unknown:
        raise ValueError(f"No course {unknown[0]!r}; there are: {', '.join(COURSES)}.")
    wanted = [name for name in COURSES if name in courses]
    parts: dict[str, list[Course]] = {name: [] for name in wanted}
    for first in range(0, whole.n_draws, _DRAWS_AT_ONCE):
        rows = slice(first, min(first + _DRAWS_AT_ONCE, whole.n_draws))
        site = _Site(
            whole.rows(rows), part.rows(rows), climate, price.looking_at(rows), closed_months
        )
        plans = {name: site.plan(name) for name in {"leave", *wanted}}
        n_years = max(plan.items[0].flow.shape[1] for plan in plans.values())
        factors = discounting(site.price, discount_convention, n_years)[1]
        worth = {name: _worth(plan, factors) for name, plan in plans.items()}
        leave = plans["leave"]
        for name in wanted:
            plan = plans[name]
            parts[name].append(
                Course(
                    name=name,
                    label=COURSES[name],
                    cost=-np.sum(
                        [np.minimum(item.flow, 0).sum(axis=1) for item in plan.items], axis=0
                    ),
                    npv=worth[name],
                    npv_beside_leaving=worth[name] - worth["leave"],
                    airspace_m3=plan.airspace_m3,
                    land_m2=plan.land_m2,
                    carbon_t=plan.carbon.net_t,
                    carbon_beside_leaving_t=plan.carbon.net_t - leave.carbon.net_t,
                    duration_years=plan.duration_years,
                    truck_trips=plan.road_t / site.price["options.truck_payload_t"],
                    waste_m3=plan.waste_m3,
                    carbon=plan.carbon
                    if name in methane_of
                    else without_columns(plan.carbon, ["methane_t"]),
                )
            )
    return tuple(joined(parts[name]) for name in wanted)


def _worth(plan: _Plan, factors: FloatArray) -> FloatArray:
    n_years = plan.items[0].flow.shape[1]
    net = np.sum([item.flow for item in plan.items], axis=0)
    return np.asarray((net * factors[:, :n_years]).sum(axis=1))


@dataclass(frozen=True, slots=True)
class _Site:
    """What every course of one site is worked out from."""

    whole: Quantities
    part: Quantities
    climate: str
    price: Prices
    closed_months: Collection[int]

    def plan(self, name: str) -> _Plan:
        """Return one course by its name."""
        if name == "leave":
            return self._leave()
        if name == "cap":
            return self._cap()
        if name == "haul":
            return self._haul()
        return self._mine(self.whole if name == "mine" else self.part)

    def _quiet(self, years: FloatArray) -> Timetable:
        """Return a timetable without a dig, as long as something is owed."""
        n = self.whole.n_draws
        reach = int(min(np.ceil(np.max(years)), LONGEST_HORIZON_YEARS)) + 2
        nothing = np.zeros((n, reach))
        return Timetable(np.zeros(n), nothing, nothing, nothing, np.zeros(n))

    def _aftercare(self, area_m2: FloatArray, owed: FloatArray) -> CashItem:
        yearly = self.price["money.avoided_aftercare_per_ha_y"] * area_m2
        flow = -(yearly / SQUARE_METRES_PER_HECTARE)[:, None] * owed
        return CashItem("aftercare", "Aftercare", "avoided", flow)

    def _leave(self) -> _Plan:
        years = self.price["money.avoided_aftercare_years"]
        time = self._quiet(years)
        area = self.whole.area_m2
        duty = self.price["money.avoided_closure_per_m2"] * area
        in_year_one = np.arange(time.n_years) == 1
        items = (
            self._aftercare(area, aftercare_owed(time, years)),
            CashItem("closure", "Capping or remedy", "avoided", -duty[:, None] * in_year_one),
        )
        return self._standing(items, carbon_of_leaving(self.whole, self.climate, self.price), 0.0)

    def _cap(self) -> _Plan:
        price, area = self.price, self.whole.area_m2
        years, burns = price["options.cap_aftercare_years"], price["options.gas_running_years"]
        time = self._quiet(np.maximum(years, burns))
        hectares = area / SQUARE_METRES_PER_HECTARE
        cap = area * price["options.cap_cost_per_m2"]
        wells = hectares * price["options.gas_system_per_ha"]
        works = (
            CashItem("cap", "Final cap", "capital", -spread_over_start(cap, time)),
            CashItem("gas_system", "Gas system", "capital", -spread_over_start(wells, time)),
            CashItem(
                "engineering",
                "Engineering and permits",
                "capital",
                -spread_over_start((cap + wells) * price["money.engineering_share"], time),
            ),
        )
        running = -(hectares * price["options.gas_running_per_ha_y"])[:, None]
        items = (
            *works,
            contingency_item(works, price),
            CashItem(
                "gas_running",
                "Running the gas system",
                "operation",
                running * aftercare_owed(time, burns),
            ),
            self._aftercare(area, aftercare_owed(time, years)),
        )
        collecting = np.clip(burns[:, None] - (np.arange(CARBON_YEARS) - 1), 0, 1)
        carbon = carbon_of_leaving(
            self.whole,
            self.climate,
            price,
            captured=price["carbon.capture_capped"][:, None] * collecting,
            oxidised=price["carbon.oxidation_capped"][:, None],
        )
        return self._standing(items, carbon, 1.0)

    def _standing(self, items: tuple[CashItem, ...], carbon: Carbon, works_years: float) -> _Plan:
        """Return a course in which the waste stays where it is."""
        zero = np.zeros(self.whole.n_draws)
        return _Plan(items, zero, zero, zero + works_years, zero, zero, carbon)

    def _haul(self) -> _Plan:
        price, dug = self.price, self.whole
        time = dig_schedule(dug, price, self.closed_months, plant=False)
        back = nothing_returned(dug)
        space = airspace_won(dug, back, price)
        time = time.reaching(horizon(time, space, price))
        haul = price["money.load_per_t"] + (
            price["money.haul_per_t_km"] * price["options.haul_distance_km"]
        )
        start = (
            CashItem(
                "investigation",
                "Further investigation",
                "capital",
                -spread_over_start(price["money.investigation_cost"], time),
            ),
            CashItem(
                "mobilisation",
                "Bringing crews and machines in and out",
                "capital",
                -spread_over_start(price["money.mobilisation_cost"], time),
            ),
        )
        without_plant = {"sorting", "plant_hours", "drying", "power", "heat"}
        works = tuple(
            item for item in operation_items(dug, time, price) if item.name not in without_plant
        )
        gate = price["money.residue_gate_fee_per_t"] + price["money.levy_disposal_per_t"]
        moved = (back.soil_back_t + back.overdig_back_t) * price["money.residue_placing_per_t"]
        away = spread(
            (
                ("haul", "Loading and road haul", dug.waste_t * haul),
                ("gate_fee", "Waste taken elsewhere, tax included", dug.waste_t * gate),
                ("placing", "Cover and over-dig soil put back", moved),
            ),
            "disposal",
            -1,
            time.dug_share,
        )
        items = (
            *start,
            contingency_item(start, price),
            *works,
            contingency_item(works, price),
            *away,
            *land_and_space_items(dug, space, time, price),
            self._aftercare_until_done(dug.area_m2, time),
        )
        carbon = carbon_of_digging(
            dug,
            time,
            dug.rotting_c_t,
            self.climate,
            price,
            products_used=False,
            road_t=dug.waste_t,
        )
        return self._dug(items, space.reclaimed_m3, dug, time, dug.waste_t, carbon)

    def _mine(self, dug: Quantities) -> _Plan:
        price = self.price
        time = dig_schedule(dug, price, self.closed_months)
        back = returned(dug, price)
        space = airspace_won(dug, back, price)
        time = time.reaching(horizon(time, space, price))
        saved_elsewhere = {"aftercare", "closure"}
        items = tuple(
            item
            for item in mining_items(dug, back, space, time, price)
            if item.name not in saved_elsewhere
        )
        stays_m2 = self.whole.area_m2 - dug.area_m2
        left_alone = self._aftercare(
            stays_m2, aftercare_owed(time, price["money.avoided_aftercare_years"])
        )
        duty = price["money.avoided_closure_per_m2"] * stays_m2
        owed = CashItem(
            "closure",
            "Capping or remedy of what stays",
            "avoided",
            -duty[:, None] * (np.arange(time.n_years) == 1),
        )
        away = back.residue_away_t + back.soil_away_t - back.daily_cover_t
        for name in dug.product_t:
            if name not in ("residue", "soil"):
                away = away + dug.product(name)
        soil_back = price["airspace.soil_returned"][:, None]
        carbon = carbon_of_digging(
            dug,
            time,
            dug.rotting_residue_c_t + dug.rotting_soil_c_t * soil_back,
            self.climate,
            price,
            products_used=True,
            road_t=away,
        )
        carbon = _with_undug(carbon, self.whole, dug, self.climate, price)
        return self._dug(
            (*items, self._aftercare_until_done(dug.area_m2, time), left_alone, owed),
            space.reclaimed_m3,
            dug,
            time,
            away,
            carbon,
        )

    def _aftercare_until_done(self, area_m2: FloatArray, time: Timetable) -> CashItem:
        years = self.price["money.avoided_aftercare_years"]
        owed = aftercare_owed(time, years) - aftercare_saved(time, years)
        item = self._aftercare(area_m2, owed)
        return CashItem("aftercare_works", "Aftercare until the works end", "avoided", item.flow)

    @staticmethod
    def _dug(
        items: tuple[CashItem, ...],
        airspace_m3: FloatArray,
        dug: Quantities,
        time: Timetable,
        road_t: FloatArray,
        carbon: Carbon,
    ) -> _Plan:
        return _Plan(
            items, airspace_m3, dug.area_m2, time.duration_years, road_t, dug.waste_m3, carbon
        )


def _with_undug(
    carbon: Carbon, whole: Quantities, dug: Quantities, climate: str, price: Prices
) -> Carbon:
    """Add the methane of what a part dig leaves in the ground."""
    stays = whole.plus(dug.times(-1.0))
    left = carbon_of_leaving(stays, climate, price)
    sums = {item.name: getattr(carbon, item.name) for item in fields(Carbon)}
    for name in ("landfill_gas_t", "stored_t", "methane_t"):
        sums[name] = sums[name] + getattr(left, name)
    return Carbon(**sums)
