"""Spread of draws and how it settles, against known distributions."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from reclaim.assumptions import Draws
from reclaim.uncertainty import precision_of, spread_of
from reclaim.uncertainty.convergence import convergence, quantile_errors
from reclaim.uncertainty.ranks import mean_ranks, normal_scores, rank_correlation
from reclaim.uncertainty.spread import chance_best, expected_shortfall


def test_quantiles_of_a_normal() -> None:
    draws = Draws(20_000, seed=1).normal("a")
    found = spread_of(draws)
    for value, probability in ((found.p10, 0.1), (found.p50, 0.5), (found.p90, 0.9)):
        assert value == pytest.approx(stats.norm.ppf(probability), abs=0.01)
    assert found.mean == pytest.approx(0, abs=0.001)
    # Mean of a standard normal below its 10th percentile: -phi(z) / 0.1.
    assert found.expected_shortfall == pytest.approx(
        -stats.norm.pdf(stats.norm.ppf(0.1)) / 0.1, abs=0.01
    )


def test_shortfall_counts_the_edge_in_part() -> None:
    assert expected_shortfall(np.array([1.0, 2.0, 3.0]), 0.5) == pytest.approx((1 + 0.5 * 2) / 1.5)


def test_quantile_errors_are_those_of_repeated_samples() -> None:
    # Large-sample standard error of a quantile: sqrt(p (1 - p) / n) / f(x); David and Nagaraja
    # (2003), section 10.2.
    draws = np.random.default_rng(5).normal(size=4000)
    for error, probability in zip(quantile_errors(draws), (0.1, 0.5, 0.9), strict=True):
        density = stats.norm.pdf(stats.norm.ppf(probability))
        expected = np.sqrt(probability * (1 - probability) / 4000) / density
        assert error == pytest.approx(expected, rel=0.15)


def test_convergence_shrinks_with_the_root_of_draws() -> None:
    draws = np.random.default_rng(5).normal(size=40_000)
    found = convergence(draws, asked=0.01)
    assert found.n_draws[-1] == 40_000
    ratio = found.standard_error[0] / found.standard_error[-1]
    expected = np.sqrt(found.n_draws[-1] / found.n_draws[0])
    np.testing.assert_allclose(ratio, expected, rtol=0.6)
    assert found.is_reached
    assert not convergence(draws[:100], asked=0.01).is_reached


def test_no_spread_is_settled_at_once() -> None:
    assert precision_of(np.full(10, 3.0)) == 0


def test_chance_of_each_course_shares_ties() -> None:
    worth = np.array([[0.0, 1.0, 1.0], [2.0, 1.0, 0.0]])
    np.testing.assert_allclose(chance_best(worth), [0.5, 0.25, 0.25])


def test_ranks_against_reference_library() -> None:
    values = np.random.default_rng(1).integers(0, 9, size=60).astype(float)
    other = values + np.random.default_rng(2).normal(size=60) * 3
    np.testing.assert_allclose(mean_ranks(values), stats.rankdata(values))
    assert rank_correlation(values, other) == pytest.approx(
        stats.spearmanr(values, other).statistic
    )
    assert rank_correlation(values, np.zeros(60)) == 0
    assert normal_scores(other).std() == pytest.approx(1, abs=0.05)
