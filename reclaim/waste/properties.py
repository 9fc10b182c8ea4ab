"""What each material is like today: as dug, with the soil that sticks to it, and partly rotted."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from reclaim.assumptions import Assumption, Draws, quantity_assumption
from reclaim.reference import heavy_metals, material_names, material_properties
from reclaim.waste.decay import (
    decay_class_of_materials,
    decay_rates,
    decaying_share,
    undecayed_share,
)
from reclaim.waste.feed import Properties

if TYPE_CHECKING:
    from collections.abc import Mapping

FloatArray = NDArray[np.floating[Any]]

# Carbon in the cellulose that rots, C6H10O5 [-]: turns degradable carbon into dry matter.
CARBON_IN_CELLULOSE = 6 * 12.011 / (6 * 12.011 + 10 * 1.008 + 5 * 15.999)


@dataclass(frozen=True, slots=True)
class Age:
    """How old the waste is, per draw.

    Attributes
    ----------
    since_opened, since_closed
        Age of the oldest and of the youngest waste [years], shape ``(n_draws,)``.
    """

    since_opened: FloatArray
    since_closed: FloatArray


def properties_of_site(
    opened: int | None,
    closed: int | None,
    price_year: int,
    climate: str,
    assumptions: Mapping[str, Assumption],
    draws: Draws,
) -> Properties:
    """Return the materials' properties from the years of tipping and the climate.

    Where the years are not known all waste has the age ``waste.age_years``.

    Raises
    ------
    ValueError
        For a climate without decay rates.
    """
    rates = decay_rates(climate, draws, draws.of(assumptions["waste.decay_rate_factor"]))
    age = site_age(opened, closed, price_year, draws.of(assumptions["waste.age_years"]))
    soil = draws.of(assumptions["waste.adhering_soil"])
    return material_properties_today(age, rates, soil, draws)


def site_age(
    opened: int | None, closed: int | None, year: int, unknown_age_years: FloatArray
) -> Age:
    """Return the age of the oldest and the youngest waste in a year."""
    if opened is None or closed is None:
        return Age(unknown_age_years, unknown_age_years)
    same = np.ones_like(unknown_age_years)
    return Age(same * max(year - opened, 0), same * max(year - closed, 0))


def drawn_property(name: str, draws: Draws) -> FloatArray:
    """Return one property of every material, shape ``(n_draws, n_materials)``."""
    table = material_properties()
    return np.stack(
        [
            draws.of(quantity_assumption(f"{material} {name}", table[material, name]))
            for material in material_names()
        ],
        axis=1,
    )


def drawn_heavy_metals(draws: Draws) -> FloatArray:
    """Return the heavy metals in clean dry material [mg/kg], ``(n_draws, n_materials, n_metals)``.

    Each metal is drawn once: where a site has much of it, all its materials have.
    """
    table = material_properties()
    found = np.empty((draws.n_draws, len(material_names()), len(heavy_metals())))
    for column, metal in enumerate(heavy_metals()):
        probability = draws.uniform(f"{metal} in the waste")
        for row, material in enumerate(material_names()):
            stated = quantity_assumption(f"{material} {metal}", table[material, metal])
            found[:, row, column] = draws.at(stated, probability)
    return found


def material_properties_today(
    age: Age, rates: dict[str, FloatArray], adhering_soil: FloatArray, draws: Draws
) -> Properties:
    """Return what the materials of this site are like.

    Parameters
    ----------
    age
        Age of the oldest and the youngest waste.
    rates
        Decay rate by class [1/year], each ``(n_draws,)``.
    adhering_soil
        Soil on dug plastic film, share of its dry mass [-], shape ``(n_draws,)``; the other
        materials take it up in proportion to their ``soil_uptake``.
    draws
        Source of the draws.

    Notes
    -----
    A sorted lot of film is film and soil; its properties are the mass-weighted mean of both. The
    matter that rots is the degradable carbon (IPCC 2006 Volume 5, Table 2.4 and DOCf) as
    cellulose, times what first-order decay has left of it.
    """
    soil_share = adhering_soil[:, None] * drawn_property("soil_uptake", draws)
    fines = material_names().index("fines")

    def as_dug(clean: FloatArray) -> FloatArray:
        soil = soil_share.reshape(soil_share.shape + (1,) * (clean.ndim - soil_share.ndim))
        return np.asarray((1 - soil) * clean + soil * clean[:, fines : fines + 1])

    ash = as_dug(drawn_property("ash", draws))
    carbon_clean = drawn_property("carbon", draws)
    carbon = as_dug(carbon_clean)
    biogenic = as_dug(carbon_clean * drawn_property("biogenic_carbon", draws))
    return Properties(
        ncv_dry_mj_kg=as_dug(drawn_property("ncv_dry", draws)),
        ash=ash,
        chlorine=as_dug(drawn_property("chlorine", draws)),
        carbon=carbon,
        biogenic_carbon=np.divide(biogenic, carbon, out=np.zeros_like(carbon), where=carbon > 0),
        mercury_mg_kg=as_dug(drawn_property("mercury", draws)),
        degradable=np.minimum(as_dug(_rotting_matter(age, rates, draws)), 1 - ash),
        box_loss=drawn_property("box_loss", draws),
        heavy_metals_mg_kg=as_dug(drawn_heavy_metals(draws)),
    )


def _rotting_matter(age: Age, rates: dict[str, FloatArray], draws: Draws) -> FloatArray:
    """Dry matter that can still rot, of clean dry mass, shape ``(n_draws, n_materials)``."""
    carbon = drawn_property("degradable_carbon", draws)
    left = np.zeros_like(carbon)
    for column, decay_class in enumerate(decay_class_of_materials()):
        if decay_class:
            share = draws.of(
                quantity_assumption(f"decaying share {decay_class}", decaying_share(decay_class))
            )
            undecayed = undecayed_share(rates[decay_class], age.since_opened, age.since_closed)
            left[:, column] = share * undecayed
    return np.asarray(carbon * left / CARBON_IN_CELLULOSE)


def still_rotting_share(
    dry_t: FloatArray, properties: Properties, age: Age, rates: Mapping[str, FloatArray]
) -> FloatArray:
    """Return how much of what could rot when it was tipped can still rot, shape ``(n_draws,)``.

    Weighted by what is there today: each material's rotting matter over the same matter before
    decay. Fines are left out, since their reference value is already the state today; NaN where
    nothing else rots.
    """
    today = np.zeros_like(dry_t)
    tipped = np.zeros_like(dry_t)
    for column, decay_class in enumerate(decay_class_of_materials()):
        if decay_class and np.any(rates[decay_class] > 0):
            left = undecayed_share(rates[decay_class], age.since_opened, age.since_closed)
            today[:, column] = dry_t[:, column] * properties.degradable[:, column]
            tipped[:, column] = today[:, column] / left
    before = tipped.sum(axis=1)
    return np.asarray(
        np.divide(today.sum(axis=1), before, out=np.full_like(before, np.nan), where=before > 0)
    )
