"""The geologist's summary: composition of every core, zone and the site, with its band."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from reclaim.assumptions import Assumption, Draws
from reclaim.reference import constant, material_names
from reclaim.waste.composition import composition_from_cores, resampled_means
from reclaim.waste.feed import CoreSummary
from reclaim.waste.moisture import material_moisture
from reclaim.waste.narrow_bores import bore_shares, take_off_bias

if TYPE_CHECKING:
    from collections.abc import Mapping

    from reclaim.waste.composites import CoreComposites

FloatArray = NDArray[np.floating[Any]]

_SITE = "site"


def summarise_cores(
    composites: CoreComposites, assumptions: Mapping[str, Assumption], seed: int
) -> CoreSummary:
    """Summarise what the cores say, before any volume is put to it.

    The row ``site`` weights the cores of all zones alike, by the waste they stand for; the
    estimate weights zones by their dug tonnage instead.

    Raises
    ------
    ValueError
        Where no core has a waste sample.
    """
    if not len(composites):
        raise ValueError("No core has a sample in waste.")
    own_zones = tuple(sorted({zone for zone in composites.zones if zone}))
    best = _by_zone(composites, own_zones, assumptions, Draws.best_estimate())
    resamples = Draws(int(constant("bootstrap_draws")), seed)
    draws = _by_zone(composites, own_zones, assumptions, resamples)
    low, high = np.quantile(draws[0], [0.1, 0.9], axis=0)
    moisture, moisture_low, moisture_high = _moisture_band(best[1], draws[1], assumptions)
    return CoreSummary(
        materials=material_names(),
        zones=(*own_zones, _SITE),
        per_core=_per_core(composites),
        wet_fraction=best[0][0],
        low=low,
        high=high,
        dry_fraction=_dry(best[0][0], moisture, composites.moisture_pattern),
        moisture=moisture,
        moisture_low=moisture_low,
        moisture_high=moisture_high,
        moisture_measured=bool(np.isfinite(composites.moisture).any()),
    )


def _by_zone(
    composites: CoreComposites,
    zones: tuple[str, ...],
    assumptions: Mapping[str, Assumption],
    draws: Draws,
) -> tuple[FloatArray, FloatArray]:
    """Composition and moisture of each zone and of all cores, ``(n_draws, n_zones + 1, ...)``."""
    everywhere = np.arange(len(composites))
    fractions, moisture, density = (
        values[:, None] for values in resampled_means(composites, everywhere, _SITE, draws)
    )
    if zones:
        parts = composition_from_cores(composites, zones, draws)
        fractions = np.concatenate([parts.wet_fraction, fractions], axis=1)
        moisture = np.concatenate([parts.moisture, moisture], axis=1)
        density = np.concatenate([parts.bulk_density_t_m3, density], axis=1)
    weight = composites.weight / composites.weight.sum()
    of_site = weight @ composites.narrow, weight @ composites.of_unknown_width
    narrow, unknown = (
        np.append(shares, whole)
        for shares, whole in zip(bore_shares(composites, zones), of_site, strict=True)
    )
    fractions, _ = take_off_bias(fractions, density, narrow, unknown, assumptions, draws)
    return fractions, moisture


def _moisture_band(
    best: FloatArray, draws: FloatArray, assumptions: Mapping[str, Assumption]
) -> tuple[FloatArray, FloatArray, FloatArray]:
    assumption = assumptions["waste.moisture"]
    if np.isfinite(best).all():
        low, high = np.quantile(draws, [0.1, 0.9], axis=0)
        return best[0], low, high
    stated = assumption.quantile(np.array([0.1, 0.9]))
    size = best.shape[1]
    return np.full(size, assumption.central), np.full(size, stated[0]), np.full(size, stated[1])


def _dry(wet_fraction: FloatArray, moisture: FloatArray, pattern: FloatArray) -> FloatArray:
    dry = wet_fraction * (1 - material_moisture(wet_fraction, pattern, moisture))
    return np.asarray(dry / dry.sum(axis=1, keepdims=True))


def _per_core(composites: CoreComposites) -> Any:
    import pandas as pd

    frame = pd.DataFrame(
        {
            "core_id": list(composites.core_ids),
            "zone": list(composites.zones),
            "waste_m": composites.waste_m,
            "sampled_m": composites.sampled_m,
            "samples": composites.samples,
            "wet_mass_kg": composites.sorted_kg,
            "moisture": composites.moisture,
            "bulk_density_t_m3": composites.bulk_density_t_m3,
        }
    )
    for column, name in enumerate(material_names()):
        frame[name] = composites.wet_fraction[:, column]
    return frame
