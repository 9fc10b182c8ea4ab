"""Draws in chunks, Sobol sequences and correlations."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from reclaim.assumptions import CHUNK, Correlations, Draws, correlations_from


@pytest.mark.parametrize("sampling", ["latin", "sobol"])
def test_chunks_give_the_same_draws_together_and_apart(sampling) -> None:
    draws = Draws(CHUNK + 300, seed=5, sampling=sampling, names=("a", "b"))
    apart = np.concatenate([chunk.uniform("b") for chunk in draws.chunks()])
    np.testing.assert_array_equal(draws.uniform("b"), apart)


def test_every_chunk_is_a_latin_hypercube() -> None:
    # McKay, Beckman and Conover (1979): one point in each of n equal strata.
    for chunk in Draws(2 * CHUNK, seed=5).chunks():
        strata = np.floor(np.sort(chunk.uniform("a")) * CHUNK)
        np.testing.assert_array_equal(strata, np.arange(CHUNK))


def test_more_draws_keep_the_first_chunks() -> None:
    short, long = Draws(2 * CHUNK, seed=5), Draws(3 * CHUNK, seed=5)
    np.testing.assert_array_equal(long.uniform("a")[: 2 * CHUNK], short.uniform("a"))


def test_sobol_is_the_sequence_of_scipy() -> None:
    from scipy.stats.qmc import Sobol

    names = ("a", "b", "c")
    expected = Sobol(3, scramble=True, rng=np.random.default_rng(7)).random(2 * CHUNK)
    draws = Draws(2 * CHUNK, seed=7, sampling="sobol", names=names)
    for place, name in enumerate(names):
        np.testing.assert_allclose(draws.uniform(name), expected[:, place], rtol=1e-12)


def test_sobol_integrates_better_than_chance() -> None:
    # Mean of a smooth product: plain Monte Carlo has a standard error of sd / sqrt(n).
    names = tuple("abcd")
    draws = Draws(CHUNK, seed=2, sampling="sobol", names=names)
    product = np.prod([1.5 * draws.uniform(name) ** 0.5 for name in names], axis=0)
    assert abs(product.mean() - 1) < 0.1 * product.std() / np.sqrt(CHUNK)


def test_sobol_refuses_a_name_without_dimension() -> None:
    with pytest.raises(ValueError, match="no dimension for b"):
        Draws(10, seed=1, sampling="sobol", names=("a",)).uniform("b")


@pytest.mark.parametrize("rank", [-0.9, 0.3, 0.8, 1.0])
def test_correlated_draws_reproduce_the_correlation(rank) -> None:
    from scipy.stats import spearmanr

    linked = correlations_from({("a", "b"): rank})
    draws = Draws(CHUNK, seed=3, correlations=linked)
    found = spearmanr(draws.uniform("a"), draws.uniform("b")).statistic
    assert found == pytest.approx(rank, abs=3 * (1 - rank**2) / np.sqrt(CHUNK) + 1e-3)


def test_correlation_keeps_the_strata_and_leaves_others_alone() -> None:
    plain = Draws(CHUNK, seed=3)
    linked = replace(plain, correlations=correlations_from({("a", "b"): 0.7}))
    np.testing.assert_array_equal(np.sort(linked.uniform("b")), np.sort(plain.uniform("b")))
    np.testing.assert_array_equal(linked.uniform("c"), plain.uniform("c"))


def test_three_correlations_hold_at_once() -> None:
    pairs = {("a", "b"): 0.8, ("b", "c"): 0.5, ("a", "c"): 0.6}
    draws = Draws(4 * CHUNK, seed=3, correlations=correlations_from(pairs))
    from scipy.stats import spearmanr

    for (one, other), rank in pairs.items():
        found = spearmanr(draws.uniform(one), draws.uniform(other)).statistic
        assert found == pytest.approx(rank, abs=0.02)


@pytest.mark.parametrize(
    ("pairs", "words"),
    [
        ({("a", "b"): 0.9, ("b", "c"): 0.9, ("a", "c"): -0.9}, "a, b, c cannot all hold at once"),
        ({("a", "b"): 1.2}, "a and b is 1.2, not -1 to 1"),
        ({("a", "a"): 0.5}, "a is paired with itself"),
        ({("a", "b"): 0.5, ("b", "a"): 0.5}, "given twice"),
    ],
)
def test_impossible_correlations_are_named(pairs, words) -> None:
    with pytest.raises(ValueError, match=words):
        correlations_from(pairs)


def test_linked_names_hang_together() -> None:
    pairs = {("a", "b"): 0.1, ("c", "d"): 0.1, ("b", "c"): 0.1, ("x", "y"): 0.1}
    groups = Correlations(pairs).groups()
    assert set(groups) == {frozenset("abcd"), frozenset("xy")}
