from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from reclaim.assumptions import Draws, default_assumption, stated_assumption
from reclaim.reference import assumption_defaults

MOISTURE = assumption_defaults()["waste.moisture"]
FUEL_PRICE = assumption_defaults()["money.price_fuel_per_t"]
PROBABILITIES = np.linspace(0.01, 0.99, 41)


def test_triangular_quantiles_against_reference_library() -> None:
    # scipy.stats.triang, an independent implementation.
    found = stated_assumption(FUEL_PRICE, {"low": -80, "mode": -40, "high": 15})
    expected = stats.triang(40 / 95, loc=-80, scale=95).ppf(PROBABILITIES)
    np.testing.assert_allclose(found.quantile(PROBABILITIES), expected, rtol=1e-9)
    assert found.central == -40


def test_normal_quantiles_against_reference_library() -> None:
    found = stated_assumption(MOISTURE, {"mean": 0.3, "sd": 0.2})
    low, high = (MOISTURE.minimum - 0.3) / 0.2, (MOISTURE.maximum - 0.3) / 0.2
    expected = stats.truncnorm(low, high, loc=0.3, scale=0.2).ppf(PROBABILITIES)
    np.testing.assert_allclose(found.quantile(PROBABILITIES), expected, rtol=1e-9)
    assert found.central == 0.3


def test_lognormal_quantiles_against_reference_library() -> None:
    dig = assumption_defaults()["money.dig_cost_per_m3"]
    found = stated_assumption(dig, {"median": 5, "gsd": 1.3})
    expected = stats.lognorm(np.log(1.3), scale=5).ppf(PROBABILITIES)
    np.testing.assert_allclose(found.quantile(PROBABILITIES), expected, rtol=1e-6)


def test_fixed_number_has_no_spread() -> None:
    found = stated_assumption(MOISTURE, 0.3)
    np.testing.assert_array_equal(found.quantile(PROBABILITIES), 0.3)
    assert found.given


@pytest.mark.parametrize(
    ("stated", "rule"),
    [
        ({"low": 0.4, "mode": 0.3, "high": 0.5}, "low <= mode <= high"),
        ({"mean": 0.3, "sd": -0.1}, "sd must not be negative"),
        ({"median": 0.3, "gsd": 0.9}, "gsd at least 1"),
        ({"mean": 0.3, "sd": 0.5}, "lies outside what the quantity can be"),
        ({"low": 0.3, "high": 0.5}, "Expected a number"),
        (1.5, "outside what this quantity can be"),
        ({"low": -0.1, "mode": 0.3, "high": 0.5}, "outside what this quantity can be"),
        (True, "Expected a number"),
        ("0.3", "Expected a number"),
        (float("nan"), "finite"),
    ],
)
def test_broken_rules_are_named(stated, rule) -> None:
    with pytest.raises(ValueError, match=rule):
        stated_assumption(MOISTURE, stated)


@pytest.mark.parametrize("stated", [2.5, {"low": 5, "mode": 10, "high": 20}])
def test_what_is_counted_must_be_one_whole_number(stated) -> None:
    with pytest.raises(ValueError, match="one whole number"):
        stated_assumption(assumption_defaults()["investigations.cores"], stated)


def test_best_estimate_is_central_for_every_default() -> None:
    best = Draws.best_estimate()
    for default in assumption_defaults().values():
        assert best.of(default_assumption(default))[0] == default.quantity.mode


def test_draws_are_stratified_and_repeatable() -> None:
    # McKay, Beckman and Conover (1979): one point in each of n equal strata.
    values = Draws(1000, seed=3).uniform("a")
    strata = np.floor(np.sort(values) * 1000)
    np.testing.assert_array_equal(strata, np.arange(1000))
    np.testing.assert_array_equal(values, Draws(1000, seed=3).uniform("a"))
    assert not np.array_equal(values, Draws(1000, seed=3).uniform("b"))
    assert not np.array_equal(values, Draws(1000, seed=4).uniform("a"))


def test_names_draw_independently() -> None:
    draws = Draws(5000, seed=1)
    correlation = np.corrcoef(draws.uniform("a"), draws.uniform("b"))[0, 1]
    assert abs(correlation) < 4 / np.sqrt(5000)


def test_shared_stream_moves_together() -> None:
    draws = Draws(500, seed=1)
    default = default_assumption(FUEL_PRICE)
    one, two = draws.of(default, "market"), draws.of(default_assumption(MOISTURE), "market")
    np.testing.assert_array_equal(np.argsort(one), np.argsort(two))


def test_normal_deviates() -> None:
    values = Draws(4000, seed=2).normal("a")
    assert values.mean() == pytest.approx(0, abs=1e-3)
    assert values.std() == pytest.approx(1, abs=2e-3)
    assert Draws.best_estimate().normal("a")[0] == 0


def test_best_estimate_has_no_random_stream() -> None:
    with pytest.raises(ValueError, match="draws nothing"):
        Draws.best_estimate().generator("a")
