"""Sobol indices: the part of the spread that each group of inputs makes, alone and with others."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from reclaim.uncertainty.sources import MixedDraws, Quantity, part_of, results_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from reclaim.assumptions import Draws
    from reclaim.uncertainty.groups import DriverGroup

FloatArray = NDArray[np.floating[Any]]

_REPEATS = 200
_OTHER_SEED = 0x5EED


@dataclass(frozen=True, slots=True)
class Index:
    """Part of the variance of the result that one group of inputs makes.

    Attributes
    ----------
    group, label
        The group.
    first, total
        Alone, and together with all others [-].
    first_error, total_error
        Their standard errors [-].
    """

    group: str
    label: str
    first: float
    total: float
    first_error: float
    total_error: float


def sobol_indices(
    quantity: Quantity, groups: Sequence[DriverGroup], draws: Draws
) -> tuple[Index, ...]:
    """Return first-order and total indices of groups.

    Parameters
    ----------
    quantity
        The result to explain, shape ``(n_draws,)``, from a source of draws.
    groups
        Names by group; the groups must be independent of each other.
    draws
        First of the two sources that are mixed; the model is run ``len(groups) + 2`` times.

    Notes
    -----
    Two independent sources A and B, each a Latin hypercube, and for each group A with that group
    from B. First order as
    in Saltelli et al. (2010), Computer Physics Communications 181, 259-270, Table 2 (b); total
    after Jansen (1999), Computer Physics Communications 117, 35-43. Standard errors by bootstrap
    over draws (Archer, Saltelli and Sobol 1997, Journal of Statistical Computation and
    Simulation 58, 99-120).
    """
    seed = draws.seed
    assert seed is not None, "the best estimate has no spread to explain"
    draws = replace(draws, sampling="latin")
    other = replace(draws, seed=seed ^ _OTHER_SEED)
    from_a, from_b, *mixed = results_of(
        quantity,
        [
            draws,
            other,
            *(MixedDraws(**part_of(draws, other=other, from_other=g.names)) for g in groups),
        ],
    )
    first, total, first_error, total_error = estimate_indices(from_a, from_b, np.array(mixed), seed)
    return tuple(
        Index(
            group.key,
            group.label,
            float(first[place]),
            float(total[place]),
            float(first_error[place]),
            float(total_error[place]),
        )
        for place, group in enumerate(groups)
    )


def estimate_indices(
    from_a: FloatArray, from_b: FloatArray, mixed: FloatArray, seed: int
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Return first and total indices and their standard errors, each ``(n_groups,)``.

    Parameters
    ----------
    from_a, from_b
        Results of the two sources, shape ``(n,)``.
    mixed
        Results of A with one group from B, shape ``(n_groups, n)``.
    seed
        Of the bootstrap.
    """
    centre = (from_a.mean() + from_b.mean()) / 2
    a, b, ab = from_a - centre, from_b - centre, mixed - centre
    own, jointly, squares = b * (ab - a), (a - ab) ** 2 / 2, (a**2 + b**2) / 2
    if not np.any(squares > 0):
        nothing = np.zeros(mixed.shape[0])
        return nothing, nothing, nothing, nothing
    generator = np.random.default_rng(seed)
    times = generator.multinomial(a.size, np.full(a.size, 1 / a.size), size=_REPEATS) / a.size
    centres = times @ ((a + b) / 2)
    variance = np.maximum(times @ squares - centres**2, np.finfo(float).tiny)
    firsts, totals = (times @ own.T) / variance[:, None], (times @ jointly.T) / variance[:, None]
    whole = squares.mean()
    return (
        own.mean(axis=1) / whole,
        jointly.mean(axis=1) / whole,
        firsts.std(axis=0),
        totals.std(axis=0),
    )
