"""How unlike two places become with distance: experimental variogram and a bounded fit."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from reclaim.geostatistics.covariance import CovarianceModel

if TYPE_CHECKING:
    from reclaim.geostatistics.covariance import Shape

FloatArray = NDArray[np.floating[Any]]

_SHAPES: tuple[Shape, ...] = ("spherical", "exponential")
_LAGS = 15
_FEWEST_LAGS = 3  # nugget, sill and range
_STARTS = 6


@dataclass(frozen=True, slots=True)
class Variogram:
    """Half the mean squared difference of pairs of places, by distance and direction.

    Attributes
    ----------
    distance_m
        Mean distance of the pairs of each lag [m], shape ``(n_lags,)``.
    semivariance
        Pooled over quantities [unit squared], shape ``(n_lags,)``.
    pairs
        Number of pairs, shape ``(n_lags,)``.
    azimuth_deg
        Middle of the direction sector, clockwise from north [degrees]; NaN for all directions.
    """

    distance_m: FloatArray
    semivariance: FloatArray
    pairs: NDArray[np.int_]
    azimuth_deg: FloatArray

    def __len__(self) -> int:
        return len(self.distance_m)


@dataclass(frozen=True, slots=True)
class VariogramFit:
    """A model fitted to an experimental variogram, or the reason why there is none.

    Attributes
    ----------
    model
        The fit; None where the data cannot support one.
    reason
        One plain sentence: what was fitted, or what is missing.
    weighted_error
        Sum of the weighted squared misfits; NaN without a model.
    """

    model: CovarianceModel | None
    reason: str
    weighted_error: float


def experimental_variogram(
    data_xy: FloatArray,
    values: FloatArray,
    *,
    cutoff_m: float | None = None,
    fewest_pairs: int = 30,
    directions: int = 1,
) -> Variogram:
    """Return the variogram of several quantities pooled: the mean of their semivariances.

    Parameters
    ----------
    data_xy
        East and north [m], shape ``(n, 2)``.
    values
        Shape ``(n, n_quantities)``; scale them first so that each counts as it should.
    cutoff_m
        Longest distance used [m]; half the longest between data where not given.
    fewest_pairs
        A lag with fewer pairs is merged with the next.
    directions
        Number of equal sectors of direction; 1 for all directions together.

    Notes
    -----
    Matheron's estimator in equal lags. Thirty pairs to a lag and distances up to half the extent:
    Journel and Huijbregts (1978), Mining Geostatistics, section III.B.
    """
    first, second = np.triu_indices(len(data_xy), k=1)
    step = data_xy[second] - data_xy[first]
    distance = np.hypot(step[:, 0], step[:, 1])
    azimuth = np.degrees(np.arctan2(step[:, 0], step[:, 1])) % 180
    half_square = np.mean((values[second] - values[first]) ** 2, axis=1) / 2
    if cutoff_m is None:
        cutoff_m = float(distance.max(initial=0.0)) / 2
    width = 180 / directions
    sector = np.round(azimuth / width).astype(int) % directions
    edges = np.linspace(0, cutoff_m, _LAGS + 1)
    rows: list[tuple[float, float, int, float]] = []
    for number in range(directions):
        held = (sector == number) & (distance <= cutoff_m) & (distance > 0)
        lag = np.clip(np.searchsorted(edges, distance[held], side="left") - 1, 0, _LAGS - 1)
        for lags in _merged(np.bincount(lag, minlength=_LAGS), fewest_pairs):
            inside = np.isin(lag, lags)
            rows.append(
                (
                    float(distance[held][inside].mean()),
                    float(half_square[held][inside].mean()),
                    int(inside.sum()),
                    number * width if directions > 1 else float("nan"),
                )
            )
    table = np.array(rows, dtype=float).reshape(len(rows), 4)
    return Variogram(table[:, 0], table[:, 1], table[:, 2].astype(int), table[:, 3])


def fit_variogram(variogram: Variogram, shapes: tuple[Shape, ...] = _SHAPES) -> VariogramFit:
    """Fit a model with nugget, within bounds, or say why there is none.

    The range stays between the shortest lag and twice the longest, nugget and partial sill are not
    negative. With directions the fit has an azimuth and a ratio of ranges too. Of the shapes the
    one nearer to the points is taken.

    Notes
    -----
    Least squares weighted by pairs over distance squared, as is usual for kriging since short
    distances count most: Pebesma (2004), Computers and Geosciences 30, 683-691.
    """
    directional = bool(len(variogram)) and bool(np.isfinite(variogram.azimuth_deg).all())
    unknowns = 5 if directional else _FEWEST_LAGS
    if len(variogram) < unknowns:
        return VariogramFit(
            None,
            f"There are pairs of places for {len(variogram)} lags and a model needs {unknowns}: "
            "too few places to tell how likeness falls off with distance.",
            float("nan"),
        )
    if variogram.semivariance.max() <= 0:
        return VariogramFit(None, "The values are the same at every place.", float("nan"))
    fits = [_fit_shape(variogram, shape, directional) for shape in shapes]
    numbers, error, shape = min(fits, key=lambda found: found[1])
    nugget, partial_sill, range_m = (float(number) for number in numbers[:3])
    if partial_sill < 0.05 * (nugget + partial_sill):
        return VariogramFit(
            None,
            "Near places are no more alike than far ones at the distances sampled (pure nugget).",
            error,
        )
    longest_m = float(variogram.distance_m.max())
    reason = (
        f"A {shape} model, range {range_m:.0f} m, nugget {nugget / (nugget + partial_sill):.0%} of "
        f"the sill, fitted to {int(variogram.pairs.sum())} pairs in {len(variogram)} lags."
    )
    if range_m > longest_m:
        reason += " The sill lies beyond the longest lag, so range and sill are little known."
    azimuth, ratio = _direction(numbers) if directional else (0.0, 1.0)
    model = CovarianceModel(shape, partial_sill, range_m, nugget, azimuth, ratio)
    return VariogramFit(model, reason, error)


def semivariance(
    model: CovarianceModel, distance_m: FloatArray, azimuth_deg: FloatArray | float = 0.0
) -> FloatArray:
    """Return the model's semivariance at distances above zero along an azimuth."""
    azimuth = np.radians(np.where(np.isfinite(azimuth_deg), azimuth_deg, model.azimuth_deg))
    step = np.column_stack([distance_m * np.sin(azimuth), distance_m * np.cos(azimuth)])
    lag = model.scaled(step)
    smooth = CovarianceModel(model.shape, model.sill, 1.0)
    share = model.partial_sill / model.sill
    return np.asarray(model.sill - share * smooth.by_distance(np.hypot(lag[:, 0], lag[:, 1])))


