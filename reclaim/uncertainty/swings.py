"""One at a time: how far the result moves when one input or group leaves its centre."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from reclaim.uncertainty.ranks import rank_correlation
from reclaim.uncertainty.sources import PartlyDrawn, Quantity, part_of, results_of

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from reclaim.assumptions import Draws
    from reclaim.uncertainty.groups import DriverGroup

FloatArray = NDArray[np.floating[Any]]

ENDS = (0.1, 0.9)


@dataclass(frozen=True, slots=True)
class Swing:
    """Result at two ends of an input, or of a group, with all others at their centres.

    Attributes
    ----------
    key, label
        The input or group.
    low, high
        Of an input: the result at its P10 and at its P90. Of a group: P10 and P90 of the result.
    rank_correlation
        Spearman correlation of the input with the result when all are drawn [-]; NaN for groups.
    """

    key: str
    label: str
    low: float
    high: float
    rank_correlation: float

    @property
    def width(self) -> float:
        """Distance between the two results."""
        return abs(self.high - self.low)


def input_swings(
    quantity: Quantity,
    names: Sequence[str],
    draws: Draws,
    result: FloatArray,
    labels: Mapping[str, str],
) -> tuple[Swing, ...]:
    """Return the swing of every input, the widest first.

    Parameters
    ----------
    quantity
        The result, shape ``(n_draws,)``, from a source of draws.
    names
        Inputs with one probability per draw.
    draws, result
        A source in which all inputs are drawn, and the result there; for the rank correlation.
    labels
        Words for names that have some.
    """
    sources = [
        PartlyDrawn(**part_of(draws, n_draws=2, drawn={name: np.array(ENDS)})) for name in names
    ]
    swings = [
        Swing(
            name,
            labels.get(name, name.replace("_", " ")),
            float(low),
            float(high),
            rank_correlation(draws.uniform(name), result),
        )
        for name, (low, high) in zip(names, results_of(quantity, sources), strict=True)
    ]
    return tuple(sorted(swings, key=lambda swing: -swing.width))


def group_swings(
    quantity: Quantity,
    groups: Sequence[DriverGroup],
    streams: frozenset[str],
    draws: Draws,
) -> tuple[Swing, ...]:
    """Return P10 and P90 of the result with one group drawn and all others at their centres.

    Parameters
    ----------
    quantity
        The result, shape ``(n_draws,)``, from a source of draws.
    groups
        Names by group.
    streams
        Names that have a whole random stream.
    draws
        Source of as many draws as each group gets.
    """
    sources = [
        PartlyDrawn(
            **part_of(
                draws,
                drawn={name: draws.uniform(name) for name in group.names - streams},
                streams=group.names & streams,
            )
        )
        for group in groups
    ]
    results = results_of(quantity, sources)
    ends = [np.quantile(result, ENDS) for result in results]
    return tuple(
        Swing(group.key, group.label, float(low), float(high), float("nan"))
        for group, (low, high) in zip(groups, ends, strict=True)
    )


def fewer(draws: Draws, n_draws: int) -> Draws:
    """Return a source with at most some number of draws."""
    return replace(draws, n_draws=min(draws.n_draws, n_draws))
