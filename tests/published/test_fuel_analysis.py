"""Calorific value from analyses, against a handbook's table and two journal examples."""

from __future__ import annotations

import numpy as np
import pytest

from reclaim.waste import ProximateAnalysis, UltimateAnalysis, gross_dry, net_dry_of_elements
from reclaim.waste.fuel_analysis import formula_names

BTU_PER_LB = 2.326e-3  # MJ/kg, exact by definition of the units

# Tchobanoglous, Theisen and Vigil (1993), Integrated Solid Waste Management, ultimate analysis of
# dry matter [%]: C, H, O, N, S, ash; then the results of the modified form [Btu/lb] and of the
# original form of Dulong [kJ/kg], worked by hand from its coefficients.
COMPONENTS = {
    "food": (48.0, 6.4, 37.6, 2.6, 0.4, 5.0, 8039, 18_724),
    "paper": (43.5, 6.0, 44.0, 0.3, 0.2, 6.0, 6624, 15_452),
    "cardboard": (44.0, 5.9, 44.6, 0.3, 0.2, 5.0, 6589, 15_369),
    "plastics": (60.0, 7.2, 22.8, 0.0, 0.0, 10.0, 11_354, 26_568),
    "rubber": (78.0, 10.0, 0.0, 2.0, 0.0, 10.0, 17_430, 40_808),
    "leather": (60.0, 8.0, 11.6, 10.0, 0.4, 10.0, 12_812, 29_780),
    "yard": (47.8, 6.0, 38.0, 3.4, 0.3, 4.5, 7740, 17_998),
    "wood": (49.5, 6.0, 42.7, 0.2, 0.1, 1.5, 7588, 17_706),
}


def of_percent(*percent):
    return UltimateAnalysis(*(np.array(value / 100) for value in percent))


@pytest.mark.parametrize("name", COMPONENTS)
def test_dulong_of_the_handbook(name) -> None:
    *percent, modified, original = COMPONENTS[name]
    analysis = of_percent(*percent)
    assert gross_dry(analysis, "dulong_modified") / BTU_PER_LB == pytest.approx(modified, abs=1)
    assert 1000 * gross_dry(analysis, "dulong") == pytest.approx(original, abs=2)


def test_dulong_of_the_mix_of_residential_waste() -> None:
    # Class exercise on 100 lb of residential waste, 78.78 lb dry; elements of the dry matter as
    # published there. 5996 Btu/lb dry, 7 % below the sum over components.
    mix = of_percent(36.778, 4.837, 30.180, 0.770, 0.152, 27.284)
    assert gross_dry(mix) / BTU_PER_LB == pytest.approx(5996, abs=3)
    # The formula unit C760 H1980 O874.7 N12.7 S of the same book: 5772 Btu/lb from percentages
    # rounded to one decimal.
    unit = of_percent(36.0, 7.8, 55.3, 0.7, 0.1, 0.0)
    assert gross_dry(unit) / BTU_PER_LB == pytest.approx(5772, abs=8)


def test_formulas_agree_within_what_is_known_of_them() -> None:
    # Channiwala and Parikh (2002), Fuel 81, 1051-1063 give an average error of 1.45 %; Dulong's
    # form reads low where there is much oxygen (common practice, no source).
    for name, numbers in COMPONENTS.items():
        analysis = of_percent(*numbers[:6])
        ratio = gross_dry(analysis, "dulong") / gross_dry(analysis, "channiwala_parikh")
        assert 0.82 < ratio < 1.08, name


def test_proximate_analysis() -> None:
    # Parikh et al. (2005), Fuel 84, 487-494: 0.3536 FC + 0.1559 VM - 0.0078 ash [MJ/kg], by hand
    # for 20 % fixed carbon, 70 % volatile matter, 10 % ash.
    analysis = ProximateAnalysis(np.array(0.7), np.array(0.2), np.array(0.1))
    assert gross_dry(analysis, "parikh_proximate") == pytest.approx(17.907, abs=1e-3)


def test_net_value_takes_off_the_water_of_the_hydrogen() -> None:
    # ISO 21654:2021: 212 J/g per per cent of hydrogen and 0.8 per per cent of oxygen and nitrogen.
    paper = of_percent(*COMPONENTS["paper"][:6])
    difference = gross_dry(paper) - net_dry_of_elements(paper)
    assert difference == pytest.approx(0.212 * 6.0 + 0.0008 * 44.3, abs=1e-9)


def test_what_cannot_be_right_is_refused() -> None:
    with pytest.raises(ValueError, match="add to 1"):
        of_percent(48.0, 6.4, 37.6, 2.6, 0.4, 50.0)
    with pytest.raises(ValueError, match="negative"):
        of_percent(108.0, -8.0, 0.0, 0.0, 0.0, 0.0)
    analysis = ProximateAnalysis(np.array(0.7), np.array(0.2), np.array(0.1))
    for formula in ("dulong", "nobody"):
        with pytest.raises(ValueError, match="no formula"):
            gross_dry(analysis, formula)
    assert "parikh_proximate" in formula_names()
