"""What the cores say of one material: means for tonnage and for shape, spread and intervals."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from reclaim.reference import constant, material_names
from reclaim.waste.log_ratio import log_ratio_centre

if TYPE_CHECKING:
    import pandas as pd

    from reclaim.assumptions import Draws
    from reclaim.waste.composites import CoreComposites

FloatArray = NDArray[np.floating[Any]]

CONFIDENCE = 0.8
"""Of every interval here: the P10 to P90 that is shown everywhere."""


def weighted_mean(values: FloatArray, weights: FloatArray) -> FloatArray:
    """Return the mean over the first axis, each row by its weight."""
    return np.asarray(weights @ values / weights.sum())


def weighted_median(values: FloatArray, weights: FloatArray) -> FloatArray:
    """Return the value that half the weight lies below, for each column."""
    order = np.argsort(values, axis=0, kind="stable")
    ranked = np.take_along_axis(values, order, axis=0)
    reached = np.cumsum(weights[order], axis=0) / weights.sum()
    row = (reached < 0.5 - 1e-12).sum(axis=0)
    middle = np.take_along_axis(ranked, row[None], axis=0)[0]
    # Where half the weight is met exactly, the median is midway to the next value.
    met = np.abs(np.take_along_axis(reached, row[None], axis=0)[0] - 0.5) < 1e-12
    following = np.take_along_axis(ranked, np.minimum(row + 1, len(values) - 1)[None], axis=0)[0]
    return np.asarray(np.where(met, (middle + following) / 2, middle))


def t_interval(
    values: FloatArray, weights: FloatArray, confidence: float = CONFIDENCE
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return standard error and interval of a weighted mean by Student's t.

    Parameters
    ----------
    values
        One row per core, shape ``(n, n_columns)``.
    weights
        Waste that each core stands for, shape ``(n,)``.
    confidence
        Two-sided [-].

    Returns
    -------
    error, low, high
        Each ``(n_columns,)``; NaN for one core.

    Notes
    -----
    Standard error of a ratio of means, n / (n - 1) sum w^2 (x - mean)^2 / (sum w)^2: Cochran
    (1977), Sampling Techniques, section 2.11; with equal weights it is s / sqrt(n). The interval
    is symmetric, so for rare materials it may reach below zero.
    """
    from scipy.special import stdtrit

    count = len(values)
    mean = weighted_mean(values, weights)
    if count < 2:
        unknown = np.full(values.shape[1], np.nan)
        return unknown, unknown, unknown
    share = weights / weights.sum()
    error = np.sqrt(count / (count - 1) * (share**2) @ (values - mean) ** 2)
    reach = float(stdtrit(count - 1, (1 + confidence) / 2)) * error
    return error, mean - reach, mean + reach


