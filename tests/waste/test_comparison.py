from __future__ import annotations

import numpy as np
import pytest

from reclaim.waste import depth_trend, outlier_scores, zones_differ


def compositions(count, law, seed):
    return np.random.default_rng(seed).dirichlet(law, count)


def test_zones_that_differ_are_told_and_those_alike_are_not() -> None:
    rng = np.random.default_rng(0)
    alike = compositions(20, [5, 5, 5], 1)
    zones = ["a"] * 10 + ["b"] * 10
    assert zones_differ(alike, zones, rng)[1] > 0.05
    other = np.vstack([compositions(10, [50, 20, 5], 2), compositions(10, [20, 50, 5], 3)])
    pseudo_f, chance = zones_differ(other, zones, rng)
    assert pseudo_f > 10
    assert chance <= 0.003


class Orders:
    """Stands in for a generator: the first orders leave the zones alone, the others mix them."""

    def __init__(self, kept):
        self.kept = kept

    def permutation(self, member):
        self.kept -= 1
        return member if self.kept >= 0 else np.arange(len(member)) % 2


@pytest.mark.parametrize("kept", [0, 1, 49])
def test_the_chance_counts_the_order_met_with_999_random_ones(kept) -> None:
    # Davison and Hinkley (1997), section 4.3: (1 + those as large) / (1 + all).
    other = np.vstack([compositions(10, [50, 20, 5], 2), compositions(10, [20, 50, 5], 3)])
    zones = ["a"] * 10 + ["b"] * 10
    assert zones_differ(other, zones, Orders(kept))[1] == pytest.approx((kept + 1) / 1000)


def test_chance_is_even_when_zones_make_no_difference() -> None:
    # A permutation test holds its level whatever the law (Davison and Hinkley 1997, section 4.3).
    rng = np.random.default_rng(4)
    chances = [
        zones_differ(compositions(12, [2, 3, 4], seed), ["a"] * 6 + ["b"] * 6, rng)[1]
        for seed in range(60)
    ]
    assert np.mean(chances) == pytest.approx(0.5, abs=0.12)


@pytest.mark.parametrize("zones", [["a"] * 4, ["a", "b", "c", "d"]])
def test_nothing_to_compare(zones) -> None:
    found = zones_differ(compositions(4, [1, 1], 0), zones, np.random.default_rng(0))
    assert np.isnan(found).all()


def test_depth_trend_is_the_slope_within_cores() -> None:
    # Two cores with different levels and the same slope; the plain slope over all would be wrong.
    position = np.array([1.0, 2, 3, 4, 5, 6, 7, 8])
    core = np.repeat([0, 1], 4)
    values = np.column_stack([0.02 * position - 0.3 * core, np.ones(8)])
    slope, chance = depth_trend(values, position, core, np.random.default_rng(0))
    np.testing.assert_allclose(slope, [0.02, 0.0], atol=1e-12)
    # 4! x 4! = 576 orders, of which two are as steep.
    assert chance[0] == pytest.approx(2 / 576, abs=0.006)
    assert chance[1] == 1


def test_no_trend_without_two_samples_in_a_core() -> None:
    slope, chance = depth_trend(
        np.ones((3, 2)), np.arange(3.0), np.arange(3), np.random.default_rng(0)
    )
    assert np.isnan(slope).all()
    assert np.isnan(chance).all()


def test_the_strange_core_is_found_and_the_others_are_not() -> None:
    fractions = compositions(15, [60, 25, 15], 5)
    fractions[7] = [0.05, 0.05, 0.90]
    score = outlier_scores(fractions)
    assert score.argmax() == 7
    assert score[7] > 3.5
    assert (np.delete(score, 7) < 3.5).all()


def test_few_or_equal_cores_have_no_outlier() -> None:
    assert np.isnan(outlier_scores(compositions(4, [1, 1], 0))).all()
    np.testing.assert_array_equal(outlier_scores(np.full((6, 2), 0.5)), 0)
