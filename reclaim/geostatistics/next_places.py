"""Where the next data would tell most about a total: one place after the other."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from reclaim.geostatistics.kriging import OrdinaryKriging

if TYPE_CHECKING:
    from reclaim.geostatistics.covariance import CovarianceModel

FloatArray = NDArray[np.floating[Any]]


@dataclass(frozen=True, slots=True)
class NextPlaces:
    """Places to measure next, the most telling first.

    Attributes
    ----------
    places_xy
        East and north [m], shape ``(n, 2)``.
    error_sd
        Standard deviation of the error of the total once this and all places before it are
        measured, as a share of what it is now, shape ``(n,)``.
    """

    places_xy: FloatArray
    error_sd: FloatArray


def next_places(
    data_xy: FloatArray,
    model: CovarianceModel,
    candidates_xy: FloatArray,
    blocks_xy: FloatArray,
    share: FloatArray,
    count: int,
) -> NextPlaces:
    """Choose places one by one, each the one that most reduces the error variance of a total.

    Parameters
    ----------
    data_xy
        Where measurements are [m], shape ``(n_data, 2)``.
    model
        Covariance of the quantity.
    candidates_xy
        Where a measurement could be made [m], shape ``(n_candidates, 2)``.
    blocks_xy, share
        Middle of each block of the total [m] and its share of it, shapes ``(n_blocks, 2)`` and
        ``(n_blocks,)``.
    count
        How many places to choose at most.

    Notes
    -----
    The error of kriging does not depend on the values, so the gain of a place is known before it
    is measured: Cressie (1993), Statistics for Spatial Data, section 5.6.1. One by one is not the
    best set of places, but never far from it.
    """
    kriging = OrdinaryKriging(data_xy, model)
    share = share / share.sum()
    with_total = np.zeros(len(candidates_xy))
    variance = 0.0
    for first in range(0, len(blocks_xy), 500):
        some = slice(first, first + 500)
        with_total += kriging.error_covariance(candidates_xy, blocks_xy[some]) @ share[some]
        within = share @ kriging.error_covariance(blocks_xy, blocks_xy[some]) @ share[some]
        variance += float(within)
    between = kriging.error_covariance(candidates_xy, candidates_xy)
    now = variance
    chosen: list[int] = []
    left: list[float] = []
    for _ in range(min(count, len(candidates_xy))):
        own = np.diag(between) + model.nugget
        gain = np.where(own > 0, with_total**2 / np.where(own > 0, own, 1.0), 0.0)
        gain[chosen] = 0.0
        best = int(gain.argmax())
        if gain[best] <= 0:
            break
        chosen.append(best)
        variance -= float(gain[best])
        left.append(variance)
        step = between[best] / own[best]
        with_total = with_total - step * with_total[best]
        between = between - np.outer(step, between[best])
    error_sd = np.sqrt(np.maximum(np.array(left), 0.0) / now) if now > 0 else np.zeros(len(left))
    return NextPlaces(candidates_xy[chosen], error_sd)
