from __future__ import annotations

import numpy as np
import pytest

from reclaim.plant import solve_flows


def dense(feed, transfers):
    """The same line as a dense linear system, solved by the general library."""
    names = list(feed)
    matrix = np.eye(len(names))
    for (origin, target), share in transfers.items():
        matrix[names.index(target), names.index(origin)] -= share[0]
    solution = np.linalg.solve(matrix, np.array([feed[name][0] for name in names]))
    return dict(zip(names, solution, strict=True))


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("size", [1, 2, 5, 30, 200])
def test_random_lines_with_recycles_against_dense_solver(seed, size) -> None:
    rng = np.random.default_rng(seed)
    names = [f"m{i}" for i in range(size)]
    transfers = {}
    for origin in names:
        targets = rng.choice(names, size=min(size, 3), replace=False)
        shares = rng.dirichlet(np.ones(len(targets) + 1))[:-1]
        transfers.update(
            {(origin, str(t)): np.array([s]) for t, s in zip(targets, shares, strict=True)}
        )
    feed = {name: np.array([float(rng.random() < 0.3)]) for name in names}
    found = solve_flows(feed, transfers)
    expected = dense(feed, transfers)
    scale = max(expected.values()) or 1.0
    for name in names:
        assert found[name][0] == pytest.approx(expected[name], rel=1e-9, abs=1e-9 * scale)


def test_closed_loop_is_refused() -> None:
    transfers = {("a", "b"): np.ones(1), ("b", "a"): np.ones(1)}
    with pytest.raises(ValueError, match="no way out"):
        solve_flows({"a": np.ones(1), "b": np.zeros(1)}, transfers)


def test_inputs_are_left_alone() -> None:
    feed = {"a": np.ones(2), "b": np.zeros(2)}
    share = np.full(2, 0.5)
    solve_flows(feed, {("a", "b"): share, ("b", "a"): share})
    assert (feed["b"] == 0).all()
    assert (share == 0.5).all()
