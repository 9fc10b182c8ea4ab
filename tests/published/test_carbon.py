"""Methane by first-order decay, carbon factors and credits, against the guideline and by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from reclaim.appraisal import (
    Prices,
    carbon_of_digging,
    carbon_of_leaving,
    class_rates,
    dig_schedule,
    methane_emitted,
    methane_generated,
)
from reclaim.appraisal.quantities import DECAY_CLASSES
from reclaim.assumptions import Draws
from reclaim.reference import assumption_defaults, read_rows

ONE = np.ones((1, 1))


def test_worked_food_waste_year_by_year() -> None:
    # IPCC (2006) Guidelines, Volume 5, eq. 3.2 to 3.6, worked by hand: 1000 t of food waste, DOC
    # 0.15, DOCf 0.5, MCF 1, F 0.5, k 0.185: 75 t of decaying carbon, 50 t of methane in all.
    made = methane_generated(75 * ONE, 0.185 * ONE, 101)[0]
    np.testing.assert_allclose(made[:6], [0, 8.4448, 7.0185, 5.8331, 4.8479, 4.0291], atol=5e-5)
    assert made[:6].sum() == pytest.approx(30.1734, abs=5e-4)
    assert made.sum() == pytest.approx(50 * (1 - np.exp(-18.5)), rel=1e-9)


def test_worked_food_waste_of_the_refinement() -> None:
    # The same with DOCf 0.7 (2019 Refinement, Table 3.0): 105 t, worked by hand.
    made = methane_generated(105 * ONE, 0.185 * ONE, 6)[0]
    np.testing.assert_allclose(made[1:], [11.8227, 9.8259, 8.1663, 6.7871, 5.6408], atol=5e-5)


def test_oxidation_and_recovery() -> None:
    # IPCC (2006) Volume 5, eq. 3.1: recovered gas is taken off before oxidation; OX 0.1 of the
    # worked example gives 7.6003 t in year 1.
    made = methane_generated(75 * ONE, 0.185 * ONE, 2)
    emitted = methane_emitted(made, 0 * ONE, 0.1 * ONE)
    assert emitted[0, 1] == pytest.approx(7.6003, abs=5e-5)
    half = methane_emitted(made, 0.5 * ONE, 0.1 * ONE)
    assert half[0, 1] == pytest.approx(7.6003 / 2, abs=5e-5)


@pytest.mark.parametrize("factor", [1.0, 0.8, 0.6, 0.5, 0.4])
def test_correction_factor_scales_methane(factor) -> None:
    # IPCC (2006) Volume 5, eq. 3.2, with the factors of Table 3.1 (from memory).
    made = methane_generated(75 * ONE, 0.185 * ONE, 10, np.array([factor]))
    whole = methane_generated(75 * ONE, 0.185 * ONE, 10)
    np.testing.assert_allclose(made, factor * whole)


@pytest.mark.parametrize(
    ("climate", "rates"),
    [
        # IPCC (2006) Volume 5, Table 3.3 (from memory): paper and textiles, wood, and food and
        # garden waste between 0.05 and 0.06, 0.10 and 0.185, 0.065 and 0.085, 0.17 and 0.40.
        ("temperate_dry", (0.04, 0.02, (0.05, 0.06))),
        ("temperate_wet", (0.06, 0.03, (0.10, 0.185))),
        ("tropical_dry", (0.045, 0.025, (0.065, 0.085))),
        ("tropical_wet", (0.07, 0.035, (0.17, 0.40))),
    ],
)
def test_rates_of_every_climate(assumptions, best, climate, rates) -> None:
    found = dict(
        zip(DECAY_CLASSES, class_rates(climate, Prices(assumptions, best))[0], strict=True)
    )
    assert found["paper_textiles"] == rates[0]
    assert found["wood"] == rates[1]
    low, high = rates[2]
    assert low <= found["garden_food"] <= high
    assert 0 < found["fines"] <= 0.06


@pytest.mark.parametrize(
    ("key", "low", "high"),
    [
        ("carbon.gwp_methane", 27, 30),  # IPCC AR5 table 8.7 and AR6 table 7.15, from memory
        ("carbon.methane_correction", 0.4, 1.0),  # IPCC 2006 V5 table 3.1, from memory
        ("carbon.oxidation_capped", 0.1, 0.1),  # IPCC 2006 V5 table 3.2, from memory
        ("carbon.replaced_fuel_kg_gj", 56.1, 101.2),  # IPCC 2006 V2 table 1.4: gas, coal, lignite
        ("carbon.diesel_l_m3", 1.3, 1.5),  # Jain et al. (2014)
    ],
)
def test_factors_of_the_guideline(key, low, high) -> None:
    quantity = assumption_defaults()[key].quantity
    assert (quantity.low, quantity.high) == (low, high)
    assert low <= quantity.mode <= high


def test_every_carbon_factor_has_its_source() -> None:
    rows = [row for row in read_rows("assumptions.csv") if row["key"].startswith("carbon.")]
    assert len(rows) >= 15
    assert all(row["source"] for row in rows)


def test_diesel_per_cubic_metre(quantities, assumptions, best) -> None:
    # Jain et al. (2014): 1.3 to 1.5 L of diesel per m3 in place; at 2.7 kg CO2/L 3.5 to 4.1 kg.
    price = Prices(assumptions, best)
    time = dig_schedule(quantities, price, ())
    none = np.zeros((1, len(DECAY_CLASSES)))
    carbon = carbon_of_digging(
        quantities, time, none, "temperate_wet", price, products_used=False, road_t=np.zeros(1)
    )
    assert 3.3 <= 1000 * carbon.operations_t[0] / quantities.dug_m3[0] <= 4.1


def test_credits_by_hand(quantities, assumptions, best) -> None:
    # Arithmetic: 10 t of iron product at 80 % metal, yield 0.75 and 1.6 t CO2e/t; 100 GJ of coal
    # at 94.6 kg/GJ replaced; 3 t of fossil carbon burnt is 11 t of carbon dioxide.
    changed = replace(
        quantities,
        product_t={**quantities.product_t, "ferrous": np.array([10.0]), "glass": np.zeros(1)},
        target_t={**quantities.target_t, "ferrous": np.array([8.0])},
        aluminium_t=np.zeros(1),
        other_nonferrous_t=np.zeros(1),
        fuel_gj=np.array([100.0]),
        fuel_fossil_c_t=np.array([3.0]),
        fuel_biogenic_c_t=np.array([6.0]),
    )
    price = Prices(assumptions, best)
    none = np.zeros((1, len(DECAY_CLASSES)))
    carbon = carbon_of_digging(
        changed, dig_schedule(changed, price, ()), none, "temperate_wet", price,
        products_used=True, road_t=np.zeros(1),
    )  # fmt: skip
    assert carbon.metals_t[0] == pytest.approx(-8 * 0.75 * 1.6)
    assert carbon.fuel_substituted_t[0] == pytest.approx(-9.46)
    assert carbon.fossil_burnt_t[0] == pytest.approx(11.0)
    assert carbon.biogenic_t[0] == pytest.approx(22.0)
    assert carbon.net_t[0] == pytest.approx(
        carbon.gross_t[0] + carbon.metals_t[0] + carbon.fuel_substituted_t[0]
    )


def test_a_dig_that_takes_no_time_to_come_leaves_no_methane(quantities, assumptions, best) -> None:
    # Limit: what leaves at once cannot rot in the ground; what is never dug rots as if left.
    price = Prices(assumptions, best)
    leave = carbon_of_leaving(quantities, "temperate_wet", price)
    fast = {
        **assumptions,
        "plant.capacity_t_y": replace(assumptions["plant.capacity_t_y"], numbers=(1e9,)),
        "schedule.dig_rate_m3_d": replace(
            assumptions["schedule.dig_rate_m3_d"], kind="fixed", numbers=(1e7,)
        ),
    }
    money = Prices(fast, best)
    none = np.zeros((1, len(DECAY_CLASSES)))
    dug = carbon_of_digging(
        quantities, dig_schedule(quantities, money, ()), none, "temperate_wet", money,
        products_used=False, road_t=np.zeros(1),
    )  # fmt: skip
    assert dug.methane_t[0, 1] == pytest.approx(leave.methane_t[0, 1] / 2)
    assert dug.methane_t[0, 2:].sum() == pytest.approx(0, abs=1e-9)


def test_old_waste_gives_little_methane(quantities, assumptions, best) -> None:
    # A low-organic old fill has given up to 70 kg CO2e per tonne over its life, a managed one 300
    # (Danish Environmental Protection Agency, secondary): what is left must lie below that.
    carbon = carbon_of_leaving(quantities, "temperate_wet", Prices(assumptions, best))
    per_t = 1000 * carbon.landfill_gas_t[0] / quantities.waste_t[0]
    assert 5 < per_t < 300


def test_draws_match_the_best_estimate_in_shape(quantities, assumptions) -> None:
    carbon = carbon_of_leaving(
        quantities, "temperate_wet", Prices(assumptions, Draws.best_estimate())
    )
    assert carbon.methane_t.shape == (1, 101)
    assert carbon.methane_t[0, 0] == 0
