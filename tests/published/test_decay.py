"""First-order decay, against the guideline's worked form and default tables."""

from __future__ import annotations

import numpy as np
import pytest

from reclaim.assumptions import Draws
from reclaim.reference import material_properties
from reclaim.waste import decay_rates, methane_potential_left, undecayed_share

BEST = Draws.best_estimate()
ONE = np.ones(1)


@pytest.mark.parametrize(
    ("years", "left"), [(1, 62.3328), (2, 51.8051), (3, 43.0554), (4, 35.7835), (5, 29.7399)]
)
def test_worked_decay_of_food_waste(years, left) -> None:
    # IPCC (2006) Guidelines, Volume 5, eq. 3.2 to 3.6, hand-worked: 1000 t of food waste, DOC
    # 0.15, DOCf 0.5, MCF 1, k 0.185: 75 t of carbon at first.
    share = undecayed_share(np.array([0.185]), ONE * years, ONE * years)
    assert 75 * share[0] == pytest.approx(left, abs=5e-5)


def test_methane_of_worked_example() -> None:
    # IPCC (2006) Volume 5, eq. 3.3: 75 t of decaying carbon give 50 t of methane.
    assert methane_potential_left(np.array([[1000.0]]), np.array([[0.075]]))[0] == pytest.approx(50)


@pytest.mark.parametrize(("years", "share"), [(20, 0.024724), (50, 9.611e-5)])
def test_old_food_waste_is_gone(years, share) -> None:
    found = undecayed_share(np.array([0.185]), ONE * years, ONE * years)[0]
    assert found == pytest.approx(share, rel=1e-3)


def test_even_tipping_against_yearly_sum() -> None:
    # The closed form against a direct sum over 20 000 deposits of equal size.
    ages = np.linspace(38, 64, 20_001)
    ages = (ages[1:] + ages[:-1]) / 2
    direct = np.exp(-0.06 * ages).mean()
    found = undecayed_share(np.array([0.06]), ONE * 64, ONE * 38)[0]
    assert found == pytest.approx(direct, rel=1e-6)


def test_nothing_decays_at_rate_zero() -> None:
    assert undecayed_share(np.zeros(1), ONE * 60, ONE * 30)[0] == 1


@pytest.mark.parametrize(
    ("climate", "decay_class", "rate"),
    [
        # IPCC (2006) Guidelines, Volume 5, Table 3.3 (from memory).
        ("temperate_dry", "paper_textiles", 0.04),
        ("temperate_wet", "paper_textiles", 0.06),
        ("tropical_dry", "paper_textiles", 0.045),
        ("tropical_wet", "paper_textiles", 0.07),
        ("temperate_dry", "wood", 0.02),
        ("temperate_wet", "wood", 0.03),
        ("tropical_dry", "wood", 0.025),
        ("tropical_wet", "wood", 0.035),
    ],
)
def test_default_rates(climate, decay_class, rate) -> None:
    assert decay_rates(climate, BEST, ONE)[decay_class][0] == rate


def test_unknown_climate_is_refused() -> None:
    with pytest.raises(ValueError, match="lunar"):
        decay_rates("lunar", BEST, ONE)


@pytest.mark.parametrize(
    ("material", "degradable", "total"),
    [("paper_card", 0.44, 0.46), ("wood", 0.50, 0.50), ("textiles", 0.30, 0.50)],
)
def test_degradable_and_total_carbon(material, degradable, total) -> None:
    # IPCC (2006) Guidelines, Volume 5, Table 2.4, on dry mass (from memory).
    table = material_properties()
    assert table[material, "degradable_carbon"].mode == degradable
    assert table[material, "carbon"].mode == total
