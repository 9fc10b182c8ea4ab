"""Which sites come first, how sure that is, and which of them deserve cores first."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    FloatArray = NDArray[np.floating[Any]]


@dataclass(frozen=True, slots=True)
class Ranking:
    """The order of sites by one measure; arrays have shape ``(n_sites,)``.

    Attributes
    ----------
    mean, p10, p90
        Of the draws of each site.
    rank
        1 for the highest mean; equal means share the lower number.
    chance_best_n
        Share of the draws in which the site is among the best `n` [-]; ties are shared.
    rank_p10, rank_p90
        Between which ranks the site lies in eight of ten draws.
    n
        Number of sites that count as the best.
    """

    mean: FloatArray
    p10: FloatArray
    p90: FloatArray
    rank: NDArray[np.int_]
    chance_best_n: FloatArray
    rank_p10: FloatArray
    rank_p90: FloatArray
    n: int

    def at(self, order: NDArray[np.integer[Any]]) -> Ranking:
        """Return the ranking with its sites in another order."""
        arrays = {
            item.name: getattr(self, item.name)[order] for item in fields(self) if item.name != "n"
        }
        return replace(self, **arrays)


def rank_sites(draws: FloatArray, n: int) -> Ranking:
    """Rank sites by draws of what is to be high.

    Parameters
    ----------
    draws
        Shape ``(n_sites, n_draws)``: draw by draw, the sites share what moves all of them.
    n
        Sites that count as the best.

    Notes
    -----
    The order is that of the means, which is right for whoever can carry the risk of one site. The
    chances hold jointly: a draw that is dear for all sites moves no rank.
    """
    from scipy.stats import rankdata

    mean = draws.mean(axis=1)
    rank = 1 + np.searchsorted(np.sort(-mean), -mean, side="left")
    p10, p90 = np.quantile(draws, [0.1, 0.9], axis=1)
    n = min(n, draws.shape[0])
    if n == 0:
        return Ranking(mean, p10, p90, rank, mean, mean, mean, 0)
    edge = np.partition(draws, -n, axis=0)[-n]
    above, level = draws > edge, draws == edge
    shared = (n - above.sum(axis=0)) / level.sum(axis=0)
    chance = (above + level * shared).mean(axis=1)
    places = rankdata(-draws, method="min", axis=0)
    rank_p10, rank_p90 = np.quantile(places, [0.1, 0.9], axis=1)
    return Ranking(mean, p10, p90, rank, chance, rank_p10, rank_p90, n)
