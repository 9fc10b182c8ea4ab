"""Everything the cores say, put together: statistics, enough samples or not, pattern in space."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from reclaim.assumptions import Draws
from reclaim.reference import constant, material_names
from reclaim.waste.bulk_properties import lab_by_core, lab_summary
from reclaim.waste.comparison import depth_trend, outlier_scores, zones_differ
from reclaim.waste.composites import length_in
from reclaim.waste.declustering import area_weights, cell_weights, usual_cell_m
from reclaim.waste.depth_composites import layer_composites, lift_composites
from reclaim.waste.moisture import measured_moistures
from reclaim.waste.next_cores import NextCores, next_cores
from reclaim.waste.sample_size import precision_reached, samples_needed, variance_parts
from reclaim.waste.size_distribution import size_distribution
from reclaim.waste.spatial import (
    BlockEstimates,
    SpatialStudy,
    krige_blocks,
    krige_measured,
    study_pattern,
)
from reclaim.waste.spatial_composition import spatial_composition
from reclaim.waste.statistics import bootstrap_draws, material_statistics

if TYPE_CHECKING:
    from collections.abc import Sequence

    import pandas as pd
    from shapely.geometry.base import BaseGeometry

    from reclaim.site.model import Cores
    from reclaim.waste.blocks import Blocks
    from reclaim.waste.composites import CoreComposites
    from reclaim.waste.composition import Composition

FloatArray = NDArray[np.floating[Any]]


@dataclass(frozen=True, slots=True)
class CoreStudy:
    """The geologist's study of the cores; frames as the functions that make them describe.

    Attributes
    ----------
    statistics
        Per zone and material, from `material_statistics`, with ``kriged`` (share of wet mass from
        block kriging, NaN without a model) and ``used`` (zone mean, kriged or site mean).
    layers, lifts
        Composites by logged layer and by lift, wet and dry.
    precision
        Per material over the site: ``mean``, ``sd_between``, ``sd_within`` (samples of one core),
        ``precision`` reached with the cores there are (relative, at ``sampling_confidence``),
        ``cores_needed`` for ``sampling_precision`` with as many samples per core as now, and
        ``samples_needed`` as if every sample were independent.
    trends
        Per material: ``slope_per_m`` (share of wet mass per metre of depth, within cores) and
        ``chance`` of one as steep without a trend; ``slope_per_decade`` and ``chance_with_age``
        the same by year of tipping, NaN where the years are not known.
    outliers
        Per core: ``core_id``, ``score`` and ``unlike`` (above the limit).
    zones_pseudo_f, zones_chance
        Test of the zones; NaN where there are not two zones to compare.
    lab
        Laboratory values of the bulk waste.
    sizes
        What passes each sieve, per core and for the site.
    spatial
        Pattern in space, and whether the estimate uses it.
    kriged, pictures
        Composition by zone from block kriging (one draw), None without a dig or a model; and as
        simulated, one draw to a picture, None unless the estimate uses it.
    blocks, block_estimates
        The dig in blocks, and what kriging says of each; None without a dig or a model.
    block_lab
        Kriged laboratory values, one column per quantity and one row per block; empty without.
    next_cores
        Where to core next; None without a dig.
    moistures
        Materials that were dried one by one, from `measured_moistures`; no rows otherwise.
    notes
        Plain sentences on what was done and what could not be.
    """

    statistics: pd.DataFrame
    layers: pd.DataFrame
    lifts: pd.DataFrame
    precision: pd.DataFrame
    trends: pd.DataFrame
    outliers: pd.DataFrame
    zones_pseudo_f: float
    zones_chance: float
    lab: pd.DataFrame
    sizes: pd.DataFrame
    spatial: SpatialStudy
    kriged: Composition | None
    pictures: Composition | None
    blocks: Blocks | None
    block_estimates: BlockEstimates | None
    block_lab: pd.DataFrame
    next_cores: NextCores | None
    moistures: pd.DataFrame
    notes: tuple[str, ...]


def study_cores(
    cores: Cores,
    composites: CoreComposites,
    *,
    seed: int,
    lift_m: float,
    years: tuple[int, int] | None = None,
    outline: BaseGeometry | None = None,
    blocks: Blocks | None = None,
    zones: Sequence[str] = (),
) -> CoreStudy:
    """Study the cores as far as the data go.

    Parameters
    ----------
    cores, composites
        The tables, and one composite per core.
    seed
        Of resamples and permutations.
    lift_m
        Height of a lift [m].
    years
        First and last year of tipping.
    outline
        What may be dug, for areas of influence; without it cores are not declustered.
    blocks, zones
        The dig in blocks and the names of its zones, for the spatial estimate.

    Raises
    ------
    ValueError
        Where no core has a waste sample.
    """
    if not len(composites):
        raise ValueError("No core has a sample in waste.")
    draws = Draws(bootstrap_draws(), seed)
    area_weight, cell_weight = _declustering(composites, outline)
    spatial = study_pattern(composites)
    found = (
        krige_blocks(spatial, composites, blocks)
        if blocks is not None and spatial.model is not None
        else None
    )
    statistics = material_statistics(composites, draws, area_weight, cell_weight)
    kriged = pictures = None
    if blocks is not None and spatial.model is not None:
        between = (spatial, composites, blocks, zones)
        kriged = spatial_composition(*between, Draws.best_estimate())
        if spatial.used:
            pictures = spatial_composition(*between, Draws(int(constant("spatial_pictures")), seed))
    statistics = _with_kriged(statistics, kriged, blocks, used=spatial.used)
    pseudo_f, chance = zones_differ(*_zoned(composites), draws.generator("zones"))
    return CoreStudy(
        statistics=statistics,
        layers=layer_composites(cores),
        lifts=lift_composites(cores, lift_m),
        precision=_precision(cores, statistics),
        trends=_trends(cores, years, draws),
        outliers=_outliers(composites),
        zones_pseudo_f=pseudo_f,
        zones_chance=chance,
        lab=lab_summary(cores, draws),
        sizes=size_distribution(cores),
        spatial=spatial,
        kriged=kriged,
        pictures=pictures,
        blocks=blocks,
        block_estimates=found,
        block_lab=_block_lab(cores, spatial, blocks),
        next_cores=None if blocks is None else next_cores(spatial, blocks),
        moistures=measured_moistures(cores),
        notes=_notes(composites, spatial, outline),
    )


def waste_samples(cores: Cores) -> tuple[pd.DataFrame, FloatArray, NDArray[np.int_]]:
    """Return the samples that lie in waste, their composition, and the number of their core."""
    waste = cores.intervals[cores.intervals["layer"] == "waste"]
    length = np.zeros(len(cores.samples))
    for core_id, rows in cores.samples.groupby("core_id").indices.items():
        length[rows] = length_in(cores.samples.iloc[rows], waste[waste["core_id"] == core_id])
    held = cores.samples[length > 0].reset_index(drop=True)
    masses = held[list(material_names())].to_numpy(dtype=float)
    core = np.unique(held["core_id"].to_numpy(dtype=str), return_inverse=True)[1]
    return held, masses / masses.sum(axis=1, keepdims=True), core.reshape(-1)


def _block_lab(cores: Cores, spatial: SpatialStudy, blocks: Blocks | None) -> pd.DataFrame:
    import pandas as pd

    if blocks is None or spatial.model is None:
        return pd.DataFrame()
    place_of = cores.collars.set_index("core_id")[["x_m", "y_m"]]
    return pd.DataFrame(
        {
            str(name): krige_measured(
                spatial,
                place_of.loc[group["core_id"]].to_numpy(dtype=float),
                group["value"].to_numpy(dtype=float),
                blocks,
            )
            for name, group in lab_by_core(cores).groupby("quantity", sort=False)
        }
    )


def _declustering(
    composites: CoreComposites, outline: BaseGeometry | None
) -> tuple[FloatArray, FloatArray]:
    unknown = np.full(len(composites), np.nan)
    if outline is None or not outline.area > 0:
        return unknown, unknown
    inside = np.array([bool(zone) for zone in composites.zones])
    if not inside.any():
        inside = np.ones(len(composites), dtype=bool)
    area, cell = np.zeros(len(composites)), np.zeros(len(composites))
    places = composites.places_m[inside]
    area[inside] = area_weights(places, outline)
    cell[inside] = cell_weights(places, usual_cell_m(places, outline.area))
    return area, cell


def _with_kriged(
    statistics: pd.DataFrame, found: Composition | None, blocks: Blocks | None, *, used: bool
) -> pd.DataFrame:
    """Add the kriged share of each zone and of the site, and which of them the estimate takes."""
    few = (statistics["cores"] < constant("fewest_cores")) & (statistics["zone"] != "site")
    taken = np.where(few, "site mean", "zone mean")
    if found is None or blocks is None:
        return statistics.assign(kriged=np.nan, used=taken)
    density = np.nan_to_num(found.bulk_density_t_m3[0], nan=1.0)
    mass = np.bincount(blocks.zone, blocks.volume_m3, minlength=len(found.zones)) * density
    shares = np.vstack([found.wet_fraction[0], mass @ found.wet_fraction[0] / mass.sum()])
    kriged = {
        (zone, name): float(share)
        for zone, row in zip((*found.zones, "site"), shares, strict=True)
        for name, share in zip(material_names(), row, strict=True)
    }
    keys = zip(statistics["zone"], statistics["material"], strict=True)
    return statistics.assign(
        kriged=[kriged.get(key, np.nan) for key in keys], used="kriged" if used else taken
    )


def _zoned(composites: CoreComposites) -> tuple[FloatArray, list[str]]:
    held = [i for i, zone in enumerate(composites.zones) if zone]
    return composites.wet_fraction[held], [composites.zones[i] for i in held]


def _precision(cores: Cores, statistics: pd.DataFrame) -> pd.DataFrame:
    import pandas as pd

    confidence, wanted = constant("sampling_confidence"), constant("sampling_precision")
    _, fractions, core = waste_samples(cores)
    site = statistics[statistics["zone"] == "site"].reset_index(drop=True)
    count = len(np.unique(core))
    unknown = np.full(len(site), np.nan)
    between = within = of_core = unknown
    if count > 1:
        parts = variance_parts(fractions, core)
        between, within, of_core = parts.between, parts.within, parts.of_core_mean()
    rows = []
    for place, name in enumerate(material_names()):
        mean = float(site["mean"][place])
        spread = float(np.sqrt(of_core[place]))
        spread_of_samples = float(fractions[:, place].std(ddof=1)) if len(core) > 1 else np.nan
        rows.append(
            {
                "material": name,
                "cores": count,
                "mean": mean,
                "sd_between": float(np.sqrt(between[place])),
                "sd_within": float(np.sqrt(within[place])),
                "precision": precision_reached(mean, spread, count, confidence),
                "cores_needed": _needed(mean, spread, wanted, confidence),
                "samples_needed": _needed(mean, spread_of_samples, wanted, confidence),
            }
        )
    return pd.DataFrame(rows)


def _needed(mean: float, spread: float, wanted: float, confidence: float) -> float:
    """Return the number needed; NaN where the material was not met or has no known spread."""
    if not mean > 0 or not spread > 0:
        return float("nan")
    return float(samples_needed(mean, spread, wanted, confidence))


def _trends(cores: Cores, years: tuple[int, int] | None, draws: Draws) -> pd.DataFrame:
    import pandas as pd

    samples, fractions, core = waste_samples(cores)
    depth = (samples["from_m"] + samples["to_m"]).to_numpy(dtype=float) / 2
    slope, chance = depth_trend(fractions, depth, core, draws.generator("depth"))
    frame = pd.DataFrame({"material": material_names(), "slope_per_m": slope, "chance": chance})
    if years is None:
        return frame.assign(slope_per_decade=np.nan, chance_with_age=np.nan)
    waste = cores.intervals[cores.intervals["layer"] == "waste"].groupby("core_id")
    top, bottom = waste["from_m"].min(), waste["to_m"].max()
    start = top[samples["core_id"]].to_numpy(dtype=float)
    height = bottom[samples["core_id"]].to_numpy(dtype=float) - start
    # The oldest waste lies lowest where tipping went up evenly.
    year = years[1] - (depth - start) / height * (years[1] - years[0])
    slope, chance = depth_trend(fractions, year, core, draws.generator("age"))
    return frame.assign(slope_per_decade=10 * slope, chance_with_age=chance)


def _outliers(composites: CoreComposites) -> pd.DataFrame:
    import pandas as pd

    score = outlier_scores(composites.wet_fraction)
    return pd.DataFrame(
        {
            "core_id": list(composites.core_ids),
            "score": score,
            "unlike": score > constant("outlier_score"),
        }
    )


def _notes(
    composites: CoreComposites, spatial: SpatialStudy, outline: BaseGeometry | None
) -> tuple[str, ...]:
    """Say what was done to the numbers, in the order a reader meets them."""
    names = material_names()
    never = [names[i] for i in np.flatnonzero(composites.wet_fraction.max(axis=0) <= 0)]
    zeros = int((composites.wet_fraction <= 0).sum()) - len(never) * len(composites)
    inside = sum(1 for zone in composites.zones if zone) or len(composites)
    notes = []
    if never:
        notes.append(
            f"Never found in a core: {', '.join(never)}. They count as nothing, which small "
            "samples cannot prove."
        )
    if zeros:
        notes.append(
            f"In {zeros} cases a material met elsewhere was missing from a core. Means for tonnage "
            "keep that as zero; for log-ratios 0.65 of the smallest share met stands in."
        )
    if len(spatial.places) < inside:
        notes.append(
            f"{inside - len(spatial.places)} core(s) stand within "
            f"{constant('same_place_m'):g} m of another; kriging takes their mean."
        )
    if _on_a_line(spatial.places):
        notes.append(
            "All cores stand on one line: nothing is known of how the waste changes across it."
        )
    if outline is None:
        notes.append("No footprint was given, so means are not declustered.")
    if len(composites) == 1:
        notes.append("With one core there is no spread to see: intervals are left blank.")
    notes.append(spatial.why)
    return tuple(notes)


def _on_a_line(places: FloatArray) -> bool:
    if len(places) < 3:
        return False
    size = np.linalg.svd(places - places.mean(axis=0), compute_uv=False)
    return bool(size[1] < 0.01 * size[0])
