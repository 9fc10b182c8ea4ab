"""Are zones different, does the waste change with depth, and which core is unlike the others?"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from reclaim.reference import constant
from reclaim.waste.log_ratio import closed, clr, without_zeros

if TYPE_CHECKING:
    from collections.abc import Sequence

FloatArray = NDArray[np.floating[Any]]


def zones_differ(
    fractions: FloatArray, zones: Sequence[str], generator: np.random.Generator
) -> tuple[float, float]:
    """Return the pseudo-F of zones and the chance of one as large if zones made no difference.

    Parameters
    ----------
    fractions
        Composition of each core, shape ``(n_cores, n_materials)``.
    zones
        Zone of each core.
    generator
        Source of the permutations.

    Returns
    -------
    pseudo_f, chance
        NaN both with fewer than two zones, or with no zone of two cores.

    Notes
    -----
    Permutation test on distances between whole cores: Anderson (2001), Austral Ecology 26, 32-46;
    the distance is Aitchison's. With one quantity and plain distances pseudo-F is F of the
    analysis of variance.
    """
    names, member = np.unique(np.array(zones), return_inverse=True)
    if len(names) < 2 or len(names) == len(member):
        return float("nan"), float("nan")
    values = log_ratios(fractions)
    found = pseudo_f(values, member)
    if not np.isfinite(found):
        return found, float("nan")
    count = int(constant("permutations"))
    larger = sum(
        pseudo_f(values, generator.permutation(member)) >= found * (1 - 1e-12) for _ in range(count)
    )
    return found, (larger + 1) / (count + 1)


def pseudo_f(values: FloatArray, member: NDArray[np.int_]) -> float:
    """Return the variance between groups over that within, shape ``(n, n_columns)`` by group."""
    sizes = np.bincount(member)
    means = np.stack(
        [np.bincount(member, column, minlength=sizes.size) / sizes for column in values.T], axis=1
    )
    within = ((values - means[member]) ** 2).sum()
    between = (sizes[:, None] * (means - values.mean(axis=0)) ** 2).sum()
    if within <= 0:
        return float("nan")
    groups = len(sizes)
    return float(between / (groups - 1) / (within / (len(values) - groups)))


def depth_trend(
    values: FloatArray,
    position: FloatArray,
    core: NDArray[np.int_],
    generator: np.random.Generator,
) -> tuple[FloatArray, FloatArray]:
    """Return the slope of each column with position inside cores, and how likely by chance.

    Parameters
    ----------
    values
        One row per sample, shape ``(n_samples, n_columns)``.
    position
        Depth [m] or year of tipping, shape ``(n_samples,)``.
    core
        Number of each sample's core, shape ``(n_samples,)``.
    generator
        Source of the permutations.

    Returns
    -------
    slope, chance
        Each ``(n_columns,)``; NaN where no core has two samples at different positions.

    Notes
    -----
    Differences between cores are taken out first. Samples change places only within their own
    core, so cores stay whole: Davison and Hinkley (1997), Bootstrap Methods and their
    Application, section 4.3 (permutation within strata).
    """
    centred = _less_core_mean(values, core)
    moved = _less_core_mean(position[:, None], core)[:, 0]
    square = float(moved @ moved)
    if square <= 0:
        unknown = np.full(values.shape[1], np.nan)
        return unknown, unknown
    along = moved @ centred
    as_large = np.abs(along) * (1 - 1e-12)
    count = int(constant("permutations"))
    larger = np.zeros(values.shape[1])
    members = [np.flatnonzero(core == one) for one in np.unique(core)]
    order = np.empty(len(core), dtype=int)
    for _ in range(count):
        for rows in members:
            order[rows] = generator.permutation(rows)
        larger += np.abs(moved[order] @ centred) >= as_large
    return along / square, (larger + 1) / (count + 1)


def outlier_scores(fractions: FloatArray) -> FloatArray:
    """Return how far each core lies from the middle of all, in robust standard deviations.

    Shape ``(n_cores,)``; NaN with fewer than five cores. A core above the limit
    ``outlier_score`` is worth a second look; none is left out for it.

    Notes
    -----
    Modified z-score, 0.6745 (d - median) / MAD, of the Aitchison distance to the median
    composition: Iglewicz and Hoaglin (1993), How to Detect and Handle Outliers, ASQC; their limit
    is 3.5.
    """
    if len(fractions) < constant("fewest_cores_outliers"):
        return np.full(len(fractions), np.nan)
    values = log_ratios(fractions)
    distance = np.linalg.norm(values - np.median(values, axis=0), axis=1)
    deviation = distance - np.median(distance)
    typical = np.median(np.abs(deviation))
    if typical <= 0:
        return np.zeros(len(fractions))
    return np.asarray(0.6745 * deviation / typical)


def log_ratios(fractions: FloatArray) -> FloatArray:
    """Return the centred log-ratios of the materials found, zeros replaced."""
    found = fractions.max(axis=0) > 0
    return clr(without_zeros(closed(fractions[:, found])))


def _less_core_mean(values: FloatArray, core: NDArray[np.int_]) -> FloatArray:
    _, member = np.unique(core, return_inverse=True)
    counts = np.bincount(member)
    means = np.stack([np.bincount(member, column) / counts for column in values.T], axis=1)
    return np.asarray(values - means[member])
