"""The covariance model under which the data are likeliest: for few, unevenly spread places."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from reclaim.geostatistics.covariance import CovarianceModel

if TYPE_CHECKING:
    from reclaim.geostatistics.covariance import FloatArray

_RANGES = 24  # tried, from the closest spacing to twice the extent, evenly in the logarithm
_NUGGET_SHARES = (0.0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0)


def likeliest_covariance(data_xy: FloatArray, values: FloatArray) -> CovarianceModel:
    """Return the spherical covariance model of largest restricted likelihood.

    Unlike a fit to a binned variogram this needs no choice of bins, which few cores cannot fill.
    Where nothing is gained by nearness, the nugget takes the whole sill.

    Parameters
    ----------
    data_xy
        East and north of the data [m], shape ``(n_data, 2)``, no place twice.
    values
        One quantity at the data, shape ``(n_data,)``.

    Raises
    ------
    ValueError
        Fewer than three data, all values the same, or two data at one place.

    Notes
    -----
    Restricted likelihood of an unknown constant mean, the sill taken out in closed form:
    Patterson and Thompson (1971), Biometrika 58, 545-554; Kitanidis (1983), Water Resources
    Research 19, 909-921. Tried on a grid of ranges and nugget shares, which cannot miss a
    second peak as a descent can.
    """
    from scipy.spatial.distance import pdist, squareform

    if len(values) < 3 or np.ptp(values) == 0:
        raise ValueError("A covariance needs at least three values that differ.")
    distances = pdist(data_xy)
    if distances.min() == 0:
        raise ValueError("Two data are at one place; average them first.")
    best, model = np.inf, None
    for range_m in np.geomspace(distances.min(), 2 * distances.max(), _RANGES):
        correlation = squareform(CovarianceModel("spherical", 1.0, range_m).by_distance(distances))
        for nugget_share in _NUGGET_SHARES:
            mixed = (1 - nugget_share) * correlation
            np.fill_diagonal(mixed, 1.0)
            misfit, sill = _profile(mixed, values)
            if misfit < best - 1e-9:
                best = misfit
                model = CovarianceModel(
                    "spherical", (1 - nugget_share) * sill, float(range_m), nugget_share * sill
                )
    if model is None:
        raise ValueError("Two data are too close together to be told apart.")
    return model


def _profile(correlation: FloatArray, values: FloatArray) -> tuple[float, float]:
    """Return minus the restricted log-likelihood, but for a constant, and the sill."""
    from scipy.linalg import LinAlgError, cho_factor, cho_solve

    try:
        factor = cho_factor(correlation, lower=True)
    except LinAlgError:
        return np.inf, np.nan
    solved = cho_solve(factor, np.column_stack([values, np.ones(len(values))]))
    ones = solved[:, 1].sum()
    mean = solved[:, 0].sum() / ones
    freedom = len(values) - 1
    sill = float((values - mean) @ (solved[:, 0] - mean * solved[:, 1])) / freedom
    if not sill > 0:
        return np.inf, np.nan
    log_determinant = 2 * float(np.log(np.diag(factor[0])).sum())
    return (log_determinant + float(np.log(ones)) + freedom * float(np.log(sill))) / 2, sill
