"""Ranks and the chance to be among the best, against closed forms and a published table."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from scipy.stats import norm

from reclaim.portfolio.rank import rank_sites

DRAWS = 100_000


def normals(means, sd=1.0, seed=4):
    rng = np.random.default_rng(seed)
    return rng.normal(np.array(means)[:, None], sd, (len(means), DRAWS))


def test_the_better_of_two_normals() -> None:
    """P(X > Y) of independent normals is Phi of the difference over the joint deviation."""
    rng = np.random.default_rng(1)
    draws = np.stack([rng.normal(1.0, 2.0, DRAWS), rng.normal(0.5, 1.5, DRAWS)])
    ranking = rank_sites(draws, 1)
    assert ranking.chance_best_n[0] == pytest.approx(norm.cdf(0.5 / 2.5), abs=0.004)


@pytest.mark.parametrize(
    ("sites", "distance", "chance"),
    [(2, 1.8124, 0.90), (2, 2.3262, 0.95), (3, 2.2302, 0.90), (4, 2.4516, 0.90), (4, 2.9162, 0.95)],
)
def test_the_chance_to_pick_the_best_of_several(sites, distance, chance) -> None:
    """Bechhofer (1954), Annals of Mathematical Statistics 25, 16-39, table I, from memory.

    One normal mean stands that many standard errors above all others; the chance that it is
    drawn highest is tabulated.
    """
    draws = normals([distance] + [0.0] * (sites - 1))
    assert rank_sites(draws, 1).chance_best_n[0] == pytest.approx(chance, abs=0.003)


def test_what_moves_all_sites_moves_no_chance() -> None:
    draws = normals([0.3, 0.0, -0.2])
    shaken = draws + np.random.default_rng(9).normal(0, 50, DRAWS)
    np.testing.assert_array_equal(
        rank_sites(draws, 1).chance_best_n, rank_sites(shaken, 1).chance_best_n
    )


def test_sites_that_are_alike_have_like_chances() -> None:
    ranking = rank_sites(normals([0.0] * 8), 3)
    np.testing.assert_allclose(ranking.chance_best_n, 3 / 8, atol=0.004)
    # Ranks of alike sites are uniform on 1 to 8, so eight of ten draws lie between 1 and 8.
    assert set(ranking.rank_p10) == {1}
    assert set(ranking.rank_p90) == {8}


def test_sites_that_are_the_same_share_rank_and_chance() -> None:
    one = np.random.default_rng(2).normal(size=500)
    ranking = rank_sites(np.stack([one, one, one - 100]), 1)
    assert ranking.rank.tolist() == [1, 1, 3]
    assert ranking.chance_best_n.tolist() == [0.5, 0.5, 0.0]


@given(
    arrays(float, st.tuples(st.integers(1, 8), st.integers(1, 20)), elements=st.integers(-3, 3)),
    st.integers(1, 10),
)
def test_chances_add_up_to_the_places(draws, n) -> None:
    ranking = rank_sites(draws, n)
    assert ranking.chance_best_n.sum() == pytest.approx(min(n, len(draws)))
    assert ((ranking.chance_best_n >= 0) & (ranking.chance_best_n <= 1)).all()
    assert (np.argsort(ranking.mean)[::-1][0] == np.argmin(ranking.rank)) or (
        ranking.mean.max() == ranking.mean[np.argmin(ranking.rank)]
    )


def test_the_order_of_the_sites_does_not_matter() -> None:
    draws = normals([0.0, 0.5, -0.5, 1.0])[:, :300]
    order = np.array([2, 0, 3, 1])
    there, back = rank_sites(draws, 2), rank_sites(draws[order], 2)
    for name in ("mean", "rank", "chance_best_n", "rank_p10", "rank_p90"):
        np.testing.assert_array_equal(getattr(there, name)[order], getattr(back, name))


def test_no_site_is_no_error() -> None:
    assert rank_sites(np.zeros((0, 4)), 10).n == 0
