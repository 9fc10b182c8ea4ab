from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from reclaim.assumptions import Draws
from reclaim.plant import run_line
from reclaim.plant.shares import line_outlets
from reclaim.site.plantfile import MachineSpec


@pytest.mark.parametrize("draws", [Draws.best_estimate(), Draws(300, seed=7)])
def test_balances_close(make_feed, default_line, assumptions, draws) -> None:
    feed = make_feed(draws=draws)
    products = run_line(feed, default_line, assumptions, draws)
    for error in (
        products.balance.mass,
        products.balance.water,
        products.balance.energy,
        products.balance.elements,
    ):
        assert error < 1e-9
    out = products.product_wet_t.sum(axis=1) + products.water_lost_t + products.gas_lost_t
    np.testing.assert_allclose(out, feed.total_wet_t, rtol=1e-9)
    ash_in = (feed.dry_t * feed.properties.ash).sum(axis=1)
    ash_out = (products.ash * products.product_dry_t).sum(axis=1)
    np.testing.assert_allclose(ash_out, ash_in, rtol=1e-9)
    chlorine_in = (feed.dry_t * feed.properties.chlorine).sum(axis=1)
    chlorine_out = (products.chlorine * products.product_dry_t).sum(axis=1)
    np.testing.assert_allclose(chlorine_out, chlorine_in, rtol=1e-9)


def test_streams_balance_at_every_machine(make_feed, default_line, assumptions, best) -> None:
    products = run_line(make_feed(), default_line, assumptions, best)
    for machine in default_line.machines:
        entering = sum(s.wet_t[0] for s in products.streams if s.target == machine.name)
        leaving = sum(s.wet_t[0] for s in products.streams if s.origin == machine.name)
        assert leaving == pytest.approx(entering, rel=1e-9)
        assert products.machine_t[machine.name][0] == pytest.approx(entering, rel=1e-9)


def test_one_draw_of_fixed_numbers_is_the_best_estimate(
    make_feed, default_line, assumptions
) -> None:
    fixed = {
        key: replace(item, kind="fixed", numbers=(item.central,))
        for key, item in assumptions.items()
    }
    best = run_line(make_feed(), default_line, fixed, Draws.best_estimate())
    again = run_line(make_feed(), default_line, fixed, Draws.best_estimate())
    np.testing.assert_array_equal(best.dry_t, again.dry_t)


@pytest.mark.parametrize("draws", [Draws.best_estimate(), Draws(200, seed=3)])
def test_shares_add_to_one(default_line, draws) -> None:
    totals = {}
    for outlet in line_outlets(default_line, draws):
        assert (outlet.share >= 0).all()
        totals[outlet.machine] = totals.get(outlet.machine, 0) + outlet.share
    for total in totals.values():
        np.testing.assert_allclose(total, 1, rtol=1e-12)


def test_drier_target_leaves_less_water(make_feed, default_line, assumptions, best) -> None:
    def fuel_moisture(target):
        item = replace(
            assumptions["plant.target_moisture"], kind="fixed", numbers=(target,), given=True
        )
        products = run_line(
            make_feed(), default_line, {**assumptions, "plant.target_moisture": item}, best
        )
        assert products.drying.moisture_out[0] == pytest.approx(target, rel=1e-9)
        return products.moisture[0, products.names.index("fuel")]

    assert fuel_moisture(0.10) < fuel_moisture(0.15) < fuel_moisture(0.25)


def test_without_bought_heat_old_waste_stays_wet(
    make_feed, default_line, assumptions, best
) -> None:
    none = replace(assumptions["plant.bought_heat_share"], numbers=(0.0,))
    products = run_line(
        make_feed(), default_line, {**assumptions, "plant.bought_heat_share": none}, best
    )
    assert products.drying.heat_bought_mwh[0] == 0
    assert products.drying.moisture_out[0] > 0.30


def test_waste_drier_than_the_target_is_left_alone(
    make_feed, default_line, assumptions, best
) -> None:
    products = run_line(make_feed(moisture=0.10), default_line, assumptions, best)
    assert products.water_lost_t[0] == 0
    assert products.drying.heat_bought_mwh[0] == 0


def test_a_recycle_through_the_dryer_settles(make_feed, default_line, assumptions, best) -> None:
    middlings_back = tuple(
        replace(machine, outlets={**machine.outlets, "middlings": "drying_box"})
        if machine.name == "heavy_separator"
        else machine
        for machine in default_line.machines
    )
    line = replace(default_line, machines=middlings_back)
    products = run_line(make_feed(), line, assumptions, best)
    assert products.balance.mass < 1e-9
    assert products.balance.water < 1e-9
    once = run_line(make_feed(), default_line, assumptions, best)
    assert products.wet_t("fuel")[0] > once.wet_t("fuel")[0]


def test_line_without_dryer_loses_nothing(make_feed, default_line, assumptions, best) -> None:
    screen = MachineSpec("screen", "trommel", {"oversize": "fuel", "undersize": "soil"})
    line = replace(default_line, feed="screen", machines=(screen,), products=("fuel", "soil"))
    products = run_line(make_feed(), line, assumptions, best)
    assert products.water_lost_t[0] == products.gas_lost_t[0] == 0
    assert products.product_wet_t.sum() == pytest.approx(1000)
