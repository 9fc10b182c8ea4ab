"""Published landfill-mining cases rebuilt from their stated inputs.

Each case says what was published, what had to be assumed to fill the gaps, and why the rebuilt
number may differ. Money stays in the money of the case.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from reclaim.appraisal import (
    Prices,
    appraise_quantities,
    breakevens,
    compare_courses,
    conservative_readings,
    dig_schedule,
    outside_view,
)
from reclaim.appraisal.outside_view import published_cases
from reclaim.assumptions import Draws
from reclaim.plant import run_line
from reclaim.reference import assumption_defaults, read_rows

CUBIC_YARD_M3 = 0.764555
FREE = (
    "plant.capacity_t_y", "money.capital_per_annual_t", "money.investigation_cost",
    "money.engineering_share", "money.contingency_share", "money.sorting_cost_per_t",
    "money.drying_cost_per_t", "money.power_per_mwh", "money.heat_per_mwh",
    "money.environment_cost_per_t", "money.fixed_cost_per_y", "money.residue_placing_per_t",
    "money.hazardous_cost_per_t", "money.mobilisation_cost", "money.avoided_aftercare_per_ha_y",
    "money.discount_rate", "airspace.liner_loss_m", "airspace.settlement",
    "money.price_fuel_per_t", "money.price_soil_per_t", "money.fuel_price_per_ncv",
    "money.fuel_chlorine_penalty", "money.price_aggregate_per_t", "money.price_glass_per_t",
    "money.price_ferrous_per_t", "money.price_nonferrous_per_t",
)  # fmt: skip


def priced(assumptions, changes, *, free=False):
    """Prices at stated values; with `free`, every cost the case does not state is nothing."""
    stated = dict(assumptions)
    values = {**(dict.fromkeys(FREE, 0.0) if free else {}), **changes}
    for key, value in values.items():
        stated[key] = replace(stated[key], kind="fixed", numbers=(value,), given=True)
    return Prices(stated, Draws.best_estimate())


def plain_dig(quantities, waste_m3, density, soil_share):
    """Return a dig of waste that is soil and residue and nothing else."""
    waste_t = np.array([waste_m3 * density])
    none = quantities.times(0.0)
    return replace(
        none,
        waste_m3=np.array([waste_m3]),
        waste_t=waste_t,
        area_m2=np.array([waste_m3 / 10]),
        product_t={"soil": waste_t * soil_share, "residue": waste_t * (1 - soil_share)},
        target_t={"soil": waste_t * soil_share, "residue": np.zeros(1)},
    )


def escambia(assumptions, quantities):
    # Escambia County, Florida, council papers of July 2020: mining contract 7.6 million USD, space
    # gained 443 000 yd3 valued at 17.7 million USD. Soil share from the pilot of 2008: 70 % by
    # volume. Assumed: soil leaves, the rest goes back at its old volume (density 1.1).
    gained = 443_000 * CUBIC_YARD_M3
    dug = gained / 0.70
    price = priced(
        assumptions,
        {
            "plant.capacity_t_y": dug * 1.1,
            "money.dig_cost_per_m3": 7.6e6 / dug,
            "airspace.value_per_m3": 17.7e6 / gained,
            "airspace.residue_density_t_m3": 1.1,
            "airspace.soil_returned": 0.0,
            "airspace.fill_rate_m3_y": 3.5e6 / 9 * CUBIC_YARD_M3,
        },
        free=True,
    )
    return gained, appraise_quantities(plain_dig(quantities, dug, 1.1, 0.70), price)


def test_escambia_space_cost_and_ratio(assumptions, quantities) -> None:
    # Derived from the council papers: 22.4 USD per m3 gained, value 52.3 USD/m3, ratio 2.33.
    gained, found = escambia(assumptions, quantities)
    assert found.airspace.reclaimed_m3[0] == pytest.approx(gained, rel=1e-9)
    assert found.cost[0] / gained == pytest.approx(22.4, rel=0.01)
    assert found.revenue[0] / gained == pytest.approx(52.3, rel=0.01)
    assert found.revenue[0] / found.cost[0] == pytest.approx(2.33, abs=0.01)
    assert found.npv[0] == pytest.approx(17.7e6 - 7.6e6, rel=1e-6)


def test_escambia_one_more_year_of_life(assumptions, quantities) -> None:
    # Published: 10 years instead of 9. 3.5 million yd3 in 9 years fill 389 000 yd3 a year, so
    # the space lasts 1.14 years: the published year is rounded.
    _, found = escambia(assumptions, quantities)
    assert found.airspace.life_years[0] == pytest.approx(443 / (3500 / 9), rel=1e-9)
    assert round(found.airspace.life_years[0]) == 1


def test_escambia_at_avoided_cost_would_not_have_paid(assumptions, quantities) -> None:
    # The same papers price a new cell at 11.47 million USD for 3.5 million yd3: 4.29 USD/m3. At
    # that price the mining contract of 22.4 USD/m3 gained is not earned: the board called the
    # return hypothetical and said no.
    gained, found = escambia(assumptions, quantities)
    cell = 11.47e6 / (3.5e6 * CUBIC_YARD_M3)
    assert cell == pytest.approx(4.29, abs=0.005)
    assert gained * cell - found.cost[0] < 0


def test_escambia_pilot_soil_share() -> None:
    # Pilot of 2008: 54 300 yd3 mined, 38 000 yd3 soil recovered.
    row = next(row for row in read_rows("published_cases.csv") if row["case"] == "escambia_pilot")
    assert float(row["soil_share"]) == pytest.approx(38_000 / 54_300, abs=0.005)
    assert float(row["dug_m3"]) == pytest.approx(54_300 * CUBIC_YARD_M3, rel=1e-3)


def clovis(assumptions, quantities, million_yd3):
    # Clovis, California, 1998 to 2010: planned 3.5 years and 3.8 million USD; 2.7 million yd3 dug,
    # half as much again as expected, so 1.8 million were planned; mean depth 12.7 m.
    planned_m3 = 1.8e6 * CUBIC_YARD_M3
    rate = planned_m3 / 3.5
    price = priced(
        assumptions,
        {
            "plant.capacity_t_y": 5e6,
            "schedule.dig_rate_m3_d": rate / 250,
            "schedule.working_days_y": 250,
            "money.dig_cost_per_m3": 3.8e6 / planned_m3,
            "airspace.value_per_m3": 0.0,
        },
        free=True,
    )
    dig = plain_dig(quantities, million_yd3 * 1e6 * CUBIC_YARD_M3, 1.1, 0.6)
    return appraise_quantities(dig, price), price, dig


def test_clovis_plan(assumptions, quantities) -> None:
    found, _, _ = clovis(assumptions, quantities, 1.8)
    assert found.duration_years[0] == pytest.approx(3.5, rel=1e-6)
    assert found.cost[0] == pytest.approx(3.8e6, rel=1e-6)


def test_clovis_overrun_alone_does_not_explain_the_cost(assumptions, quantities) -> None:
    # Published: about 8 million USD over budget and 9 years late; cost 4.2 to 5.7 USD/m3. Half as
    # much again at the planned price and pace gives 5.7 million and 5.25 years; the rest came
    # from the failed contractor and new prices, which no volume can foretell.
    found, price, dig = clovis(assumptions, quantities, 2.7)
    assert found.cost[0] == pytest.approx(1.5 * 3.8e6, rel=1e-6)
    assert found.duration_years[0] == pytest.approx(5.25, rel=1e-6)
    cost_per_m3 = found.cost[0] / dig.waste_m3[0]
    assert cost_per_m3 < 4.2
    paid = {"listed payments": 8.65e6, "total": 11.8e6}
    assert [round(paid[name] / dig.waste_m3[0], 1) for name in paid] == [4.2, 5.7]
    assert price["money.dig_cost_per_m3"][0] == pytest.approx(2.76, abs=0.005)


def test_clovis_overrun_is_the_conservative_step(assumptions, quantities) -> None:
    _, price, dig = clovis(assumptions, quantities, 1.8)
    readings = conservative_readings(dig, price)
    assert readings[-1].npv[0] == pytest.approx(1.5 * readings[0].npv[0], rel=1e-6)


def test_skaarup_products(make_feed, default_line, assumptions, best) -> None:
    # Skaarup, Denmark (Danish EPA 2018): soil 75 %, stone 13 %, combustible about 10 %, metal
    # 1.5 %, nearly all iron. Composition put in, products taken out; the dryer takes water off, so
    # shares are of the solid products. Tolerances: soil 10 points, metal 0.75 points, combustible
    # 6 points (the trial sorted by hand and grab, the line here loses some to residue and soil).
    shares = {
        "fines": 75, "stone_ceramic": 13, "plastic_film": 3, "plastic_dense": 2, "wood": 3,
        "paper_card": 1, "textiles": 1, "ferrous": 1.4, "aluminium": 0.1, "glass": 0.5,
    }  # fmt: skip
    made = run_line(make_feed(shares=shares, moisture=0.25), default_line, assumptions, best)
    total = made.product_wet_t[0].sum()
    share = {name: made.wet_t(name)[0] / total for name in made.names}
    assert share["soil"] == pytest.approx(0.75, abs=0.10)
    assert share["ferrous"] + share["nonferrous"] == pytest.approx(0.015, abs=0.0075)
    assert share["fuel"] == pytest.approx(0.10, abs=0.06)


def test_skaarup_lies_inside_the_ranges_used_here() -> None:
    # A desk range must be able to give what was found: 75 % soil, 10 % combustible, 1.5 % metal.
    ranges = {row["key"]: row for row in read_rows("published_ranges.csv")}
    for key, value in (
        ("outcome.soil_share", 0.75), ("outcome.fuel_share", 0.10),
        ("outcome.ferrous_share", 0.015),
    ):  # fmt: skip
        assert float(ranges[key]["low"]) <= value <= float(ranges[key]["high"])


def test_bornem_with_processing_loses_money(assumptions, quantities) -> None:
    # Winterstetter et al. (2018): land and resource recovery at Bornem, -17 million EUR for about
    # 386 000 t: -44 EUR/t. With defaults of this model and rural land: negative, and inside the
    # -139 to +127 EUR/t of Laner et al. (2019).
    site = quantities.times(386.0)
    found = appraise_quantities(site, Prices(assumptions, Draws.best_estimate()))
    per_t = found.npv[0] / site.waste_t[0]
    assert -139 < per_t < 0
    assert per_t == pytest.approx(-44, abs=45)  # other prices, other year: the order of size


def test_turnhout_land_alone_can_pay(assumptions, quantities) -> None:
    # Winterstetter et al. (2018): private land development without recovery at Turnhout, +8
    # EUR/t for about 47 000 t. Digging and hauling a shallow fill to a cheap outlet with urban
    # land (200 to 1 500 EUR/m2, trade range) is worth more than nothing; with rural land not.
    site = quantities.times(47.0)
    shallow = replace(site, area_m2=site.dug_m3 / 3.0)

    def worth(land):
        price = priced(
            assumptions,
            {
                "money.land_value_per_m2": land,
                "airspace.usable": 0.0,
                "money.residue_gate_fee_per_t": 60.0,
                "plant.capacity_t_y": 60000.0,
            },
        )
        course = compare_courses(shallow, shallow, "temperate_wet", price, courses=["haul"])[0]
        return course.npv[0] / shallow.waste_t[0]

    assert worth(3.0) < 0 < worth(1500.0)


def test_low_mass_per_area_is_favoured(assumptions, quantities) -> None:
    # Laner and Krook (2019): favour sites with little mass on much land. The land price at which
    # mining breaks even is lower for a shallow than for a deep fill of the same mass.
    site = quantities.times(200.0)

    def even(depth_m):
        shaped = replace(site, area_m2=site.dug_m3 / depth_m)
        return breakevens(["money.land_value_per_m2"], shaped, assumptions)[
            "money.land_value_per_m2"
        ]

    assert even(4.0) < even(12.0)


def test_washington_county_pace_and_order_of_cost(assumptions, quantities) -> None:
    # Washington County, Minnesota, late 1980s: 2.5 million yd3, up to ten crews at 510 m3 a day,
    # 200 million USD for digging and off-site disposal, 105 USD/m3 (about 210 EUR/m3 of 2023).
    # The default haul course must come within a factor of two of that.
    volume = 2.5e6 * CUBIC_YARD_M3
    site = quantities.times(volume / quantities.dug_m3[0])
    price = priced(
        assumptions,
        {"schedule.dig_rate_m3_d": 5100.0, "schedule.working_days_y": 250.0,
         "airspace.value_per_m3": 0.0},
    )  # fmt: skip
    time = dig_schedule(site, price, (), plant=False)
    assert time.duration_years[0] == pytest.approx(volume / 5100 / 250, rel=1e-6)
    course = compare_courses(site, site, "temperate_wet", price, courses=["haul"])[0]
    published = next(
        case.cost_per_m3 for case in published_cases(1.0) if case.name == "washington_county"
    )
    assert published / 2 < course.cost[0] / volume < published * 2


def test_denton_swing(assumptions, quantities) -> None:
    # Denton, Texas (audit of 2017): space at the gate fee and recyclables at the clean price made
    # -14 million into +16 million USD. Here: a hired screen and no dryer, 12 m deep; space from the
    # cost of a new cell (8) to gate fee x placed density (90 x 0.95), metals at clean scrap prices
    # (UK 2021 and 2023: 200 and 900). The size of the Texan site is not published, so the sign
    # alone is held.
    site = quantities.times(500.0)
    deep = replace(site, area_m2=site.dug_m3 / 12)
    simple = {
        "money.capital_per_annual_t": 30.0, "money.sorting_cost_per_t": 8.0,
        "money.drying_cost_per_t": 0.0, "money.heat_per_mwh": 0.0, "money.power_per_mwh": 0.0,
        "plant.capacity_t_y": 120_000.0,
    }  # fmt: skip
    sober = priced(assumptions, {**simple, "airspace.value_per_m3": 8.0})
    hopeful = priced(
        assumptions,
        {
            **simple,
            "airspace.value_per_m3": 90 * 0.95,
            "money.price_ferrous_per_t": 200.0,
            "money.price_nonferrous_per_t": 900.0,
        },
    )
    low, high = (appraise_quantities(deep, price).npv[0] for price in (sober, hopeful))
    assert low < 0 < high


def test_metal_income_per_tonne(assumptions, quantities) -> None:
    # Derived from published yields and prices: about 3 EUR per tonne dug, never over 8.
    price = Prices(assumptions, Draws.best_estimate())
    found = appraise_quantities(quantities, price)
    metal = sum(i.flow.sum() for i in found.items if i.name in ("ferrous", "nonferrous"))
    assert 1 < metal / quantities.waste_t[0] < 8


def test_order_of_drivers(assumptions, quantities) -> None:
    # Laner et al. (2019), Esguerra et al. (2021): cost and outlet of fuel and fines lead, metal
    # prices come late. One input at a time, low to high of its default range.
    site = quantities.times(500.0)
    defaults = assumption_defaults()

    def swing(key):
        quantity = defaults[key].quantity
        ends = [
            appraise_quantities(site, priced(assumptions, {key: value})).npv[0]
            for value in (quantity.low, quantity.high)
        ]
        return abs(ends[1] - ends[0]) / site.waste_t[0]

    swings = {
        key: swing(key)
        for key in (
            "money.sorting_cost_per_t", "money.price_fuel_per_t", "money.price_soil_per_t",
            "airspace.value_per_m3", "money.price_ferrous_per_t", "money.price_nonferrous_per_t",
        )
    }  # fmt: skip
    order = sorted(swings, key=swings.get, reverse=True)
    assert set(order[:3]) <= {
        "money.sorting_cost_per_t", "money.price_fuel_per_t", "airspace.value_per_m3",
    }  # fmt: skip
    assert set(order[-2:]) == {"money.price_ferrous_per_t", "money.price_nonferrous_per_t"}
    assert 5 < swings["money.price_fuel_per_t"] < 40  # usual swing 10 to 40 EUR/t dug


def test_cases_in_one_money() -> None:
    # Arithmetic: Bornem's -44 EUR/t of 2018 at the price index of 2023 (123.2 over 103.6).
    cases = {case.name: case for case in published_cases(1.0)}
    assert cases["bornem"].npv_per_t == pytest.approx(-44 * 123.2 / 103.6)
    assert np.isnan(cases["skaarup"].cost_per_m3)
    doubled = {case.name: case for case in published_cases(2.0)}
    assert doubled["bornem"].npv_per_t == pytest.approx(2 * cases["bornem"].npv_per_t)


def test_what_lies_outside_is_flagged(assumptions, quantities) -> None:
    changes = {
        "money.price_fuel_per_t": 200.0, "airspace.value_per_m3": 90.0,
        "money.price_ferrous_per_t": 220.0,
    }  # fmt: skip
    price = priced(assumptions, changes)
    found = appraise_quantities(quantities, price)
    view = outside_view(quantities, found, price.assumptions, price)
    assert set(changes) <= {flag.key for flag in view.flags}
    assert all(flag.source and flag.low < flag.high for flag in view.flags)
