from __future__ import annotations

import numpy as np
import pytest

from reclaim.plant import dry
from reclaim.plant.drying import DryingTerms


def terms(**changes):
    numbers = {
        "target_moisture": 0.20,
        "days": 7.0,
        "heat_use": 0.75,
        "evaporation_mj_kg": 2.442,
        "bought_heat_share": 0.0,
    }
    return DryingTerms(**{key: np.array([v]) for key, v in {**numbers, **changes}.items()})


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
