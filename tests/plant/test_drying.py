from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from reclaim.plant import dry, drying_choices, idle_dryer
from reclaim.plant.air import drying_air
from reclaim.plant.drying import DryingTerms, all_drying, dry_with_heat, rot_speed, wetness_factor


def one(value):
    return np.array([float(value)])


def terms(**changes):
    """Terms of a box with plenty of air, in which a kilogram of water takes 2.442 / 0.75 MJ."""
    numbers = {
        "target_moisture": 0.20,
        "days": 7.0,
        "rot_speed": 1.0,
        "heat_mj_kg": 2.442 / 0.75,
        "bought_heat_share": 0.0,
        "air_rate_m3_t_h": 1000.0,
        "fan_kwh_m3": 0.001,
        "treatment_kwh_kg": 0.01,
        "condensed_share": 0.8,
    }
    air = drying_air(one(50), one(0.95), one(10), one(0.75))
    return DryingTerms(air=air, **{key: one(v) for key, v in {**numbers, **changes}.items()})


def box(lost, **changes):
    """1000 kg at 40 % water, all dry matter able to rot, a given loss in the box."""
    return dry(
        np.zeros((1, 1)),
        np.full((1, 1), 600.0),
        np.full((1, 1), 400.0),
        np.full((1, 1), lost / 600),
        np.full((1, 1), 20.0),
        terms(**changes),
    )


def test_solids_that_must_rot_for_the_heat() -> None:
    # By hand, from the heat balance: 42.427 kg at 20 MJ/kg and 75 % used dry 600 kg of solids
    # from 40 to 20 % water; 260.607 kg of water go; 696.966 kg are left. Heat of evaporation
    # 2.442 MJ/kg: steam tables (IAPWS-IF97 gives 2.4417 at 25 C).
    found = box(42.427)
    assert found.drying.water_removed_t[0] == pytest.approx(260.607, abs=2e-3)
    assert found.drying.moisture_out[0] == pytest.approx(0.20, abs=1e-5)
    left = 1000 - found.drying.water_removed_t[0] - found.drying.solids_lost_t[0]
    assert left == pytest.approx(696.966, abs=2e-3)


def test_too_little_rot_leaves_it_wet_or_buys_heat() -> None:
    wet = box(20)
    assert wet.drying.moisture_out[0] > 0.20
    bought = box(20, bought_heat_share=1.0)
    assert bought.drying.moisture_out[0] == pytest.approx(0.20, rel=1e-12)
    missing = bought.drying.water_removed_t[0] - wet.drying.water_removed_t[0]
    heat_gj = bought.drying.heat_bought_mwh[0] * 3.6
    assert heat_gj == pytest.approx(missing * 2.442 / 0.75, rel=1e-12)


def test_days_follow_first_order_decay() -> None:
    week = box(60).drying.solids_lost_t[0]
    fortnight = box(60, days=14.0).drying.solids_lost_t[0]
    assert fortnight == pytest.approx(600 * (1 - (1 - week / 600) ** 2), rel=1e-12)


def test_too_little_air_leaves_it_wet_however_much_heat_is_bought() -> None:
    short = box(20, bought_heat_share=1.0, air_rate_m3_t_h=5.0).drying
    enough = box(20, bought_heat_share=1.0).drying
    assert short.moisture_out[0] > enough.moisture_out[0]
    # By hand: 1000 t x 5 m3/(t h) x 168 h of air at 10 C, each kilogram taking up what the
    # humidities differ by.
    air = terms().air
    carried = 1000 * 5 * 168 / air.intake_m3_kg[0] * air.takes_up[0] / 1000
    assert short.water_removed_t[0] == pytest.approx(carried, rel=1e-12)
    assert short.air_m3[0] == pytest.approx(1000 * 5 * 168, rel=1e-12)
    assert short.days_of_air[0] > 7
    assert enough.days_of_air[0] < 7


def test_air_fan_condensate_and_treatment_follow_the_water() -> None:
    found = box(42.427).drying
    air_kg = found.water_removed_t[0] * 1000 / terms().air.takes_up[0]
    assert found.exhaust_m3[0] > found.air_m3[0]
    assert found.fan_mwh[0] == pytest.approx(found.air_m3[0] * 0.001 / 1000)
    assert found.condensate_t[0] == pytest.approx(0.8 * found.water_removed_t[0])
    assert found.air_treatment_mwh[0] == pytest.approx(air_kg * 0.01 / 1000)


@pytest.mark.parametrize("temperature_c", [25.0, 40.0, 58.0, 66.0, 71.0])
def test_speed_of_rotting_by_the_published_formula(temperature_c) -> None:
    # Haug (1993), from memory: 1.066^(T - 20) - 1.21^(T - 60), here over that at 50 C.
    def rate(at_c):
        return 1.066 ** (at_c - 20) - 1.21 ** (at_c - 60)

    assert rot_speed(one(temperature_c))[0] == pytest.approx(rate(temperature_c) / rate(50.0))


def test_a_cold_or_dry_box_rots_less() -> None:
    assert rot_speed(one(50))[0] == pytest.approx(1)
    assert rot_speed(one(20))[0] < 0.2
    assert rot_speed(one(82))[0] == 0
    assert box(60, rot_speed=0.5).drying.solids_lost_t[0] < box(60).drying.solids_lost_t[0]
    np.testing.assert_allclose(wetness_factor(np.array([0.05, 0.175, 0.4])), [0, 0.5, 1])


