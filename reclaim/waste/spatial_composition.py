"""The kriged composition of each zone, and its draws by conditional simulation."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from reclaim.geostatistics import ConditionalSimulation
from reclaim.waste.composition import Composition
from reclaim.waste.log_ratio import closed, ilr, ilr_inverse, without_zeros
from reclaim.waste.spatial import krige_blocks, one_per_place

if TYPE_CHECKING:
    from collections.abc import Sequence

    from reclaim.assumptions import Draws
    from reclaim.waste.blocks import Blocks
    from reclaim.waste.composites import CoreComposites
    from reclaim.waste.spatial import SpatialStudy

FloatArray = NDArray[np.floating[Any]]

_NUMBERS_AT_ONCE = 6_000_000  # 48 MB
_ROUNDS = 50


def spatial_composition(
    study: SpatialStudy,
    composites: CoreComposites,
    blocks: Blocks,
    zones: Sequence[str],
    draws: Draws,
) -> Composition:
    """Estimate each zone from the blocks that the dig takes of it.

    Parameters
    ----------
    study
        With a model.
    composites
        One composite per core.
    blocks
        Their volumes, times density where it was measured, weigh the blocks of a zone.
    zones
        Names, in the order of the blocks' zone numbers.
    draws
        The best estimate is the kriged mean; a draw is one simulated picture of the whole site.

    Raises
    ------
    ValueError
        Where the study has no model.

    Notes
    -----
    The simulation runs in log-ratios, so that every picture is a composition, with moisture and
    density beside them where every core has one. Places have the support of a core; over a zone
    of many blocks, what differs from one core's width to the next averages out. A mean of
    back-transformed pictures need not be the kriged mean, so the draws of each zone are shifted,
    by one factor per material, until their mean is.
    """
    best = _kriged(study, composites, blocks, zones)
    if draws.is_best_estimate:
        return best
    fractions, moisture, density = _simulated(study, composites, blocks, len(zones), draws)
    return Composition(
        zones=tuple(zones),
        wet_fraction=_centred(fractions, best.wet_fraction[0]),
        moisture=moisture / moisture.mean(axis=0) * best.moisture,
        bulk_density_t_m3=density / density.mean(axis=0) * best.bulk_density_t_m3,
        pooled_zones=(),
    )


def picked_composition(kriged: Composition, pictures: Composition, draws: Draws) -> Composition:
    """Return the kriged composition as the best estimate, or one picture to each draw.

    Parameters
    ----------
    kriged, pictures
        From `spatial_composition`, for the best estimate and for many draws; pictures are made
        once and serve every run of the model.
    draws
        Each picture is picked equally often, save for a remainder.
    """
    if draws.is_best_estimate:
        return kriged
    count = len(pictures.wet_fraction)
    picks = draws.generator("spatial composition").permutation(draws.n_draws) % count
    return replace(
        pictures,
        wet_fraction=pictures.wet_fraction[picks],
        moisture=pictures.moisture[picks],
        bulk_density_t_m3=pictures.bulk_density_t_m3[picks],
    )


def _kriged(
    study: SpatialStudy, composites: CoreComposites, blocks: Blocks, zones: Sequence[str]
) -> Composition:
    found = krige_blocks(study, composites, blocks)
    density = found.bulk_density_t_m3
    mass = blocks.volume_m3 * np.where(np.isfinite(density), density, 1.0)
    return Composition(
        zones=tuple(zones),
        wet_fraction=closed(_zone_means(found.wet_fraction, mass, blocks, len(zones)))[None],
        moisture=_zone_means(found.moisture[:, None], mass, blocks, len(zones))[None, :, 0],
        bulk_density_t_m3=_zone_means(density[:, None], blocks.volume_m3, blocks, len(zones))[
            None, :, 0
        ],
        pooled_zones=(),
    )


def _simulated(
    study: SpatialStudy, composites: CoreComposites, blocks: Blocks, n_zones: int, draws: Draws
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Composition, moisture and density by zone, a picture to a draw; NaN where not simulated."""
    assert study.model is not None
    cores = one_per_place(composites)
    found = np.flatnonzero(cores.wet_fraction.max(axis=0) > 0)
    ratios = ilr(without_zeros(closed(cores.wet_fraction[:, found])))
    with_moisture = bool(np.isfinite(cores.moisture).all() and (cores.moisture > 0).all())
    with_density = bool(np.isfinite(cores.bulk_density_t_m3).all())
    columns = [ratios]
    if with_moisture:
        columns.append(np.log(cores.moisture / (1 - cores.moisture))[:, None])
    if with_density:
        columns.append(np.log(cores.bulk_density_t_m3)[:, None])
    values = np.hstack(columns)
    centre = values.mean(axis=0)
    scores, back = _independent(values - centre)

    simulation = ConditionalSimulation(cores.places_m, study.model, blocks.places_m)
    generator = draws.generator("spatial composition")
    fractions = np.zeros((draws.n_draws, n_zones, cores.wet_fraction.shape[1]))
    moisture = np.full((draws.n_draws, n_zones), np.nan)
    density = np.full((draws.n_draws, n_zones), np.nan)
    at_once = max(1, _NUMBERS_AT_ONCE // (len(blocks) * cores.wet_fraction.shape[1]))
    for first in range(0, draws.n_draws, at_once):
        some = slice(first, min(first + at_once, draws.n_draws))
        fields = simulation.draw(scores, some.stop - first, generator) @ back + centre
        mass = np.broadcast_to(blocks.volume_m3[:, None], fields.shape[:2])
        if with_density:
            block_density = np.exp(fields[..., -1])
            mass = mass * block_density
        shares = ilr_inverse(fields[..., : ratios.shape[1]])
        for zone in range(n_zones):
            held = blocks.zone == zone
            total = mass[held].sum(axis=0)
            zone_mass = np.einsum("bd,bdm->dm", mass[held], shares[held])
            fractions[some, zone][:, found] = zone_mass / total[:, None]
            if with_density:
                density[some, zone] = total / blocks.volume_m3[held].sum()
            if with_moisture:
                water = 1 / (1 + np.exp(-fields[held, :, ratios.shape[1]]))
                moisture[some, zone] = (mass[held] * water).sum(axis=0) / total
    return fractions, moisture, density


def _independent(values: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Turn columns into uncorrelated scores of variance 1, and the matrix that turns them back."""
    covariance = np.cov(values, rowvar=False).reshape(values.shape[1], values.shape[1])
    size, direction = np.linalg.eigh(covariance)
    kept = size > 1e-12 * size.max()
    root = np.sqrt(size[kept])
    return values @ direction[:, kept] / root, (direction[:, kept] * root).T


def _centred(fractions: FloatArray, target: FloatArray) -> FloatArray:
    """Perturb the draws of each zone until their mean is the target; ``(n_draws, n_zones, ...)``.

    Notes
    -----
    One factor per material and closure by turns, as in iterative proportional fitting: Deming and
    Stephan (1940), Annals of Mathematical Statistics 11, 427-444.
    """
    for _ in range(_ROUNDS):
        mean = fractions.mean(axis=0)
        factor = np.divide(target, mean, out=np.zeros_like(mean), where=mean > 0)
        fractions = closed(fractions * factor)
    return fractions


def _zone_means(values: FloatArray, weight: FloatArray, blocks: Blocks, n_zones: int) -> FloatArray:
    """Weighted mean over the blocks of each zone, shape ``(n_zones, n_columns)``."""
    return np.stack(
        [
            weight[blocks.zone == zone]
            @ values[blocks.zone == zone]
            / weight[blocks.zone == zone].sum()
            for zone in range(n_zones)
        ]
    )
