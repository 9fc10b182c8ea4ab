"""The factor that brings a mix to its target, beside a bracketing solver of a general library."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import brentq

from reclaim.waste.factors import factor_reaching

SHARE = np.random.default_rng(4).dirichlet(np.full(6, 2.0), 200)
VALUE = np.random.default_rng(5).uniform(0.01, 0.6, (200, 6))
MOST = np.random.default_rng(6).uniform(0.6, 0.95, (200, 6))


def mix_of(factor, rows=slice(None)):
    """Odds of each part times the factor, up to a limit, and the slope of their mix."""
    value, most = VALUE[rows], MOST[rows]
    whole = 1 - value + value * factor[:, None]
    changed = value * factor[:, None] / whole
    slope = np.where(changed < most, value * (1 - value) / whole**2, 0.0)
    share = SHARE[rows]
    return (share * np.minimum(changed, most)).sum(axis=1), (share * slope).sum(axis=1)


@pytest.mark.parametrize("times", [0.3, 0.9, 1.0, 1.4, 2.2])
def test_factor_is_that_of_a_bracketing_solver(times) -> None:
    target = np.minimum(times * mix_of(np.ones(200))[0], 0.98 * (SHARE * MOST).sum(axis=1))
    found = factor_reaching(mix_of, target, 1e-3, 1e3)
    for row in range(200):
        one = slice(row, row + 1)
        expected = brentq(
            lambda f, one=one, row=row: float(mix_of(np.array([f]), one)[0][0] - target[row]),
            1e-3, 1e3, xtol=1e-14, rtol=1e-13,
        )  # fmt: skip
        assert found[row] == pytest.approx(expected, rel=1e-9)


def test_a_target_out_of_reach_takes_the_limit() -> None:
    assert np.all(factor_reaching(mix_of, np.full(200, 0.99), 1e-3, 1e3) == 1e3)
    assert np.all(factor_reaching(mix_of, np.zeros(200), 1e-3, 1e3) == 1e-3)


def test_no_draw_depends_on_those_it_is_taken_with() -> None:
    target = np.linspace(0.05, 0.7, 200)
    together = factor_reaching(mix_of, target, 1e-3, 1e3)
    some = slice(17, 23)
    apart = factor_reaching(lambda f: mix_of(f, some), target[some], 1e-3, 1e3)
    np.testing.assert_array_equal(apart, together[some])
