"""Which investigation is worth its price."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from reclaim.assumptions import Draws, stated_assumption
from reclaim.reference import assumption_defaults, read_rows
from reclaim.uncertainty import KnownNow, knowing_of, names_asked, plans
from reclaim.uncertainty.groups import group_key

NOW = KnownNow(cores=12, density_cores=0, survey_sd_m=0.05, base_sd_m=0.4, money_per_eur=1.0)


def changed(assumptions, **numbers):
    return assumptions | {
        f"investigations.{name}": stated_assumption(
            assumption_defaults()[f"investigations.{name}"], number
        )
        for name, number in numbers.items()
    }


def by_key(assumptions, now=NOW):
    return {plan.key: plan for plan in plans(assumptions, now)}


def test_more_samples_take_away_m_over_m_plus_n(assumptions) -> None:
    found = by_key(changed(assumptions, cores=4, ncv_samples=12, ncv_samples_known=4))
    assert found["cores"].known == pytest.approx(4 / 16)
    assert found["lab_ncv"].known == pytest.approx(12 / 16)


def test_cores_of_a_stated_composition_stand_beside_few(assumptions) -> None:
    found = by_key(changed(assumptions, cores=9, cores_known=3), replace(NOW, cores=0))
    assert found["cores"].known == pytest.approx(9 / 12)


def test_measured_density_counts_its_cores(assumptions) -> None:
    found = by_key(changed(assumptions, density_pits=8), replace(NOW, density_cores=24))
    assert found["density_pits"].known == pytest.approx(8 / 32)


def test_a_survey_as_good_as_today_halves_the_variance_of_the_base(assumptions) -> None:
    found = by_key(changed(assumptions, base_survey_sd_m=0.4), replace(NOW, survey_sd_m=0.0))
    assert found["base_survey"].known == pytest.approx(0.5)
    assert by_key(assumptions, replace(NOW, base_sd_m=0.0))["base_survey"].known == 0


def test_cost_is_number_times_price_in_the_site_currency(assumptions) -> None:
    stated = changed(assumptions, cores=3, cost_per_core=5000.0)
    assert by_key(stated, replace(NOW, money_per_eur=8.0))["cores"].cost == 15_000
    default = by_key(assumptions, replace(NOW, money_per_eur=8.0))["cores"].cost
    assert default == 8 * by_key(assumptions)["cores"].cost


def test_a_number_of_nothing_leaves_an_investigation_out(assumptions) -> None:
    assert "cores" not in by_key(changed(assumptions, cores=0))


def test_every_investigation_informs_something_that_is_drawn() -> None:
    for row in read_rows("investigations.csv"):
        assert all(group_key(pattern) for pattern in row["informs"].split("|"))


def pay_off(draws):
    return -1e4 + 4e5 * draws.normal("ground.correlated") + 1e5 * draws.normal("other")


def learned(assumptions, payoff=pay_off):
    source = Draws(2000, seed=5)
    npv = payoff(source)
    found = knowing_of(
        {"Leave it": np.zeros_like(npv), "Mine": npv},
        {},
        names_asked(payoff, source),
        source,
        plans(assumptions, NOW),
    )
    return found, npv


def test_what_drives_the_choice_is_worth_finding_out_first(assumptions) -> None:
    found, _ = learned(changed(assumptions, base_survey_cost=20_000.0))
    first, *rest = found.investigations
    assert first.key == "base_survey"
    assert first.net > 0
    assert first.worth.value < found.everything.value
    assert all(item.worth.value == 0 and item.net < 0 for item in rest)
    assert found.groups[0].key == "volume"
    assert found.can_change


def test_where_the_choice_cannot_change_nothing_is_worth_its_price(assumptions) -> None:
    found, _ = learned(assumptions, lambda draws: pay_off(draws) - 1e8)
    assert found.choice == "Leave it"
    assert not found.can_change
    assert found.everything.value == 0
    assert all(item.worth.value == 0 for item in found.investigations)
