"""Composition, moisture and density of each zone, per draw: the bootstrap over whole cores."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from reclaim.reference import constant, material_names

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from reclaim.assumptions import Assumption, Draws
    from reclaim.waste.composites import CoreComposites

FloatArray = NDArray[np.floating[Any]]


@dataclass(frozen=True, slots=True)
class Composition:
    """What the waste of each zone is made of, per draw.

    Attributes
    ----------
    zones
        Zone names, ``n_zones``.
    wet_fraction
        Share of wet mass, shape ``(n_draws, n_zones, n_materials)``; adds to 1.
    moisture, bulk_density_t_m3
        Shape ``(n_draws, n_zones)``; NaN where no core of those used has a measurement.
    pooled_zones
        Zones with too few cores of their own, which take all cores of the site.
    """

    zones: tuple[str, ...]
    wet_fraction: FloatArray
    moisture: FloatArray
    bulk_density_t_m3: FloatArray
    pooled_zones: tuple[str, ...]


def composition_from_cores(
    composites: CoreComposites, zones: Sequence[str], draws: Draws
) -> Composition:
    """Estimate each zone from its cores.

    Parameters
    ----------
    composites
        One composite per core.
    zones
        Names of the zones to estimate.
    draws
        The best estimate takes every core once; a draw takes cores with replacement.

    Notes
    -----
    The mean is the arithmetic, mass-weighted one that tonnage needs. Whole cores are resampled,
    since samples of one core are not independent: Davison and Hinkley (1997), Bootstrap Methods
    and their Application, section 3.8 (resampling of clusters).
    """
    pooled = tuple(
        zone for zone in zones if composites.zones.count(zone) < constant("fewest_cores")
    )
    parts = []
    for zone in zones:
        stream = "site" if zone in pooled else zone
        parts.append(resampled_means(composites, cores_of_zone(composites, zone), stream, draws))
    return Composition(
        zones=tuple(zones),
        wet_fraction=np.stack([part[0] for part in parts], axis=1),
        moisture=np.stack([part[1] for part in parts], axis=1),
        bulk_density_t_m3=np.stack([part[2] for part in parts], axis=1),
        pooled_zones=pooled,
    )


def cores_of_zone(composites: CoreComposites, zone: str) -> NDArray[np.int_]:
    """Return the numbers of the cores that speak for a zone.

    Its own where there are ``fewest_cores``, else all that lie in a zone, else all.
    """
    if composites.zones.count(zone) >= constant("fewest_cores"):
        return np.array([i for i, name in enumerate(composites.zones) if name == zone])
    inside = [i for i, name in enumerate(composites.zones) if name]
    return np.array(inside or range(len(composites)))


def resampled_means(
    composites: CoreComposites, chosen: NDArray[np.int_], stream: str, draws: Draws
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return composition, moisture and density of some cores, resampled once per draw.

    Shapes ``(n_draws, n_materials)``, ``(n_draws,)`` and ``(n_draws,)``. Zones that share a
    `stream` are resampled together.

    Notes
    -----
    A draw takes one core fewer than there are: the spread is then that of a mean with the
    unbiased variance, not (n - 1) / n of it. Rao and Wu (1988), Journal of the American
    Statistical Association 83, 231-241.
    """
    picks = chosen[None, :]
    if not draws.is_best_estimate:
        generator = draws.generator(f"cores of {stream}")
        taken = max(chosen.size - 1, 1)
        picks = chosen[generator.integers(0, chosen.size, size=(draws.n_draws, taken))]
    weight = composites.weight[picks]
    fractions = np.einsum("dc,dcm->dm", weight, composites.wet_fraction[picks])
    return (
        fractions / weight.sum(axis=1, keepdims=True),
        _known_mean(composites.moisture, picks, weight),
        _known_mean(composites.bulk_density_t_m3, picks, composites.waste_m[picks]),
    )


def composition_stated(
    shares: Mapping[str, Assumption], zones: Sequence[str], draws: Draws
) -> Composition:
    """Take the shares that the site file states, the same for every zone, scaled to add to 1."""
    drawn = np.stack(
        [
            draws.of(shares[name]) if name in shares else np.zeros(draws.n_draws)
            for name in material_names()
        ],
        axis=1,
    )
    fractions = drawn / drawn.sum(axis=1, keepdims=True)
    unknown = np.full((draws.n_draws, len(zones)), np.nan)
    return Composition(
        zones=tuple(zones),
        wet_fraction=np.repeat(fractions[:, None, :], len(zones), axis=1),
        moisture=unknown,
        bulk_density_t_m3=unknown,
        pooled_zones=(),
    )


def _known_mean(values: FloatArray, picks: NDArray[np.int_], weight: FloatArray) -> FloatArray:
    """Weighted mean over the picked cores that have a value.

    A draw that picked none of them takes the mean over all picked cores' known values instead,
    that is the best estimate: the draw then says nothing new about this quantity.
    """
    known = np.isfinite(values[picks])
    known_weight = np.where(known, weight, 0.0)
    total = known_weight.sum(axis=1)
    sums = (known_weight * np.where(known, values[picks], 0.0)).sum(axis=1)
    used = np.unique(picks)
    with_value = used[np.isfinite(values[used])]
    overall = float(values[with_value].mean()) if with_value.size else float("nan")
    return np.asarray(np.divide(sums, total, out=np.full_like(total, overall), where=total > 0))
