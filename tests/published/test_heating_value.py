"""Calorific value, fuel class and the energy of a mix, against standards and handbook examples."""

from __future__ import annotations

import numpy as np
import pytest

from reclaim.plant import editions, fuel_class
from reclaim.waste import mix_value, net_as_received, net_dry, net_dry_from_gross

BTU_PER_LB = 2.326e-3  # MJ/kg, exact by definition of the units


@pytest.mark.parametrize(
    ("dry", "moisture", "expected"), [(25.0, 0.25, 18.13925), (20.0, 0.30, 13.2671)]
)
def test_net_value_as_received(dry, moisture, expected) -> None:
    # ISO 21654:2021 (same form as EN 15400:2011), formula from memory; arithmetic by hand.
    found = net_as_received(np.array(dry), np.array(moisture))
    assert found == pytest.approx(expected, rel=1e-9)
    assert net_dry(found, np.array(moisture)) == pytest.approx(dry, rel=1e-12)


def test_moisture_at_which_nothing_is_left() -> None:
    # ISO 21654 form: 20 / (20 + 2.443) of water leaves no net heat.
    moisture = np.array(20 / (20 + 2.443))
    assert moisture == pytest.approx(0.8911, abs=5e-5)
    assert net_as_received(np.array(20.0), moisture) == pytest.approx(0, abs=1e-12)


def test_net_from_gross() -> None:
    # EN 15400:2011 form, from memory: 22 500 J/g, H 6.5, O 30, N 0.8 % dry; M 25 %.
    dry = net_dry_from_gross(np.array(22.5), np.array(0.065), np.array(0.308))
    assert dry == pytest.approx(21.0974, abs=5e-5)
    assert net_as_received(dry, np.array(0.25)) == pytest.approx(15.2123, abs=5e-5)


NCV_LIMITS = [25, 20, 15, 10, 3]
CHLORINE_LIMITS = [0.002, 0.006, 0.010, 0.015, 0.030]
MERCURY_MEDIAN_LIMITS = [0.02, 0.03, 0.05, 0.10, 0.15]
MERCURY_P80_LIMITS = [0.04, 0.06, 0.10, 0.20, 0.30]


@pytest.mark.parametrize("number", range(1, 6))
def test_fuel_class_boundaries(number) -> None:
    # ISO 21640:2021, Table 1: a limit belongs to its class, a value just beyond to the next.
    place = number - 1
    beyond = number + 1 if number < 5 else 0
    assert fuel_class(NCV_LIMITS[place], 0, 0).ncv == number
    assert fuel_class(NCV_LIMITS[place] - 0.01, 0, 0).ncv == beyond
    assert fuel_class(30, CHLORINE_LIMITS[place], 0).chlorine == number
    assert fuel_class(30, CHLORINE_LIMITS[place] + 1e-4, 0).chlorine == beyond
    assert fuel_class(30, 0, MERCURY_MEDIAN_LIMITS[place]).mercury == number
    assert fuel_class(30, 0, MERCURY_MEDIAN_LIMITS[place] + 1e-3).mercury == beyond
    assert fuel_class(30, 0, 0, MERCURY_P80_LIMITS[place]).mercury == number
    assert fuel_class(30, 0, 0, MERCURY_P80_LIMITS[place] + 1e-3).mercury == beyond


@pytest.mark.parametrize(
    ("median", "percentile", "expected"), [(0.03, 0.07, 3), (0.06, 0.10, 4), (0.2, 0.01, 0)]
)
def test_worse_of_median_and_percentile_counts(median, percentile, expected) -> None:
    # ISO 21640:2021: the percentile governs the first, the median the second.
    assert fuel_class(20, 0.001, median, percentile).mercury == expected


# EN 15359:2011 (withdrawn), Table 1, from memory: NCV and chlorine as in ISO 21640, mercury wider.
WITHDRAWN = "EN 15359:2011"
WITHDRAWN_MEDIAN = [0.02, 0.03, 0.08, 0.15, 0.50]
WITHDRAWN_P80 = [0.04, 0.06, 0.16, 0.30, 1.00]


