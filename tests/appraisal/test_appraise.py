from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest

from reclaim.appraisal import appraise, net_present_value
from reclaim.assumptions import Draws
from reclaim.ground import DugVolumes
from reclaim.plant import run_line

AREA_M2 = 500.0


@pytest.fixture
def run(make_feed, default_line, assumptions):
    def run(changes=None, draws=None):
        draws = draws or Draws.best_estimate()
        stated = dict(assumptions)
        stated["plant.capacity_t_y"] = fixed(stated["plant.capacity_t_y"], 300.0)
        for key, value in (changes or {}).items():
            stated[key] = fixed(stated[key], value)
        feed = make_feed(draws=draws)
        n = draws.n_draws
        volumes = DugVolumes(
            cover_m3=np.full(n, 60.0),
            waste_m3=np.full(n, 909.0),
            overdig_m3=np.full(n, 30.0),
            zone_waste_m3=np.full((n, 1), 909.0),
        )
        products = run_line(feed, default_line, stated, draws)
        return feed, products, appraise(volumes, feed, products, AREA_M2, stated, draws)

    return run


def fixed(assumption, value):
    return replace(assumption, kind="fixed", numbers=(value,), given=True)


@pytest.mark.parametrize("draws", [Draws.best_estimate(), Draws(200, seed=1)])
def test_money_balances(run, draws) -> None:
    _, _, found = run(draws=draws)
    np.testing.assert_allclose(found.net_flow.sum(axis=1), found.revenue - found.cost, rtol=1e-9)
    by_item = np.sum([net_present_value(i.flow, found.discount_rate) for i in found.items], axis=0)
    np.testing.assert_allclose(by_item, found.npv, rtol=1e-9)
    irr, _ = found.rates_of_return()
    with_rate = np.isfinite(irr)
    np.testing.assert_allclose(
        net_present_value(found.net_flow, np.where(with_rate, irr, 0))[with_rate] / 1e6,
        0,
        atol=1e-6,
    )


@pytest.mark.parametrize("draws", [Draws.best_estimate(), Draws(200, seed=1)])
def test_space_balances(run, draws) -> None:
    _, _, found = run(draws=draws)
    space = found.airspace
    np.testing.assert_allclose(space.opened_m3, 999.0)
    np.testing.assert_allclose(
        space.opened_m3 - space.refilled_m3 - space.lost_m3, space.reclaimed_m3, rtol=1e-9
    )


def test_space_by_hand(run) -> None:
    _, products, found = run(
        {
            "airspace.residue_returned": 1.0,
            "airspace.soil_returned": 1.0,
            "airspace.residue_density_t_m3": 1.0,
            "airspace.soil_density_t_m3": 1.5,
            "airspace.liner_loss_m": 0.5,
            "airspace.settlement": 0.1,
        }
    )
    soil_t = products.wet_t("soil")[0] + 100 + 50
    refilled = 0.9 * (products.wet_t("residue")[0] + soil_t / 1.5)
    assert found.airspace.refilled_m3[0] == pytest.approx(refilled)
    assert found.airspace.lost_m3[0] == 250
    assert found.airspace.reclaimed_m3[0] == pytest.approx(999 - refilled - 250)


def item(found, name):
    return next(i for i in found.items if i.name == name)


def test_schedule_spreads_over_the_years(run) -> None:
    feed, products, found = run(
        {
            "money.price_fuel_per_t": -40.0,
            "money.fuel_price_per_ncv": 0.0,
            "money.fuel_chlorine_penalty": 0.0,
        }
    )
    assert found.duration_years[0] == pytest.approx(1000 / 300)
    fuel = item(found, "fuel").flow[0]
    np.testing.assert_allclose(fuel[:5] / fuel.sum(), [0, 0.3, 0.3, 0.3, 0.1], atol=1e-12)
    assert fuel.sum() == pytest.approx(-40 * products.wet_t("fuel")[0])
    assert feed.total_wet_t[0] == pytest.approx(1000)


def test_no_more_space_is_paid_for_than_was_won(run) -> None:
    _, _, found = run({"airspace.value_per_m3": 1.0, "airspace.fill_rate_m3_y": 40.0})
    flow = item(found, "airspace").flow[0]
    assert flow.sum() == pytest.approx(found.airspace.reclaimed_m3[0])
    assert flow.max() <= 40 + 1e-9
    assert flow[1] == 0


def test_missing_space_is_charged(run) -> None:
    _, _, found = run({"airspace.value_per_m3": 1.0, "airspace.liner_loss_m": 5.0})
    assert found.airspace.reclaimed_m3[0] < 0
    assert item(found, "airspace").flow[0].sum() == pytest.approx(found.airspace.reclaimed_m3[0])
    assert found.airspace.life_years[0] == 0


def test_aftercare_is_saved_only_after_digging(run) -> None:
    _, _, found = run(
        {"money.avoided_aftercare_per_ha_y": 1000.0, "money.avoided_aftercare_years": 10.0}
    )
    flow = item(found, "aftercare").flow[0]
    hectares = AREA_M2 / 1e4
    assert flow[:4].sum() == 0
    assert flow.sum() == pytest.approx(1000 * hectares * (10 - 1000 / 300), rel=1e-9)


@pytest.mark.parametrize(
    "key", ["money.price_fuel_per_t", "airspace.value_per_m3", "money.avoided_closure_per_m2"]
)
def test_breakeven_makes_it_worth_nothing(run, key) -> None:
    _, _, found = run()
    value = found.breakeven[key]
    if np.isnan(value):
        _, _, most = run({key: 1000.0})
        assert most.npv[0] < 0
    else:
        _, _, again = run({key: value})
        assert again.npv[0] == pytest.approx(0, abs=1e-6 * found.capital[0])


def test_default_money_is_converted_to_the_site_currency(run) -> None:
    _, _, euros = run()
    _, _, other = run({"money.currency_per_eur": 2.0})
    assert other.npv[0] == pytest.approx(2 * euros.npv[0], rel=1e-9)


def test_a_dig_of_centuries_is_refused(run) -> None:
    with pytest.raises(ValueError, match=r"plant\.capacity_t_y is too small"):
        run({"plant.capacity_t_y": 2.0})


def test_the_capacity_proposed_is_enough(run) -> None:
    with pytest.raises(ValueError, match="would end it within 20 years") as caught:
        run({"plant.capacity_t_y": 2.0})
    proposed = float(re.search(r": ([\d.e+]+) would", str(caught.value))[1])
    _, _, found = run({"plant.capacity_t_y": proposed, "schedule.dig_rate_m3_d": 1e6})
    assert found.time.duration_years[0] <= 20


def test_same_seed_same_money(run) -> None:
    draws = Draws(50, seed=9)
    np.testing.assert_array_equal(run(draws=draws)[2].npv, run(draws=draws)[2].npv)
