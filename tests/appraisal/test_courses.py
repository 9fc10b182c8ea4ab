"""Courses of action on one basis, the part worth most, the outside view, the gate."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from reclaim.appraisal import (
    COURSES,
    appraise_quantities,
    best_part,
    compare_courses,
    conservative_readings,
    cost_class,
    quantities_of,
    quantities_of_part,
    stage_gate,
)
from reclaim.appraisal import courses as courses_module
from reclaim.assumptions import Draws
from reclaim.ground import DugVolumes
from reclaim.plant import run_line
from reclaim.reference import data_path
from reclaim.site import Findings
from reclaim.site.plantfile import read_line


def named(courses):
    return {course.name: course for course in courses}


@pytest.mark.parametrize("draws", [Draws.best_estimate(), Draws(150, seed=2)])
def test_mining_beside_leaving_is_the_appraisal(make_quantities, priced, draws) -> None:
    quantities, price = make_quantities(draws), priced(draws=draws)
    found = named(compare_courses(quantities, quantities, "temperate_wet", price))
    alone = appraise_quantities(quantities, price)
    np.testing.assert_allclose(found["mine"].npv_beside_leaving, alone.npv, rtol=1e-9)
    np.testing.assert_allclose(found["mine"].airspace_m3, alone.airspace.reclaimed_m3)
    np.testing.assert_allclose(found["mine_part"].npv, found["mine"].npv, rtol=1e-9)
    np.testing.assert_allclose(found["mine_part"].carbon_t, found["mine"].carbon_t, rtol=1e-9)


def test_leaving_costs_aftercare_and_nothing_else(make_quantities, priced) -> None:
    # By hand: 500 m2 at 10 000 a hectare and year are 500 a year for 3 years, and a cap of 20/m2.
    price = priced({
        "money.avoided_aftercare_per_ha_y": 10_000.0, "money.avoided_aftercare_years": 3.0,
        "money.avoided_closure_per_m2": 20.0, "money.discount_rate": 0.0,
    })  # fmt: skip
    quantities = make_quantities()
    leave = compare_courses(quantities, quantities, "temperate_wet", price, courses=["leave"])[0]
    assert leave.npv[0] == pytest.approx(-1500 - 10_000)
    assert leave.npv_beside_leaving[0] == 0
    assert leave.truck_trips[0] == leave.duration_years[0] == leave.airspace_m3[0] == 0


def test_capping_by_hand(make_quantities, priced) -> None:
    price = priced({
        "options.cap_cost_per_m2": 40.0, "options.gas_system_per_ha": 20_000.0,
        "options.gas_running_per_ha_y": 4000.0, "options.gas_running_years": 5.0,
        "options.cap_aftercare_years": 10.0, "money.avoided_aftercare_per_ha_y": 6000.0,
        "money.engineering_share": 0.2, "money.contingency_share": 0.3,
        "money.discount_rate": 0.0,
    })  # fmt: skip
    quantities = make_quantities()
    cap = compare_courses(quantities, quantities, "temperate_wet", price, courses=["cap"])[0]
    works = (500 * 40 + 0.05 * 20_000) * 1.2 * 1.3
    assert cap.cost[0] == pytest.approx(works + 0.05 * (4000 * 5 + 6000 * 10))
    assert cap.carbon_beside_leaving_t[0] < 0


def test_hauling_away_by_hand(make_quantities, priced) -> None:
    price = priced({
        "options.haul_distance_km": 40.0, "money.haul_per_t_km": 0.1, "money.load_per_t": 3.0,
        "money.residue_gate_fee_per_t": 90.0, "options.truck_payload_t": 25.0,
        "money.discount_rate": 0.0, "airspace.value_per_m3": 0.0,
    })  # fmt: skip
    quantities = make_quantities()
    haul = compare_courses(quantities, quantities, "temperate_wet", price, courses=["haul"])[0]
    assert haul.truck_trips[0] == pytest.approx(40)
    assert haul.cost[0] > 1000 * (90 + 3 + 4)
    assert haul.land_m2[0] == 500


def test_the_courses_asked_for_in_one_order(make_quantities, priced) -> None:
    quantities = make_quantities()
    found = compare_courses(
        quantities, quantities, "temperate_wet", priced(), courses=["mine", "cap"]
    )
    assert [course.name for course in found] == ["cap", "mine"]
    with pytest.raises(ValueError, match="burn"):
        compare_courses(quantities, quantities, "temperate_wet", priced(), courses=["burn"])
    assert list(COURSES) == ["leave", "cap", "haul", "mine", "mine_part"]


def test_chunks_change_nothing(make_quantities, priced, monkeypatch) -> None:
    draws = Draws(50, seed=4)
    quantities, price = make_quantities(draws), priced(draws=draws)
    whole = compare_courses(quantities, quantities, "temperate_wet", price)
    monkeypatch.setattr(courses_module, "_DRAWS_AT_ONCE", 7)
    parts = compare_courses(quantities, quantities, "temperate_wet", priced(draws=draws))
    for one, other in zip(whole, parts, strict=True):
        np.testing.assert_allclose(one.npv, other.npv, rtol=1e-12)
        np.testing.assert_allclose(one.carbon.methane_t, other.carbon.methane_t, rtol=1e-12)


def test_shares_of_a_bill_add_up(make_quantities) -> None:
    quantities = make_quantities(Draws(5, seed=1))
    both = quantities.times(0.3).plus(quantities.times(np.full(5, 0.7)))
    np.testing.assert_allclose(both.waste_t, quantities.waste_t)
    np.testing.assert_allclose(both.rotting_c_t, quantities.rotting_c_t)
    np.testing.assert_allclose(both.product("fuel"), quantities.product("fuel"))
    assert quantities.rows(slice(1, 3)).n_draws == 2


def test_the_part_stops_where_it_no_longer_pays(dig, make_quantities, priced) -> None:
    # South is worth digging at 1 000 per m3 of space, north, all residue, is not.
    quantities = make_quantities()
    rich = replace(quantities.times(0.56), area_m2=np.array([250.0]))
    residue = {**{name: 0 * mass for name, mass in quantities.product_t.items()},
               "residue": 0.44 * quantities.waste_t}  # fmt: skip
    poor = replace(
        quantities.times(0.44), product_t=residue, target_t=residue, area_m2=np.array([250.0])
    )
    price = priced({
        "airspace.value_per_m3": 1000.0, "airspace.soil_returned": 0.0,
        "airspace.residue_density_t_m3": 0.5, "airspace.fill_rate_m3_y": 1e6,
    })  # fmt: skip
    part = best_part(dig, (poor, rich), price)
    assert part.pays
    assert not part.taken[0].any()
    assert part.taken[1].all()
    dug = quantities_of_part(part, dig, (poor, rich))
    assert dug.waste_t[0] == pytest.approx(rich.waste_t[0])
    assert dug.area_m2[0] == 250


def test_lifts_are_taken_from_the_top(dig, make_quantities, priced) -> None:
    quantities = make_quantities()
    part = best_part(dig, (quantities.times(0.44), quantities.times(0.56)), priced())
    for taken in part.taken:
        depth = np.flatnonzero(~taken)
        assert depth.size == 0 or not taken[depth[0] :].any()
    assert not part.pays
    assert part.taken.any(axis=1).sum() == 1
    # The cover sits in the first lift, so that lift is worth less than those below.
    assert (part.worth_per_m3[:, 0] < part.worth_per_m3[:, 1]).all()


def test_conservative_steps_never_help(make_quantities, priced) -> None:
    readings = conservative_readings(make_quantities().times(100.0), priced())
    assert [reading.name for reading in readings] == [
        "base", "no_recyclables", "space_at_cost", "overrun",
    ]  # fmt: skip
    assert readings[0].npv[0] >= readings[1].npv[0] >= readings[2].npv[0]


def test_the_gate(make_quantities, priced, assumptions) -> None:
    readings = conservative_readings(make_quantities().times(100.0), priced())
    bad = stage_gate(np.full(100, -1.0), readings, {}, assumptions, priced())
    assert bad.verdict == "no go"
    assert bad.survives
    near = {"money.price_fuel_per_t": -20.0, "airspace.value_per_m3": 900.0}
    close = stage_gate(np.full(100, -1.0), readings, near, assumptions, priced())
    assert close.verdict == "data first"
    assert [need.key for need in close.data_first] == ["money.price_fuel_per_t"]
    rich = tuple(replace(reading, npv=np.array([1.0])) for reading in readings)
    good = stage_gate(np.full(100, 1.0), rich, {}, assumptions, priced())
    assert good.verdict == "go"
    mixed = (*rich[:3], readings[3])
    assert stage_gate(np.full(100, 1.0), mixed, {}, assumptions, priced()).verdict == "data first"


def test_class_of_the_estimate() -> None:
    # AACE 18R-97, Class 5 (from memory): -20 to -50 % and +30 to +100 %.
    found = cost_class()
    assert found.name == "Class 5"
    assert (found.low_from, found.low_to, found.high_from, found.high_to) == (-0.5, -0.2, 0.3, 1.0)


LINES = sorted(Path(data_path("lines")).glob("*.toml"))


@pytest.mark.parametrize("path", LINES, ids=lambda path: path.stem)
def test_every_line_that_ships_can_be_appraised(path, make_feed, assumptions, priced, best) -> None:
    findings = Findings()
    line = read_line(path, path.name, findings)
    assert line is not None, findings.errors
    feed = make_feed(draws=best)
    volumes = DugVolumes(np.array([60.0]), np.array([909.0]), np.array([30.0]), np.array([[909.0]]))
    quantities = quantities_of(volumes, feed, run_line(feed, line, assumptions, best), 500.0)
    for course in compare_courses(quantities, quantities, "temperate_wet", priced()):
        for value in (course.npv, course.carbon_t, course.truck_trips, course.duration_years):
            assert np.isfinite(value).all(), (path.stem, course.name)