def _merged(counts: NDArray[np.int_], fewest: int) -> list[list[int]]:
    """Group lags in order so that each group has enough pairs; a short rest joins the last."""
    groups: list[list[int]] = []
    group: list[int] = []
    for lag, _ in enumerate(counts):
        group.append(lag)
        if counts[group].sum() >= fewest:
            groups.append(group)
            group = []
    if groups and group:
        groups[-1] = [*groups[-1], *group]
    return groups


def _fit_shape(
    variogram: Variogram, shape: Shape, directional: bool
) -> tuple[FloatArray, float, Shape]:
    """Return nugget, partial sill, range (azimuth, ratio), the weighted error and the shape."""
    from scipy.optimize import least_squares

    weight = np.sqrt(variogram.pairs) / variogram.distance_m
    shortest, longest = float(variogram.distance_m.min()), float(variogram.distance_m.max())
    top = float(variogram.semivariance.max())
    lower = np.array([0, 0, shortest, -np.inf, 0.1])
    upper = np.array([2 * top, 5 * top, 2 * longest, np.inf, 1.0])
    size = 5 if directional else 3

    def misfit(numbers: FloatArray) -> FloatArray:
        azimuth, ratio = _direction(numbers) if directional else (0.0, 1.0)
        sill = max(numbers[1], 1e-12 * top)
        model = CovarianceModel(shape, sill, numbers[2], numbers[0], azimuth, ratio)
        fitted = semivariance(model, variogram.distance_m, variogram.azimuth_deg)
        return np.asarray(weight * (fitted - variogram.semivariance))

    starts = [
        np.array([0.2 * top, 0.8 * top, range_m, azimuth, 0.6])[:size]
        for range_m in np.linspace(shortest, 1.8 * longest, _STARTS + 1)[1:]
        for azimuth in ([0.0, 45.0, 90.0, 135.0] if directional else [0.0])
    ]
    found = [
        least_squares(
            misfit, start, bounds=(lower[:size], upper[:size]), x_scale=np.abs(start) + 0.1 * top
        )
        for start in starts
    ]
    best = min(found, key=lambda one: one.cost)
    return np.asarray(best.x), float(2 * best.cost), shape


def _direction(numbers: FloatArray) -> tuple[float, float]:
    return float(numbers[3] % 180), float(numbers[4])
