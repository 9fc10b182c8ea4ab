"""The bill of quantities added up material by material, and draws that do not mix."""

from __future__ import annotations

from dataclasses import fields, is_dataclass, replace

import numpy as np
import pytest

from reclaim.appraisal import (
    appraise_quantities,
    compare_courses,
    dig_schedule,
    quantities_of,
)
from reclaim.appraisal import courses as courses_module
from reclaim.appraisal.airspace import life_years
from reclaim.appraisal.carbon import carbon_of_digging, carbon_of_leaving
from reclaim.appraisal.cash_flow import space_used
from reclaim.assumptions import Draws
from reclaim.ground import DugVolumes
from reclaim.plant import run_line
from reclaim.waste.decay import decay_class_of_materials

N_DRAWS = 4


@pytest.fixture
def made(make_feed, default_line, assumptions):
    draws = Draws(N_DRAWS, seed=3)
    feed = make_feed(draws=draws)
    products = run_line(feed, default_line, assumptions, draws)
    volumes = DugVolumes(
        cover_m3=np.arange(60.0, 64), waste_m3=np.arange(900.0, 904),
        overdig_m3=np.arange(30.0, 34), zone_waste_m3=np.arange(900.0, 904)[:, None],
    )  # fmt: skip
    return feed, products, quantities_of(volumes, feed, products, 500.0)


def test_fuel_of_a_bill_by_hand(made) -> None:
    feed, products, quantities = made
    place = products.names.index("fuel")
    for draw in range(N_DRAWS):
        dry, water = products.dry_t[draw, place], products.water_t[draw, place]
        wet_t = sum(dry) + sum(water)
        assert quantities.product("fuel")[draw] == pytest.approx(wet_t)
        # A tonne at 1 MJ/kg holds 1 GJ.
        assert quantities.fuel_gj[draw] == pytest.approx(wet_t * products.ncv_mj_kg[draw, place])
        assert quantities.fuel_dry_t[draw] == pytest.approx(sum(dry))
        chlorine = sum(dry) * products.chlorine[draw, place]
        assert quantities.fuel_chlorine_t[draw] == pytest.approx(chlorine)
        carbon = dry * feed.properties.carbon[draw]
        living = feed.properties.biogenic_carbon[draw]
        assert quantities.fuel_biogenic_c_t[draw] == pytest.approx(sum(carbon * living))
        assert quantities.fuel_fossil_c_t[draw] == pytest.approx(sum(carbon * (1 - living)))


def test_energy_carbon_and_metals_of_a_bill_by_hand(made) -> None:
    feed, products, quantities = made
    place = products.names.index("nonferrous")
    for draw in range(N_DRAWS):
        drying = products.drying
        heat = drying.heat_bought_mwh[draw] + drying.air_treatment_mwh[draw]
        assert quantities.heat_mwh[draw] == pytest.approx(heat)
        assert drying.air_treatment_mwh[draw] > 0
        carbon = sum(feed.dry_t[draw] * feed.properties.carbon[draw])
        assert quantities.carbon_t[draw] == pytest.approx(carbon)
        metal = products.dry_t[draw, place]
        for name in ("aluminium", "other_nonferrous"):
            found = getattr(quantities, f"{name}_t")[draw]
            assert found == pytest.approx(metal[products.materials.index(name)])
        for name, whole in quantities.product_t.items():
            share = np.nan_to_num(products.purity[draw, products.names.index(name)])
            assert quantities.target_t[name][draw] == pytest.approx(share * whole[draw])
    assert quantities.dug_m3.tolist() == [60 + 900 + 30 + 3 * draw for draw in range(N_DRAWS)]
    assert quantities.area_m2.tolist() == [500.0] * N_DRAWS


@pytest.mark.parametrize(
    ("field", "product"),
    [("rotting_c_t", None), ("rotting_residue_c_t", "residue"), ("rotting_soil_c_t", "soil")],
)
def test_rotting_carbon_by_decay_class(made, field, product) -> None:
    # Carbon is 72 of the 162 g of a mole of cellulose, (C6H10O5)n. Soil that clings to what does
    # not rot itself is in no class.
    feed, products, quantities = made
    dry = feed.dry_t if product is None else products.dry_t[:, products.names.index(product)]
    found = getattr(quantities, field)
    carbon = dry * feed.properties.degradable * 72 / 162
    rots = np.array([bool(name) for name in decay_class_of_materials()])
    assert found.sum(axis=1) == pytest.approx(carbon[:, rots].sum(axis=1), rel=1e-3)
    members = {}
    for name, column in zip(decay_class_of_materials(), carbon.T, strict=True):
        members[name] = members.get(name, 0) + column
    sums = sorted(total[0] for name, total in members.items() if name and total[0] > 0)
    assert sorted(one for one in found[0] if one > 0) == pytest.approx(sums, rel=1e-3)


def assert_same(whole, parts, where=""):
    """Every array of one record is that of the other."""
    if is_dataclass(whole):
        for field in fields(whole):
            assert_same(getattr(whole, field.name), getattr(parts, field.name), field.name)
    elif isinstance(whole, tuple):
        for one, other in zip(whole, parts, strict=True):
            assert_same(one, other, where)
    elif isinstance(whole, np.ndarray):
        np.testing.assert_allclose(whole, parts, rtol=1e-9, atol=1e-9, err_msg=where)
    else:
        assert whole == parts, where


def test_no_draw_depends_on_the_others(made, priced, monkeypatch) -> None:
    _, _, quantities = made
    draws = Draws(N_DRAWS, seed=3)
    given = quantities, quantities.times(0.5), "temperate_wet"
    whole = compare_courses(*given, priced(draws=draws))
    monkeypatch.setattr(courses_module, "_DRAWS_AT_ONCE", 1)
    assert_same(whole, compare_courses(*given, priced(draws=draws)))
    assert len({*whole[0].carbon.landfill_gas_t}) == N_DRAWS


