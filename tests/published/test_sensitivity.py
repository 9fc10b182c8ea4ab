"""Sobol indices against closed forms and a reference library; quantiles of known distributions."""

from __future__ import annotations

import numpy as np
import pytest

from reclaim.assumptions import Draws
from reclaim.uncertainty.groups import DriverGroup
from reclaim.uncertainty.indices import sobol_indices

DRAWS = 2048


def groups_of(*names):
    return tuple(DriverGroup(name, name, frozenset({name})) for name in names)


def ishigami(x1, x2, x3):
    return np.sin(x1) + 7 * np.sin(x2) ** 2 + 0.1 * x3**4 * np.sin(x1)


def g_function(values, a):
    return np.prod([(np.abs(4 * x - 2) + c) / (1 + c) for x, c in zip(values, a, strict=True)], 0)


def angle(draws, name):
    return -np.pi + 2 * np.pi * draws.uniform(name)


def test_ishigami() -> None:
    # Ishigami and Homma (1990); closed forms with a = 7, b = 0.1:
    # V = a^2/8 + b pi^4/5 + b^2 pi^8/18 + 1/2, V1 = (1 + b pi^4 / 5)^2 / 2, V2 = a^2 / 8,
    # V13 = 8 b^2 pi^8 / 225; S1 = V1/V, S2 = ST2 = V2/V, ST1 = (V1 + V13)/V, ST3 = V13/V.
    names = ("x1", "x2", "x3")
    draws = Draws(DRAWS, seed=11)
    found = sobol_indices(
        lambda d: ishigami(*(angle(d, n) for n in names)), groups_of(*names), draws
    )
    expected = {"x1": (0.313905, 0.557589), "x2": (0.442411, 0.442411), "x3": (0.0, 0.243684)}
    for index in found:
        first, total = expected[index.group]
        assert index.first == pytest.approx(first, abs=3 * index.first_error + 0.005)
        assert index.total == pytest.approx(total, abs=3 * index.total_error + 0.005)
        assert index.first_error < 0.06
        assert index.total_error < 0.06


def test_g_function() -> None:
    # Saltelli and Sobol (1995): V_i = 1 / (3 (1 + a_i)^2), V = prod(1 + V_i) - 1,
    # total of i = V_i prod_{j != i}(1 + V_j) / V.
    a = (0.0, 1.0, 4.5, 9.0)
    names = ("x1", "x2", "x3", "x4")
    part = np.array([1 / (3 * (1 + c) ** 2) for c in a])
    variance = np.prod(1 + part) - 1
    found = sobol_indices(
        lambda d: g_function([d.uniform(n) for n in names], a),
        groups_of(*names),
        Draws(DRAWS, seed=4),
    )
    for place, index in enumerate(found):
        total = part[place] * np.prod(np.delete(1 + part, place)) / variance
        assert index.first == pytest.approx(part[place] / variance, abs=3 * index.first_error)
        assert index.total == pytest.approx(total, abs=3 * index.total_error)


def test_the_same_as_a_reference_library() -> None:
    from scipy.stats import sobol_indices as reference
    from scipy.stats import uniform

    names = ("x1", "x2", "x3")
    bounds = [uniform(loc=-np.pi, scale=2 * np.pi)] * 3
    theirs = reference(
        func=lambda x: ishigami(*x), n=DRAWS, dists=bounds, rng=np.random.default_rng(1)
    )
    ours = sobol_indices(
        lambda d: ishigami(*(angle(d, n) for n in names)), groups_of(*names), Draws(DRAWS, seed=1)
    )
    np.testing.assert_allclose([i.first for i in ours], theirs.first_order, atol=0.08)
    np.testing.assert_allclose([i.total for i in ours], theirs.total_order, atol=0.08)


def test_error_bars_hold_their_promise() -> None:
    # Over repeated runs the spread of the estimates is what the bootstrap says it is.
    names = ("x1", "x2", "x3")
    runs = [
        sobol_indices(
            lambda d: ishigami(*(angle(d, n) for n in names)), groups_of(*names), Draws(512, seed=s)
        )
        for s in range(40)
    ]
    for place in range(3):
        spread = np.std([run[place].total for run in runs])
        said = np.mean([run[place].total_error for run in runs])
        assert 0.5 < spread / said < 1.6


def test_a_linear_sum_by_groups() -> None:
    # f = sum c_i x_i with independent standard normals: S_i = ST_i = c_i^2 / sum c^2.
    groups = (DriverGroup("a", "a", frozenset({"a1", "a2"})), DriverGroup("b", "b", frozenset("b")))
    found = sobol_indices(
        lambda d: d.normal("a1") + 2 * d.normal("a2") + 3 * d.normal("b"),
        groups,
        Draws(DRAWS, seed=8),
    )
    for index, expected in zip(found, (5 / 14, 9 / 14), strict=True):
        assert index.first == pytest.approx(expected, abs=3 * index.first_error)
        assert index.total == pytest.approx(expected, abs=3 * index.total_error)