@pytest.mark.parametrize("number", range(1, 6))
def test_boundaries_of_the_withdrawn_edition(number) -> None:
    place = number - 1
    beyond = number + 1 if number < 5 else 0

    def old(ncv, chlorine, median, p80=None):
        return fuel_class(ncv, chlorine, median, p80, WITHDRAWN)

    assert old(NCV_LIMITS[place], 0, 0).ncv == number
    assert old(NCV_LIMITS[place] - 0.01, 0, 0).ncv == beyond
    assert old(30, CHLORINE_LIMITS[place], 0).chlorine == number
    assert old(30, CHLORINE_LIMITS[place] + 1e-4, 0).chlorine == beyond
    assert old(30, 0, WITHDRAWN_MEDIAN[place]).mercury == number
    assert old(30, 0, WITHDRAWN_MEDIAN[place] + 1e-3).mercury == beyond
    assert old(30, 0, 0, WITHDRAWN_P80[place]).mercury == number
    assert old(30, 0, 0, WITHDRAWN_P80[place] + 1e-3).mercury == beyond


def test_a_lot_changes_class_between_editions() -> None:
    # Median 0.06 and 80th percentile 0.10 mg/MJ: class 4 by ISO 21640:2021, 3 by EN 15359:2011.
    assert editions() == ("ISO 21640:2021", WITHDRAWN)
    assert fuel_class(20, 0.001, 0.06, 0.10).mercury == 4
    assert fuel_class(20, 0.001, 0.06, 0.10, WITHDRAWN).mercury == 3
    with pytest.raises(ValueError, match="No limits for the edition"):
        fuel_class(20, 0.001, 0.06, 0.10, "EN 15359:2010")


def test_energy_of_residential_mix() -> None:
    # Tchobanoglous, Theisen and Vigil (1993), ch. 4, mix of 14 components as repeated in class
    # exercises: 5065.3 Btu/lb as discarded, 78.8 of 100 lb dry.
    share = np.array([9, 34, 6, 7, 2, 0.5, 0.5, 18.5, 2, 8, 6, 0.5, 3, 3]) / 100
    btu = np.array([2000, 7200, 7000, 14000, 7500, 10000, 7500, 2800, 8000, 60, 300, 0, 300, 3000])
    moisture = np.array([70, 6, 5, 2, 10, 2, 10, 60, 20, 2, 3, 2, 3, 8]) / 100
    energy = mix_value(share, btu * BTU_PER_LB)
    assert energy / BTU_PER_LB == pytest.approx(5065.3, abs=0.05)
    assert 1 - mix_value(share, moisture) == pytest.approx(0.788, abs=5e-4)


def test_energy_of_second_mix() -> None:
    # An Indian engineering entrance paper with solution: 5805 kJ/kg as discarded, 9675 dry.
    share = np.array([20, 10, 10, 10, 40, 5, 5]) / 100
    energy = np.array([2500, 10000, 8000, 14000, 3500, 14000, 100]) / 1000
    moisture = np.array([70, 4, 4, 1, 60, 20, 2]) / 100
    mixed = mix_value(share, energy)
    dry_share = 1 - mix_value(share, moisture)
    assert mixed == pytest.approx(5.805, rel=1e-9)
    assert dry_share == pytest.approx(0.600, abs=5e-4)
    assert mixed / dry_share == pytest.approx(9.675, abs=0.01)


def test_mercury_per_mj() -> None:
    # ISO 21640 basis, arithmetic by hand: 0.6 mg/kg dry, 25 % water, 18.139 MJ/kg.
    ncv = float(net_as_received(np.array(25.0), np.array(0.25)))
    assert 0.6 * 0.75 / ncv == pytest.approx(0.02481, abs=5e-6)