def test_no_more_is_stored_than_there_is(make_quantities, priced) -> None:
    quantities = replace(make_quantities(), carbon_t=np.array([0.0]))
    found = carbon_of_leaving(quantities, "temperate_wet", priced())
    assert found.stored_t[0] == 0
    assert found.landfill_gas_t[0] > 0


def test_cost_income_and_years_of_a_dig_by_hand(made, priced) -> None:
    _, _, quantities = made
    price = priced({"plant.capacity_t_y": 400.0}, draws=Draws(N_DRAWS, seed=3))
    found = appraise_quantities(quantities, price)
    for draw in range(N_DRAWS):
        flows = np.concatenate([item.flow[draw] for item in found.items])
        assert found.cost[draw] == pytest.approx(-flows[flows < 0].sum())
        assert found.revenue[draw] == pytest.approx(flows[flows > 0].sum())
        capital = [item.flow[draw, 0] for item in found.items if item.group == "capital"]
        assert found.capital[draw] == pytest.approx(-sum(capital))
        # Whole years of digging and the part of the last; nothing in year 0, which builds.
        years, last = divmod(found.duration_years[draw], 1)
        dug = found.time.years_dug[draw]
        assert years >= 2
        assert dug[0] == 0
        np.testing.assert_allclose(dug[1 : int(years) + 1], 1)
        assert dug[int(years) + 1 :].sum() == pytest.approx(last)


def test_only_usable_space_is_filled(made, priced) -> None:
    # Filled at once the year after, the space used is what was won times its usable share.
    _, _, quantities = made
    price = priced({
        "airspace.usable": 0.8, "airspace.fill_rate_m3_y": 1e6, "airspace.soil_returned": 0.0,
    }, draws=Draws(N_DRAWS, seed=3))  # fmt: skip
    found = appraise_quantities(quantities, price)
    assert (found.airspace.reclaimed_m3 > 0).all()
    used = space_used(found.airspace, found.time, price).sum(axis=1)
    np.testing.assert_allclose(used, 0.8 * found.airspace.reclaimed_m3)


def test_default_euros_are_multiplied_by_the_currency_and_stated_money_is_not(priced) -> None:
    price = priced({"money.currency_per_eur": 4.0, "money.price_index": 1.5,
                    "money.dig_cost_per_m3": 7.0})  # fmt: skip
    stated = price.assumptions["money.sorting_cost_per_t"]
    assert price["money.sorting_cost_per_t"][0] == pytest.approx(6 * stated.central)
    assert price["money.dig_cost_per_m3"][0] == 7


def test_carbon_of_a_dig_by_hand(made, priced) -> None:
    _, _, quantities = made
    price = priced(draws=Draws(N_DRAWS, seed=3))
    found = carbon_of_digging(
        quantities, dig_schedule(quantities, price, ()), 0.0 * quantities.rotting_c_t,
        "temperate_wet", price, products_used=True, road_t=np.array([100.0, 200.0, 0.0, 50.0]),
    )  # fmt: skip
    kilometres, truck = price["options.haul_distance_km"], price["carbon.truck_kg_t_km"]
    road = np.array([100, 200, 0, 50]) * kilometres * truck / 1000
    np.testing.assert_allclose(found.transport_t, road)
    diesel_t = quantities.dug_m3 * price["carbon.diesel_l_m3"] * price["carbon.diesel_kg_l"] / 1000
    power_t = quantities.power_mwh * price["carbon.power_t_mwh"]
    heat_t = quantities.heat_mwh * price["carbon.heat_t_mwh"]
    np.testing.assert_allclose(found.operations_t, diesel_t + power_t + heat_t)
    # 44 g of carbon dioxide hold 12 g of carbon.
    np.testing.assert_allclose(found.fossil_burnt_t, quantities.fuel_fossil_c_t * 44 / 12)
    np.testing.assert_allclose(found.biogenic_t, quantities.fuel_biogenic_c_t * 44 / 12)
    replaced = quantities.fuel_gj * price["carbon.replaced_fuel_kg_gj"] / 1000
    np.testing.assert_allclose(found.fuel_substituted_t, -replaced)
    gas = found.methane_t.sum(axis=1) * price["carbon.gwp_methane"]
    np.testing.assert_allclose(found.landfill_gas_t, gas)
    given_off = gas + found.fossil_burnt_t + diesel_t + power_t + heat_t + road
    np.testing.assert_allclose(found.gross_t, given_off)
    saved = replaced - found.metals_t - found.glass_t
    np.testing.assert_allclose(found.net_t, given_off - saved)


@pytest.mark.parametrize("growth", [0.07, -0.04])
def test_a_space_is_full_when_the_years_of_filling_add_up(growth) -> None:
    # Year by year: 10 000 m3 in the first, growing; counted off until 87 000 m3 are full.
    left, rate, years = 87_000.0, 10_000.0, 0.0
    while left > rate:
        left, rate, years = left - rate, rate * (1 + growth), years + 1
    years += left / rate
    found = life_years(np.array([87_000.0]), np.array([10_000.0]), np.array([growth]))
    assert found[0] == pytest.approx(years)


def test_a_filling_that_falls_too_fast_never_ends() -> None:
    # 10 000 m3 falling by a tenth a year add up to 100 000 m3 at most.
    space, rate, fall = np.array([99_000.0, 101_000.0]), np.full(2, 10_000.0), np.full(2, -0.1)
    found = life_years(space, rate, fall)
    assert np.isfinite(found[0])
    assert np.isinf(found[1])