def test_thermal_dryer_buys_all_its_heat_and_rots_nothing() -> None:
    found = dry_with_heat(np.full((1, 1), 600.0), np.full((1, 1), 400.0), one(0.2), one(0.95))
    assert found.drying.water_removed_t[0] == pytest.approx(250)
    assert found.drying.heat_bought_mwh[0] == pytest.approx(250 * 0.95)
    assert found.drying.solids_lost_t[0] == 0
    assert found.drying.moisture_out[0] == pytest.approx(0.2)


def test_several_dryers_are_one_account() -> None:
    first, second = box(42.427).drying, box(20).drying
    both = all_drying([first, second], 1)
    assert both.feed_t[0] == pytest.approx(2000)
    assert both.moisture_in[0] == pytest.approx(0.4)
    assert first.moisture_out[0] < both.moisture_out[0] < second.moisture_out[0]
    assert both.days_of_air[0] == max(first.days_of_air[0], second.days_of_air[0])
    nothing = all_drying([], 3)
    assert (nothing.feed_t == 0).all()
    assert (nothing.moisture_out == 0).all()


def test_rot_goes_at_the_moisture_midway_between_feed_and_target() -> None:
    # From 25 to 15 per cent: at 20 the mix is two thirds of the way from 10 (no rot) to 25 (free).
    wetness = 2 / 3
    found = dry(
        np.array([[650.0, 0.0], [500.0, 100.0]]),
        np.array([[100.0, 0.0], [100.0, 50.0]]),
        np.array([[250.0, 0.0], [150.0, 100.0]]),
        np.array([[0.3, 0.1], [0.3, 0.1]]),
        np.full((2, 2), 10.0),
        DryingTerms(
            **{
                name: np.repeat(value, 2)
                for name in ("target_moisture", "rot_speed", "heat_mj_kg", "bought_heat_share",
                             "air_rate_m3_t_h", "fan_kwh_m3", "treatment_kwh_kg",
                             "condensed_share")
                for value in [getattr(terms(target_moisture=0.15), name)]
            },
            days=np.array([7.0, 14.0]),
            air=drying_air(*(np.repeat(value, 2) for value in (50, 0.95, 10, 0.75))),
        ),
    )  # fmt: skip
    for draw, runs in enumerate((1, 2)):
        lost = 1 - (1 - np.array([0.3, 0.1])) ** (runs * wetness)
        np.testing.assert_allclose(found.lost_share[draw], lost)
    lost_t = (found.lost_share * [[100.0, 0.0], [100.0, 50.0]]).sum(axis=1)
    np.testing.assert_allclose(found.drying.solids_lost_t, lost_t)
    np.testing.assert_allclose(found.drying.heat_own_mwh, lost_t * 10 / 3.6)
    np.testing.assert_allclose(found.drying.moisture_in, [0.25, 0.25])


def test_two_dryers_are_added_up_draw_by_draw() -> None:
    # By hand, two draws: 600 t of dry matter with 400 and 200 t of water, and 100 with 300 and 100.
    def thermal(dry_t, water_t):
        water = np.array(water_t)[:, None]
        return dry_with_heat(np.full((2, 1), dry_t), water, np.full(2, 0.2), np.full(2, 0.9)).drying

    both = all_drying([thermal(600.0, [400.0, 200.0]), thermal(100.0, [300.0, 100.0])], 2)
    np.testing.assert_allclose(both.feed_t, [1400, 1000])
    np.testing.assert_allclose(both.moisture_in, [700 / 1400, 300 / 1000])
    # At 20 per cent the dry matter holds a quarter of its mass: 150 t and 25 t of water.
    np.testing.assert_allclose(both.water_removed_t, [525, 125])
    np.testing.assert_allclose(both.moisture_out, [0.2, 0.2])
    np.testing.assert_allclose(both.heat_bought_mwh, [525 * 0.9, 125 * 0.9])
    np.testing.assert_allclose(both.condensate_t, [525, 125])
    assert not both.days_of_air.any()


def test_ways_to_dry_side_by_side(make_feed, default_line, assumptions, best) -> None:
    box, thermal, none = drying_choices(make_feed(), default_line, assumptions, best)
    assert [box.name, thermal.name, none.name] == ["box", "thermal", "none"]
    assert box.moisture_out == pytest.approx(thermal.moisture_out)
    assert none.heat_bought_mwh == none.water_removed_t == 0
    # Thermal drying needs less heat for a kilogram of water (no cold air to warm), and old waste
    # gives the box almost none of its own.
    assert 0 < thermal.heat_bought_mwh < box.heat_bought_mwh
    assert none.fuel_ncv_mj_kg < box.fuel_ncv_mj_kg
    assert none.fuel_purity < box.fuel_purity
    screen = next(item for item in default_line.machines if item.kind == "trommel")
    dry_line = replace(
        default_line,
        feed="trommel",
        machines=(replace(screen, outlets={"oversize": "fuel", "undersize": "soil"}),),
        products=("fuel", "soil"),
    )
    assert drying_choices(make_feed(), dry_line, assumptions, best) == ()


def test_a_target_above_the_feed_is_told() -> None:
    drying = box(20).drying
    assert idle_dryer(drying, 0.20) is None
    message = idle_dryer(drying, 0.45)
    assert message is not None
    assert "45%" in message
    assert "40%" in message
    assert idle_dryer(all_drying([], 1), 0.45) is None