def bca_interval(
    values: FloatArray, weights: FloatArray, draws: Draws, confidence: float = CONFIDENCE
) -> tuple[FloatArray, FloatArray]:
    """Return the interval of a weighted mean by the bootstrap over whole cores, corrected.

    Parameters
    ----------
    values, weights, confidence
        As for `t_interval`.
    draws
        Number of resamples and their seed.

    Returns
    -------
    low, high
        Each ``(n_columns,)``; NaN for one core, both the mean where all values are alike.

    Notes
    -----
    Bias-corrected and accelerated percentiles: Efron (1987), Journal of the American Statistical
    Association 82, 171-185; acceleration from the jackknife.
    """
    from scipy.special import ndtr, ndtri

    count, columns = values.shape
    if count < 2:
        unknown = np.full(columns, np.nan)
        return unknown, unknown
    mean = weighted_mean(values, weights)
    picks = draws.generator("cores").integers(0, count, size=(draws.n_draws, count))
    times = np.zeros((draws.n_draws, count))
    np.add.at(times, (np.arange(draws.n_draws)[:, None], picks), 1.0)
    weight = times * weights
    resampled = weight @ values / weight.sum(axis=1, keepdims=True)

    tolerance = 1e-12 * np.abs(mean)
    below = (resampled < mean - tolerance).mean(axis=0)
    equal = (np.abs(resampled - mean) <= tolerance).mean(axis=0)
    edge = 0.5 / draws.n_draws
    bias = ndtri(np.clip(below + equal / 2, edge, 1 - edge))
    left_out = (weights @ values - weights[:, None] * values) / (weights.sum() - weights)[:, None]
    pull = left_out.mean(axis=0) - left_out
    spread = (pull**2).sum(axis=0)
    alike = spread <= (1e-12 * np.abs(mean)) ** 2 * count
    acceleration = np.divide(
        (pull**3).sum(axis=0), 6 * spread**1.5, out=np.zeros(columns), where=~alike
    )
    ends = []
    for probability in ((1 - confidence) / 2, (1 + confidence) / 2):
        shifted = bias + ndtri(probability)
        level = ndtr(bias + shifted / (1 - acceleration * shifted))
        ends.append(np.array([np.quantile(resampled[:, i], level[i]) for i in range(columns)]))
    return np.where(alike, mean, ends[0]), np.where(alike, mean, ends[1])


def material_statistics(
    composites: CoreComposites, draws: Draws, area_weight: FloatArray, cell_weight: FloatArray
) -> pd.DataFrame:
    """Return one row per zone and material, and for ``site`` all cores together.

    Parameters
    ----------
    composites
        One composite per core.
    draws
        Of the bootstrap.
    area_weight, cell_weight
        Declustering weights of the cores, shape ``(n_cores,)``; NaN where there is no outline.

    Returns
    -------
    DataFrame
        ``zone``, ``material``, ``cores``, ``found_in`` (cores that hold it), fractions of wet
        mass: ``mean`` (arithmetic, by mass: for tonnage), ``median``, ``sd`` (between cores),
        ``standard_error``, ``t_low``, ``t_high``, ``bca_low``, ``bca_high``, ``mean_by_area``
        and ``mean_by_cells`` (declustered), ``log_ratio_centre`` (geometric: for shape, not for
        tonnage).
    """
    import pandas as pd

    zones = sorted({zone for zone in composites.zones if zone})
    member = np.array(composites.zones, dtype=object)
    parts = [(zone, np.flatnonzero(member == zone)) for zone in zones]
    inside = np.flatnonzero(member != "") if zones else np.arange(len(composites))
    parts.append(("site", inside))
    frames = []
    for zone, rows in parts:
        if not rows.size:
            continue
        values, weights = composites.wet_fraction[rows], composites.weight[rows]
        error, t_low, t_high = t_interval(values, weights)
        bca_low, bca_high = bca_interval(values, weights, draws)
        mean = weighted_mean(values, weights)
        spread = np.average((values - mean) ** 2, axis=0, weights=weights)
        frames.append(
            pd.DataFrame(
                {
                    "zone": zone,
                    "material": material_names(),
                    "cores": rows.size,
                    "found_in": (values > 0).sum(axis=0),
                    "mean": mean,
                    "median": weighted_median(values, weights),
                    "sd": np.sqrt(spread * rows.size / (rows.size - 1))
                    if rows.size > 1
                    else np.full(len(mean), np.nan),
                    "standard_error": error,
                    "t_low": t_low,
                    "t_high": t_high,
                    "bca_low": bca_low,
                    "bca_high": bca_high,
                    "mean_by_area": weighted_mean(values, area_weight[rows] * weights),
                    "mean_by_cells": weighted_mean(values, cell_weight[rows] * weights),
                    "log_ratio_centre": log_ratio_centre(values, weights),
                }
            )
        )
    return pd.concat(frames, ignore_index=True)


def bootstrap_draws() -> int:
    """Return the number of resamples for the intervals of the summary."""
    return int(constant("bootstrap_draws"))
