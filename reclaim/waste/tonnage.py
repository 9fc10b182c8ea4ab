"""Volumes times density times composition: the tonnes of each material that reach the plant."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from reclaim.reference import material_names
from reclaim.waste.feed import Feed, Properties
from reclaim.waste.moisture import material_moisture

if TYPE_CHECKING:
    from collections.abc import Mapping

    from reclaim.assumptions import Assumption, Draws
    from reclaim.ground import DugVolumes
    from reclaim.waste.composition import Composition

FloatArray = NDArray[np.floating[Any]]


def feed_from_volumes(
    volumes: DugVolumes,
    composition: Composition,
    properties: Properties,
    pattern: FloatArray,
    assumptions: Mapping[str, Assumption],
    draws: Draws,
) -> Feed:
    """Turn dug volumes into tonnes of dry matter and water by material.

    Density and moisture are taken from the site file where it states them, else from the cores
    where they were measured, else from the sourced default. Each material's moisture keeps the
    proportions of `pattern`, from `moisture_pattern`.

    Raises
    ------
    ValueError
        Where the stated moisture is more than the materials can hold.

    Notes
    -----
    Mass in place is volume times bulk density; zones add up by mass, not by volume.
    """
    density = _site_file_first(
        assumptions["waste.bulk_density_t_m3"], composition.bulk_density_t_m3, draws
    )
    moisture = _site_file_first(assumptions["waste.moisture"], composition.moisture, draws)
    zone_t = volumes.zone_waste_m3 * density
    wet_t = np.einsum("dz,dzm->dm", zone_t, composition.wet_fraction)
    total_t = zone_t.sum(axis=1)
    mix_moisture = (zone_t * moisture).sum(axis=1) / total_t
    by_material = material_moisture(wet_t / total_t[:, None], pattern, mix_moisture)
    soil_density = draws.of(assumptions["waste.cover_density_t_m3"])
    return Feed(
        materials=material_names(),
        dry_t=wet_t * (1 - by_material),
        water_t=wet_t * by_material,
        bulk_density_t_m3=total_t / volumes.zone_waste_m3.sum(axis=1),
        cover_t=volumes.cover_m3 * soil_density,
        overdig_t=volumes.overdig_m3 * soil_density,
        properties=properties,
    )


def _site_file_first(assumption: Assumption, measured: FloatArray, draws: Draws) -> FloatArray:
    """Return a quantity by zone, shape ``(n_draws, n_zones)``."""
    stated = draws.of(assumption)[:, None]
    if assumption.given:
        return np.broadcast_to(stated, measured.shape)
    return np.where(np.isfinite(measured), measured, stated)
