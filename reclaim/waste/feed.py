"""What the waste room hands on: tonnes of each material, and what each material is like."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    import pandas as pd

    from reclaim.waste.core_study import CoreStudy

FloatArray = NDArray[np.floating[Any]]


@dataclass(frozen=True, slots=True)
class CoreSummary:
    """The geologist's summary: what the cores say, before any volume is put to it.

    Attributes
    ----------
    materials, zones
        Names; zones with at least one usable core, then ``site`` for all of them together.
    per_core
        One row per core with waste samples: ``core_id``, ``zone``, ``waste_m``, ``sampled_m``,
        ``samples``, ``wet_mass_kg``, ``moisture``, ``bulk_density_t_m3`` and one column per
        material, fraction of wet mass.
    wet_fraction, low, high
        Composite by zone as fraction of wet mass, and its P10 and P90 from a bootstrap over
        whole cores; shape ``(n_zones + 1, n_materials)``, the last row the site.
    dry_fraction
        The same on dry mass.
    moisture, moisture_low, moisture_high
        Fraction of wet mass, shape ``(n_zones + 1,)``.
    moisture_measured
        False where the moisture is a default because no sample has one.
    study
        Statistics, pattern in space and next cores; None where they were not asked for.
    """

    materials: tuple[str, ...]
    zones: tuple[str, ...]
    per_core: pd.DataFrame
    wet_fraction: FloatArray
    low: FloatArray
    high: FloatArray
    dry_fraction: FloatArray
    moisture: FloatArray
    moisture_low: FloatArray
    moisture_high: FloatArray
    moisture_measured: bool
    study: CoreStudy | None = None


@dataclass(frozen=True, slots=True)
class Properties:
    """What each material is like, per draw; arrays are ``(n_draws, n_materials)`` unless stated.

    Attributes
    ----------
    ncv_dry_mj_kg
        Net calorific value of the dry material [MJ/kg].
    ash, chlorine, carbon
        Fractions of dry mass [-].
    biogenic_carbon
        Biogenic share of the carbon [-].
    mercury_mg_kg
        Of dry mass [mg/kg].
    degradable
        Share of dry mass that can still rot today [-].
    box_loss
        Share of that which a drying box run takes [-].
    heavy_metals_mg_kg
        Of dry mass [mg/kg], in the order of `reclaim.reference.heavy_metals`, shape
        ``(n_draws, n_materials, n_metals)``.
    """

    ncv_dry_mj_kg: FloatArray
    ash: FloatArray
    chlorine: FloatArray
    carbon: FloatArray
    biogenic_carbon: FloatArray
    mercury_mg_kg: FloatArray
    degradable: FloatArray
    box_loss: FloatArray
    heavy_metals_mg_kg: FloatArray


@dataclass(frozen=True, slots=True)
class Feed:
    """The dug waste as it reaches the plant, per draw.

    Attributes
    ----------
    materials
        Names in reference order, ``n_materials``.
    dry_t, water_t
        Dry matter and water by material [t], shape ``(n_draws, n_materials)``.
    bulk_density_t_m3
        In place, wet [t/m3], shape ``(n_draws,)``.
    cover_t, overdig_t
        Dug soil that does not go through the plant [t], shape ``(n_draws,)``.
    properties
        What the materials are like.
    """

    materials: tuple[str, ...]
    dry_t: FloatArray
    water_t: FloatArray
    bulk_density_t_m3: FloatArray
    cover_t: FloatArray
    overdig_t: FloatArray
    properties: Properties

    @property
    def wet_t(self) -> FloatArray:
        """Wet mass by material [t], shape ``(n_draws, n_materials)``."""
        return self.dry_t + self.water_t

    @property
    def total_wet_t(self) -> FloatArray:
        """Wet mass of all waste [t], shape ``(n_draws,)``."""
        return np.asarray(self.wet_t.sum(axis=1))

    @property
    def moisture(self) -> FloatArray:
        """Water over wet mass of all waste [-], shape ``(n_draws,)``."""
        return np.asarray(self.water_t.sum(axis=1) / self.total_wet_t)

    @property
    def wet_fraction(self) -> FloatArray:
        """Share of each material in the wet mass [-], shape ``(n_draws, n_materials)``."""
        return np.asarray(self.wet_t / self.total_wet_t[:, None])
