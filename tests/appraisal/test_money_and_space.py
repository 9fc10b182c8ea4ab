"""Prices for quality, taxes, phasing, settlement, filling that grows, money of the day."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from reclaim.appraisal import (
    Prices,
    all_rates_of_return,
    appraise_quantities,
    breakevens,
    convention_factors,
    discount_conventions,
    equivalent_annual_cost,
    nominal_flow,
)
from reclaim.appraisal.airspace import life_years
from reclaim.appraisal.cash_flow import fuel_price, metal_price
from reclaim.assumptions import Draws
from reclaim.site.price_level import at_price_level, check_price_year, price_index_of
from reclaim.site.problems import Findings


def item(found, name):
    return next(i.flow[0] for i in found.items if i.name == name)


def test_fuel_price_follows_heat_and_chlorine(make_quantities, priced) -> None:
    quantities = replace(
        make_quantities(),
        product_t={**make_quantities().product_t, "fuel": np.array([100.0])},
        fuel_gj=np.array([1800.0]),
        fuel_dry_t=np.array([80.0]),
        fuel_chlorine_t=np.array([1.2]),
    )
    price = priced({
        "money.price_fuel_per_t": -40.0, "money.fuel_price_per_ncv": 2.0,
        "money.fuel_reference_ncv": 15.0, "money.fuel_chlorine_penalty": 8.0,
    })  # fmt: skip
    # 18 MJ/kg is 3 above the reference; 1.5 % chlorine is 0.5 above 1 %.
    assert fuel_price(quantities, price)[0] == pytest.approx(-40 + 3 * 2 - 0.5 * 8)


def test_metal_price_follows_purity_and_a_fee_does_not(make_quantities, priced) -> None:
    quantities = make_quantities()
    pure = quantities.purity("ferrous")[0]
    paid = metal_price("ferrous", quantities, priced({"money.price_ferrous_per_t": 80.0}))
    assert paid[0] == pytest.approx(80 * pure / 0.8)
    fee = metal_price("ferrous", quantities, priced({"money.price_ferrous_per_t": -20.0}))
    assert fee[0] == -20


def test_negative_prices_are_fees(make_quantities, priced) -> None:
    found = appraise_quantities(make_quantities(), priced({"money.price_aggregate_per_t": -5.0}))
    assert item(found, "aggregate").sum() < 0


def test_taxes_grants_and_phasing(make_quantities, priced) -> None:
    quantities = make_quantities()
    found = appraise_quantities(
        quantities,
        priced({
            "money.levy_returned_per_t": 10.0, "money.grant": 5000.0, "plant.capacity_t_y": 300.0,
            "money.capital_first_year_share": 0.6, "money.capital_per_annual_t": 100.0,
            "airspace.soil_returned": 0.0, "airspace.residue_returned": 1.0,
        }),
    )  # fmt: skip
    assert item(found, "levy_returned").sum() == pytest.approx(
        -10 * quantities.product("residue")[0]
    )
    assert item(found, "grant")[0] == 5000
    np.testing.assert_allclose(item(found, "plant_capital")[:3], [-18_000, -12_000, 0])


def test_a_worn_plant_is_bought_again(make_quantities, priced) -> None:
    found = appraise_quantities(
        make_quantities(), priced({"plant.capacity_t_y": 100.0, "money.plant_life_years": 4.0})
    )
    renewed = np.flatnonzero(item(found, "plant_renewal"))
    assert found.duration_years[0] == pytest.approx(10)
    np.testing.assert_array_equal(renewed, [5, 9])


def test_daily_cover_saves_bought_soil(make_quantities, priced) -> None:
    changes = {"airspace.soil_as_daily_cover": 1.0, "airspace.soil_returned": 0.0,
               "money.cover_soil_saved_per_t": 5.0}  # fmt: skip
    quantities = make_quantities()
    found = appraise_quantities(quantities, priced(changes))
    soil = quantities.product("soil")[0] + quantities.cover_t[0]
    assert item(found, "daily_cover").sum() == pytest.approx(5 * soil)
    assert item(found, "soil").sum() == 0


def test_settlement_gives_space_back(make_quantities, priced) -> None:
    flat, settled = (
        appraise_quantities(make_quantities(), priced({"airspace.settlement": s})).airspace
        for s in (0.0, 0.2)
    )
    assert settled.refilled_m3[0] == pytest.approx(0.8 * flat.refilled_m3[0])


def test_life_of_a_space_whose_filling_grows() -> None:
    # By hand: 100, 110, 121 a year; 331 last three years, 276 half way through the third.
    space = np.array([331.0, 270.5, 100.0])
    found = life_years(space, np.full(3, 100.0), np.full(3, 0.1))
    np.testing.assert_allclose(found, [3, 2.5, 1])
    steady = life_years(space, np.full(3, 100.0), np.zeros(3))
    np.testing.assert_allclose(steady, space / 100)
    never = life_years(np.array([1e6]), np.array([100.0]), np.array([-0.1]))
    assert np.isinf(never[0])


def test_space_is_filled_at_a_growing_rate(make_quantities, priced) -> None:
    found = appraise_quantities(
        make_quantities(),
        priced({"airspace.value_per_m3": 1.0, "airspace.fill_rate_m3_y": 10.0,
                "airspace.fill_rate_growth": 0.5}),
    )  # fmt: skip
    filled = item(found, "airspace")
    np.testing.assert_allclose(filled[2:5], [15, 22.5, 33.75])
    assert filled.sum() == pytest.approx(max(found.airspace.reclaimed_m3[0], 0))


def test_several_rates_of_return_are_all_given() -> None:
    # Lorie and Savage (1955), the oil pump: 25 % and 400 %.
    rates = all_rates_of_return(np.array([-1600.0, 10000.0, -10000.0]))
    np.testing.assert_allclose(rates, [0.25, 4.0], rtol=1e-9)
    assert all_rates_of_return(np.array([-1.0, -1.0])).size == 0


def test_money_of_the_day_is_worth_the_same() -> None:
    # Fisher: nominal flow at (1 + real) (1 + inflation) - 1 has the value of the real one.
    flow = np.array([[-100.0, 60.0, 70.0]])
    nominal = nominal_flow(flow, np.array([0.02]))
    factors = (1.04 * 1.02) ** -np.arange(3)
    assert (nominal[0] * factors).sum() == pytest.approx((flow[0] * 1.04 ** -np.arange(3)).sum())


def test_even_yearly_cost() -> None:
    # Capital recovery factor at 5 % and 20 years: 0.080243 (any table of finance).
    found = equivalent_annual_cost(np.ones(2), np.array([0.05, 0.0]), np.array([20.0, 4.0]))
    np.testing.assert_allclose(found, [0.080243, 0.25], atol=5e-7)


def test_conventions_are_those_the_site_file_takes() -> None:
    from typing import get_args

    from reclaim.site.sitesections import DiscountConvention

    assert set(get_args(DiscountConvention)) == {"constant", *discount_conventions()}


def test_a_convention_changes_the_value(make_quantities, priced) -> None:
    public, private = (
        appraise_quantities(make_quantities(), priced(), (), name)
        for name in ("eu_social", "private")
    )
    assert public.npv[0] != private.npv[0]
    assert private.discount_rate[0] == 0.10
    with pytest.raises(ValueError, match="No discount convention"):
        convention_factors("no such", 5)


@pytest.mark.parametrize(
    "key",
    ["money.price_fuel_per_t", "money.price_soil_per_t", "airspace.value_per_m3", "money.grant",
     "money.dig_cost_per_m3", "money.hazardous_cost_per_t", "money.discount_rate",
     "plant.capacity_t_y", "money.land_value_per_m2", "airspace.soil_returned"],
)  # fmt: skip
def test_break_even_of_any_input_to_a_millionth(make_quantities, assumptions, key) -> None:
    quantities = make_quantities().times(500.0)
    value = breakevens([key], quantities, assumptions)[key]
    low, high = assumptions[key].minimum, assumptions[key].maximum
    best = Draws.best_estimate()

    def npv(number):
        fixed = replace(assumptions[key], kind="fixed", numbers=(number,), given=True)
        return appraise_quantities(quantities, Prices({**assumptions, key: fixed}, best)).npv[0]

    if np.isnan(value):
        low = max(low, 20_000.0) if key == "plant.capacity_t_y" else low
        assert npv(low) * npv(high) > 0
        return
    step = 1e-6 * max(abs(value), 1e-6)
    assert npv(value - step) * npv(value + step) <= 0


def test_price_index_brings_defaults_to_the_price_year(assumptions, make_quantities) -> None:
    # Eurostat HICP (from memory): 123.2 in 2023, 100 in 2015.
    assert price_index_of(2015) == pytest.approx(100 / 123.2)
    then = at_price_level(assumptions, 2015)
    assert then["money.price_index"].central == pytest.approx(100 / 123.2)
    best = Draws.best_estimate()
    now, before = (
        appraise_quantities(make_quantities(), Prices(stated, best)).npv[0]
        for stated in (assumptions, then)
    )
    assert before == pytest.approx(now * 100 / 123.2)


def test_a_price_year_without_a_conversion_is_an_error(assumptions) -> None:
    findings = Findings()
    check_price_year(assumptions, 1990, "site.toml", findings)
    assert "Give price_index" in str(findings.errors[0])
    given = replace(assumptions["money.price_index"], numbers=(0.5,), given=True)
    findings = Findings()
    check_price_year({**assumptions, "money.price_index": given}, 1990, "site.toml", findings)
    assert not findings.errors
