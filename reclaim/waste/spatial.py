"""What lies between the cores: is there a pattern, is it worth using, and what does it say?"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from reclaim.geostatistics import (
    CovarianceModel,
    OrdinaryKriging,
    Variogram,
    VariogramFit,
    experimental_variogram,
    fit_variogram,
    local_kriging,
)
from reclaim.reference import constant
from reclaim.waste.skill import Skill, cross_validate

if TYPE_CHECKING:
    from reclaim.waste.blocks import Blocks
    from reclaim.waste.composites import CoreComposites

FloatArray = NDArray[np.floating[Any]]

_DIRECTIONS = 4
_ALIKE = 1e-20  # variance of shares that rounding alone can make


@dataclass(frozen=True, slots=True)
class SpatialStudy:
    """Whether the cores show a pattern in space, and whether the estimate uses it.

    Attributes
    ----------
    places
        Cores taken as one place where they stand close together, shape ``(n_places, 2)`` [m].
    variogram
        Experimental, pooled over materials and scaled so that the variance between cores is 1.
    fit
        The model shared by all materials, or why there is none.
    skill
        Against the zone mean; None without a model.
    used
        True where the estimate takes the kriged composition.
    why
        One or two plain sentences: what was used and why.
    """

    places: FloatArray
    variogram: Variogram
    fit: VariogramFit
    skill: Skill | None
    used: bool
    why: str

    @property
    def model(self) -> CovarianceModel | None:
        """The model shared by all materials; its sill is in units of the variance of each."""
        return self.fit.model


@dataclass(frozen=True, slots=True)
class BlockEstimates:
    """The kriged waste of each block; closed, and nowhere negative.

    Attributes
    ----------
    wet_fraction
        Share of wet mass, shape ``(n_blocks, n_materials)``.
    moisture, bulk_density_t_m3
        Shape ``(n_blocks,)``; NaN where fewer cores than `fewest_cores` have a measurement.
    kriging_sd
        Standard deviation of the error of any material at a place of one core's size, over that
        material's standard deviation between cores, shape ``(n_blocks,)``.
    """

    wet_fraction: FloatArray
    moisture: FloatArray
    bulk_density_t_m3: FloatArray
    kriging_sd: FloatArray


def study_pattern(composites: CoreComposites) -> SpatialStudy:
    """Look for a pattern in space and weigh it against the mean of each zone.

    Notes
    -----
    One variogram serves all materials, so kriged shares add to one. It is the mean of the
    materials' own, each weighing by its variance, since errors count in tonnes. A model with
    direction is taken where it foretells left-out cores better than one without.
    """
    cores = one_per_place(composites)
    values = cores.wet_fraction
    spread = float(values.var(axis=0, ddof=1).sum()) if len(cores) > 1 else 0.0
    zones = np.unique(np.array(cores.zones), return_inverse=True)[1].reshape(-1)
    if spread <= _ALIKE:
        few = VariogramFit(None, "There is one place, or all cores are alike.", float("nan"))
        none = experimental_variogram(cores.places_m[:1], values[:1])
        return _without(cores.places_m, none, few)
    scaled = values * np.sqrt(values.shape[1] / spread)
    fewest = int(constant("variogram_fewest_pairs"))
    variogram = experimental_variogram(cores.places_m, scaled, fewest_pairs=fewest)
    fit = fit_variogram(variogram)
    if fit.model is None:
        return _without(cores.places_m, variogram, fit)
    skill = _skill(cores, zones, fit.model, directions=1)
    directional = experimental_variogram(
        cores.places_m, scaled, fewest_pairs=fewest, directions=_DIRECTIONS
    )
    if np.unique(directional.azimuth_deg, return_counts=True)[1].min(initial=0) > 1:
        other = fit_variogram(directional)
        if other.model is not None:
            other_skill = _skill(cores, zones, other.model, directions=_DIRECTIONS)
            if other_skill.one_out > skill.one_out and other_skill.groups_out > skill.groups_out:
                variogram, fit, skill = directional, other, other_skill
    verdict = (
        f"Left out one by one, cores are foretold with {abs(skill.one_out):.0%} "
        f"{'less' if skill.one_out > 0 else 'more'} squared error by kriging than by the mean of "
        f"their zone; left out in groups, {abs(skill.groups_out):.0%} "
        f"{'less' if skill.groups_out > 0 else 'more'}. "
    )
    choice = "Kriging is used." if skill.wins else "The mean of each zone is used."
    return SpatialStudy(
        cores.places_m, variogram, fit, skill, skill.wins, f"{fit.reason} {verdict}{choice}"
    )


def krige_blocks(study: SpatialStudy, composites: CoreComposites, blocks: Blocks) -> BlockEstimates:
    """Krige composition, moisture and density of every block with the shared model.

    Negative shares, which far cores behind near ones can cause, are set to nothing and the rest
    scaled to add to one.

    Raises
    ------
    ValueError
        Where the study has no model.
    """
    if study.model is None:
        raise ValueError(study.fit.reason)
    cores = one_per_place(composites)
    shares, variance = _krige(cores.places_m, cores.wet_fraction, blocks, study.model)
    shares = np.clip(shares, 0.0, None)
    return BlockEstimates(
        wet_fraction=shares / shares.sum(axis=1, keepdims=True),
        moisture=_krige_known(cores.places_m, cores.moisture, blocks, study.model),
        bulk_density_t_m3=_krige_known(
            cores.places_m, cores.bulk_density_t_m3, blocks, study.model
        ),
        kriging_sd=np.sqrt(variance),
    )


def krige_measured(
    study: SpatialStudy, places_m: FloatArray, values: FloatArray, blocks: Blocks
) -> FloatArray:
    """Krige one measured quantity, such as a laboratory value, with the shared model.

    Parameters
    ----------
    study
        With a model.
    places_m, values
        Place and value of each core measured, shapes ``(n, 2)`` and ``(n,)``.
    blocks
        Where to.

    Returns
    -------
    ndarray
        Shape ``(n_blocks,)``, within the range of the values; NaN with too few cores.

    Raises
    ------
    ValueError
        Where the study has no model.
    """
    if study.model is None:
        raise ValueError(study.fit.reason)
    own, member = np.unique(places_m, axis=0, return_inverse=True)
    member = member.reshape(-1)
    mean = np.bincount(member, values) / np.bincount(member)
    return _krige_known(own, mean, blocks, study.model)


def one_per_place(composites: CoreComposites) -> CoreComposites:
    """Return the cores inside zones, those that stand at one place merged to their mean.

    Cores without a zone count only where there are no zones at all. The merged core keeps the
    name and zone of its first.
    """
    from scipy.cluster.hierarchy import fcluster, linkage
    from scipy.spatial.distance import pdist

    inside = [i for i, zone in enumerate(composites.zones) if zone] or list(range(len(composites)))
    rows = np.array(inside, dtype=int)
    member = np.zeros(len(rows), dtype=int)
    if len(rows) > 1:
        tree = linkage(pdist(composites.places_m[rows]), "complete")
        member = fcluster(tree, constant("same_place_m"), "distance") - 1
    groups = [rows[member == number] for number in dict.fromkeys(member.tolist())]
    return replace(
        composites,
        core_ids=tuple(composites.core_ids[group[0]] for group in groups),
        zones=tuple(composites.zones[group[0]] for group in groups),
        places_m=_means(composites.places_m, composites.weight, groups),
        wet_fraction=_means(composites.wet_fraction, composites.weight, groups),
        moisture=_means(composites.moisture[:, None], composites.weight, groups)[:, 0],
        bulk_density_t_m3=_means(composites.bulk_density_t_m3[:, None], composites.waste_m, groups)[
            :, 0
        ],
        waste_m=np.array([composites.waste_m[group].mean() for group in groups]),
        sampled_m=np.array([composites.sampled_m[group].sum() for group in groups]),
        weight=np.array([composites.weight[group].mean() for group in groups]),
        samples=np.array([composites.samples[group].sum() for group in groups]),
        sorted_kg=np.array([composites.sorted_kg[group].sum() for group in groups]),
    )


def _means(values: FloatArray, weight: FloatArray, groups: list[NDArray[np.int_]]) -> FloatArray:
    """Weighted mean of the known values of each group; NaN where none is known."""
    rows = []
    for group in groups:
        known = group[np.isfinite(values[group]).all(axis=1)]
        if known.size:
            rows.append(weight[known] @ values[known] / weight[known].sum())
        else:
            rows.append(np.full(values.shape[1], np.nan))
    return np.array(rows)


def _without(places: FloatArray, variogram: Variogram, fit: VariogramFit) -> SpatialStudy:
    why = f"{fit.reason} The mean of each zone is used."
    return SpatialStudy(places, variogram, fit, None, False, why)


def _skill(
    cores: CoreComposites, zones: NDArray[np.int_], model: CovarianceModel, directions: int
) -> Skill:
    def refit(places_m: FloatArray, values: FloatArray) -> CovarianceModel | None:
        spread = float(values.var(axis=0, ddof=1).sum()) if len(values) > 1 else 0.0
        if spread <= _ALIKE:
            return None
        scaled = values * np.sqrt(values.shape[1] / spread)
        fewest = int(constant("variogram_fewest_pairs"))
        again = experimental_variogram(places_m, scaled, fewest_pairs=fewest, directions=directions)
        return fit_variogram(again, (model.shape,)).model

    return cross_validate(cores.places_m, cores.wet_fraction, cores.weight, zones, model, refit)


def _krige(
    places_m: FloatArray, values: FloatArray, blocks: Blocks, model: CovarianceModel
) -> tuple[FloatArray, FloatArray]:
    if len(places_m) > constant("local_search_cores"):
        nearest = int(constant("local_search_nearest"))
        return local_kriging(places_m, values, blocks.places_m, model, nearest=nearest)
    return OrdinaryKriging(places_m, model).estimate(values, blocks.places_m)


def _krige_known(
    places_m: FloatArray, values: FloatArray, blocks: Blocks, model: CovarianceModel
) -> FloatArray:
    known = np.isfinite(values)
    if known.sum() < constant("fewest_cores"):
        return np.full(len(blocks), np.nan)
    estimates, _ = _krige(places_m[known], values[known, None], blocks, model)
    return np.clip(estimates[:, 0], values[known].min(), values[known].max())
