"""One composite per core: its samples, each weighted by the ground it stands for.

A sample stands for its length of core times the density of that length. Its own mass does not
count: it says how much was sent to the sorting table, not how much is in the ground.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from reclaim.reference import material_names
from reclaim.site.cores import no_cores
from reclaim.site.samplingmethod import is_narrow, is_of_unknown_width
from reclaim.waste.moisture import moisture_pattern

if TYPE_CHECKING:
    import pandas as pd

    from reclaim.site.model import Cores

FloatArray = NDArray[np.floating[Any]]


@dataclass(frozen=True, slots=True)
class CoreComposites:
    """The waste of each core as one composite.

    Attributes
    ----------
    core_ids, zones
        Per core; the zone is empty outside every zone.
    places_m
        East and north of the collars [m], shape ``(n_cores, 2)``.
    wet_fraction
        Share of each material in the wet mass, shape ``(n_cores, n_materials)``.
    moisture, bulk_density_t_m3
        Shape ``(n_cores,)``; NaN where no sample of the core was measured.
    waste_m, sampled_m
        Length of waste logged, and of it sampled [m], shape ``(n_cores,)``.
    weight
        Waste that the core stands for: logged length times density [m or t/m2].
    samples, sorted_kg
        Number of samples and their sorted mass [kg], shape ``(n_cores,)``.
    narrow, of_unknown_width
        Cores from a bore too narrow for coarse pieces, and cores that may be; ``(n_cores,)``.
    moisture_pattern
        Moisture of the materials, of which only the proportions count: as measured on the
        samples, else of the reference, shape ``(n_materials,)``.
    """

    core_ids: tuple[str, ...]
    zones: tuple[str, ...]
    places_m: FloatArray
    wet_fraction: FloatArray
    moisture: FloatArray
    bulk_density_t_m3: FloatArray
    waste_m: FloatArray
    sampled_m: FloatArray
    weight: FloatArray
    samples: NDArray[np.int_]
    sorted_kg: FloatArray
    narrow: NDArray[np.bool_]
    of_unknown_width: NDArray[np.bool_]
    moisture_pattern: FloatArray

    def __len__(self) -> int:
        return len(self.core_ids)


def core_composites(cores: Cores) -> CoreComposites:
    """Composite the waste samples of each core.

    Samples count for the part of them that lies in a logged waste interval. Cores without such a
    sample are left out. Within a core, a sample without a density takes the core's mean density;
    between cores, density weights the cores only where every core has one, since a made-up
    density would weight a core by a guess.

    Notes
    -----
    Length- and density-weighted compositing, as for any assay table: common practice, no source.
    """
    if cores.samples.empty and cores.material_moisture.empty:
        return _no_composites()
    return _composited(cores)


@cache
def _no_composites() -> CoreComposites:
    return _composited(no_cores())


def _composited(cores: Cores) -> CoreComposites:
    waste = cores.intervals[cores.intervals["layer"] == "waste"]
    rows = []
    for core_id, samples in cores.samples.groupby("core_id", sort=True):
        intervals = waste[waste["core_id"] == core_id]
        lengths = length_in(samples, intervals)
        if lengths.sum() > 0:
            rows.append((str(core_id), *_composite(samples, lengths), _logged(intervals)))
    collars = cores.collars.set_index("core_id").loc[[row[0] for row in rows]]
    fractions, moisture, density, sampled, counts, masses, logged = (
        np.array([row[i] for row in rows], dtype=float) for i in range(1, 8)
    )
    length = np.maximum(logged, sampled)
    weighted_by_density = bool(rows) and bool(np.isfinite(density).all())
    return CoreComposites(
        core_ids=tuple(row[0] for row in rows),
        zones=tuple(str(zone) for zone in collars["zone"]),
        places_m=collars[["x_m", "y_m"]].to_numpy(dtype=float),
        wet_fraction=fractions.reshape(len(rows), len(material_names())),
        moisture=moisture,
        bulk_density_t_m3=density,
        waste_m=length,
        sampled_m=sampled,
        weight=length * density if weighted_by_density else length,
        samples=counts.astype(int),
        sorted_kg=masses,
        narrow=is_narrow(collars),
        of_unknown_width=is_of_unknown_width(collars),
        moisture_pattern=moisture_pattern(cores),
    )


def length_in(samples: pd.DataFrame, intervals: pd.DataFrame) -> FloatArray:
    """Return the length of each sample inside the intervals [m], shape ``(n_samples,)``."""
    top = samples["from_m"].to_numpy(dtype=float)[:, None]
    bottom = samples["to_m"].to_numpy(dtype=float)[:, None]
    overlap = np.minimum(bottom, intervals["to_m"].to_numpy(dtype=float)) - np.maximum(
        top, intervals["from_m"].to_numpy(dtype=float)
    )
    return np.asarray(np.clip(overlap, 0, None).sum(axis=1))


def _logged(intervals: pd.DataFrame) -> float:
    return float((intervals["to_m"] - intervals["from_m"]).sum())


def _composite(
    samples: pd.DataFrame, lengths: FloatArray
) -> tuple[FloatArray, float, float, float, int, float]:
    masses = samples[list(material_names())].to_numpy(dtype=float)
    sorted_kg = masses.sum(axis=1)
    density = samples["bulk_density_t_m3"].to_numpy(dtype=float)
    mean_density = _mean(density, lengths)
    weight = lengths * np.where(np.isfinite(density), density, mean_density)
    if not np.isfinite(mean_density):
        weight = lengths
    fractions = masses / sorted_kg[:, None]
    return (
        (weight @ fractions) / weight.sum(),
        _mean(samples["moisture"].to_numpy(dtype=float), weight),
        mean_density,
        float(lengths.sum()),
        int((lengths > 0).sum()),
        float(sorted_kg[lengths > 0].sum()),
    )


def _mean(values: FloatArray, weights: FloatArray) -> float:
    """Weighted mean of the known values; NaN where none is known."""
    known = np.isfinite(values) & (weights > 0)
    if not known.any():
        return float("nan")
    return float(np.average(values[known], weights=weights[known]))
