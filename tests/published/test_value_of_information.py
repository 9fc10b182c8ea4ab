"""Value of information against the closed form of a two-action choice with a normal pay-off."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import norm

from reclaim.assumptions import Draws
from reclaim.uncertainty.worth_of_knowing import Learning, perfect_information

DRAWS = 8192


def unit_normal_loss(mean, sd):
    """Raiffa and Schlaifer (1961), ch. 5: s (phi(u) - u (1 - Phi(u))), u = |mean| / s.

    The worth of perfect information where one of two actions pays nothing and the other a
    normal amount.
    """
    u = abs(mean) / sd
    return sd * (norm.pdf(u) - u * norm.sf(u))


@pytest.fixture
def scores():
    draws = Draws(DRAWS, seed=3)
    return {name: draws.normal(name) for name in ("a", "b", "c", *(f"x{i}" for i in range(50)))}


def two_actions(payoff):
    return np.stack([np.zeros_like(payoff), payoff], axis=1)


@pytest.mark.parametrize("mean", [-1.0, 0.0, 2.0])
def test_perfect_information(scores, mean) -> None:
    worth = perfect_information(two_actions(mean + 2 * scores["a"] + scores["b"]))
    assert worth.value == pytest.approx(unit_normal_loss(mean, 5**0.5), abs=3 * worth.error)


def test_unit_normal_loss_table() -> None:
    # Published table of the unit normal loss integral (Raiffa and Schlaifer 1961, Table II; from
    # memory): G(0) = 0.3989, G(0.5) = 0.1978, G(1.0) = 0.08332, G(2.0) = 0.008491.
    for u, expected in ((0.0, 0.3989), (0.5, 0.1978), (1.0, 0.08332), (2.0, 0.008491)):
        assert unit_normal_loss(u, 1.0) == pytest.approx(expected, rel=5e-4)


@pytest.mark.parametrize(("name", "sd"), [("a", 2.0), ("b", 1.0)])
def test_perfect_information_on_one_input(scores, name, sd) -> None:
    learning = Learning(two_actions(-1 + 2 * scores["a"] + scores["b"]), scores)
    worth = learning.perfect([name])
    assert worth.value == pytest.approx(unit_normal_loss(-1, sd), abs=3 * worth.error)


def test_knowing_what_does_not_matter_is_worth_nothing(scores) -> None:
    learning = Learning(two_actions(-1 + 2 * scores["a"] + scores["b"]), scores)
    assert learning.perfect(["c"]).value == 0
    assert learning.perfect(["x*"]).value == 0


@pytest.mark.parametrize("samples", [1, 4, 20])
def test_sample_information(scores, samples) -> None:
    # n samples of scatter s beside a prior of n0 samples: the mean that will be believed has
    # variance n / (n + n0) of the prior's; Raiffa and Schlaifer (1961), ch. 5.
    known = samples / (samples + 5)
    learning = Learning(two_actions(-1 + 2 * scores["a"] + scores["b"]), scores)
    worth = learning.sample({"a": known})
    expected = unit_normal_loss(-1, 2 * known**0.5)
    assert worth.value == pytest.approx(expected, abs=3 * worth.error)


def test_a_curved_payoff(scores) -> None:
    # Lognormal pay-off against a sure amount: the worth of perfect information is the price of a
    # European call without discounting; Black and Scholes (1973), Journal of Political Economy 81.
    sd, strike = 0.4, 12.0
    payoff = 10 * np.exp(sd * scores["a"] - sd**2 / 2) - strike
    d1 = (np.log(10 / strike) + sd**2 / 2) / sd
    expected = 10 * norm.cdf(d1) - strike * norm.cdf(d1 - sd)
    noise = 3 * scores["b"]
    worth = Learning(two_actions(payoff + noise), scores).perfect(["a"])
    assert worth.value == pytest.approx(expected, abs=3 * worth.error)


def test_choice_between_three(scores) -> None:
    # With two independent inputs, one for each of two courses, beside a sure one: nested double
    # loop over the first, the second averaged out exactly, since it enters by its mean alone.
    first, second = 2 * scores["a"] - 0.5, 1.5 * scores["b"] - 0.2
    worth = np.stack([np.zeros(DRAWS), first, second], axis=1)
    found = Learning(worth, scores).perfect(["a"])
    nested = np.maximum(np.maximum(first, -0.2), 0).mean() - max(0, first.mean(), second.mean())
    assert found.value == pytest.approx(nested, abs=3 * found.error)
