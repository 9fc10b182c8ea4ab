"""Terms of drying from a site's assumptions, by hand in the units they are stated in."""

from __future__ import annotations

import numpy as np
import pytest

from reclaim.assumptions import Draws
from reclaim.plant.air import humidity_ratio
from reclaim.plant.drying import drying_terms
from reclaim.plant.rows import RowDraws


@pytest.fixture
def terms_and_values(assumptions, best):
    def value(name):
        return float(best.of(assumptions[f"plant.{name}"])[0])

    return drying_terms(assumptions, RowDraws(best, np.zeros(1, dtype=int), {})), value


def test_treating_the_air_warms_what_carries_the_water(terms_and_values) -> None:
    # Moist air of 1 kg dry air needs 1.006 + 1.86 w kJ/K (ASHRAE Handbook Fundamentals); what is
    # recovered is not bought; 3600 kJ are one kWh.
    terms, value = terms_and_values
    box_c = value("box_temperature_c")
    water = humidity_ratio(np.array([box_c]), np.array([value("exhaust_humidity")]))[0]
    warming_kj = (value("air_treatment_c") - box_c) * (1.006 + 1.86 * water)
    bought_kwh = warming_kj / 3600 * (1 - value("air_treatment_recovered"))
    assert terms.treatment_kwh_kg[0] == pytest.approx(bought_kwh, rel=1e-6)


def test_condenser_takes_what_cold_air_can_not_hold(terms_and_values) -> None:
    terms, value = terms_and_values
    going, coming, cold = (
        humidity_ratio(np.array([value(f"{where}_c")]), np.array([humidity]))[0]
        for where, humidity in (
            ("box_temperature", value("exhaust_humidity")),
            ("ambient_temperature", value("ambient_humidity")),
            ("condenser_temperature", 1.0),
        )
    )
    expected = (going - cold) / (going - coming)
    assert terms.condensed_share[0] == pytest.approx(min(max(expected, 0), 1))


def test_fan_work_is_pressure_over_efficiency(terms_and_values) -> None:
    # A pascal is a joule per cubic metre; 3.6 MJ are one kWh.
    terms, value = terms_and_values
    joules = value("fan_pressure_pa") / value("fan_efficiency")
    assert terms.fan_kwh_m3[0] == pytest.approx(joules / 3.6e6)
    assert terms.heat_mj_kg[0] == pytest.approx(terms.air.heat_mj_kg[0] / (1 - value("heat_loss")))
    for name in ("target_moisture", "bought_heat_share", "air_rate_m3_t_h"):
        assert getattr(terms, name)[0] == value(name)
    assert terms.days[0] == value("drying_days")


def test_terms_are_drawn_row_by_row(assumptions) -> None:
    draws = Draws(5, seed=2)
    terms = drying_terms(assumptions, RowDraws(draws, np.arange(5), {}))
    rate = draws.of(assumptions["plant.air_rate_m3_t_h"])
    np.testing.assert_array_equal(terms.air_rate_m3_t_h, rate)
    assert len(set(terms.treatment_kwh_kg)) == 5
