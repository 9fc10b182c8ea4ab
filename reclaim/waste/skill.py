"""Does kriging tell a core that it has not seen better than the mean of the zone does?"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from reclaim.geostatistics import OrdinaryKriging
from reclaim.reference import constant

if TYPE_CHECKING:
    from collections.abc import Callable

    from reclaim.geostatistics import CovarianceModel

FloatArray = NDArray[np.floating[Any]]
IntArray = NDArray[np.int_]


@dataclass(frozen=True, slots=True)
class Skill:
    """How much better kriging foretells left-out cores than the mean of their zone.

    Attributes
    ----------
    one_out, groups_out
        1 - squared error of kriging over that of the zone mean, all materials together, each
        core weighing what it stands for. Above 0 kriging is better; 1 is perfect. `one_out`
        leaves out a core at a time, `groups_out` a random group, for which the variogram is
        fitted anew.
    by_material
        `one_out` of each material, shape ``(n_materials,)``; NaN where the zone mean has no
        error to better.
    observed, kriged, zone_mean
        Of every core when it was left out alone, shape ``(n_cores, n_materials)``.
    """

    one_out: float
    groups_out: float
    by_material: FloatArray
    observed: FloatArray
    kriged: FloatArray
    zone_mean: FloatArray

    @property
    def wins(self) -> bool:
        """True where kriging is the better on both counts."""
        return self.one_out > 0 and self.groups_out > 0


def cross_validate(
    places_m: FloatArray,
    values: FloatArray,
    weight: FloatArray,
    zones: IntArray,
    model: CovarianceModel,
    refit: Callable[[FloatArray, FloatArray], CovarianceModel | None],
) -> Skill:
    """Leave cores out, one by one and in groups, and foretell them both ways.

    Parameters
    ----------
    places_m, values, weight, zones
        Place, composition, weight and number of the zone of each core.
    model
        Fitted to all cores.
    refit
        Fits a model to some places and values; None where they cannot support one, and the zone
        mean then stands in for kriging.

    Notes
    -----
    Cross-validation: Isaaks and Srivastava (1989), An Introduction to Applied Geostatistics,
    chapter 15; skill as in Murphy (1988), Monthly Weather Review 116, 2417-2424.
    """
    alone = np.arange(len(values))
    kriged = values - OrdinaryKriging(places_m, model).left_out(values)[0]
    zone_mean = _zone_means_left_out(values, weight, zones, alone)

    folds = np.random.default_rng(len(values)).permutation(len(values))
    folds %= min(int(constant("cross_validation_folds")), len(values))
    group_mean = _zone_means_left_out(values, weight, zones, folds)
    group_kriged = group_mean.copy()
    for fold in np.unique(folds):
        rest = folds != fold
        again = refit(places_m[rest], values[rest])
        if again is not None:
            found, _ = OrdinaryKriging(places_m[rest], again).estimate(
                values[rest], places_m[~rest]
            )
            group_kriged[~rest] = found
    return Skill(
        one_out=_skill(values, kriged, zone_mean, weight),
        groups_out=_skill(values, group_kriged, group_mean, weight),
        by_material=np.array(
            [
                _skill(values[:, [i]], kriged[:, [i]], zone_mean[:, [i]], weight)
                for i in range(values.shape[1])
            ]
        ),
        observed=values,
        kriged=kriged,
        zone_mean=zone_mean,
    )


def _zone_means_left_out(
    values: FloatArray, weight: FloatArray, zones: IntArray, folds: IntArray
) -> FloatArray:
    """Mean of the other cores of a core's zone; of all others where the zone has too few."""
    means = np.empty_like(values)
    for row in range(len(values)):
        others = folds != folds[row]
        own = others & (zones == zones[row])
        used = own if own.sum() >= constant("fewest_cores") else others
        if not used.any():
            means[row] = np.nan
            continue
        means[row] = weight[used] @ values[used] / weight[used].sum()
    return means


def _skill(
    observed: FloatArray, better: FloatArray, reference: FloatArray, weight: FloatArray
) -> float:
    of_reference = float((weight @ (reference - observed) ** 2).sum())
    if not of_reference > 0:
        return float("nan")
    return 1 - float((weight @ (better - observed) ** 2).sum()) / of_reference
