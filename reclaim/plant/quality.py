"""Quality of a product from what is in it: each material keeps its ash and elements on the way."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from reclaim.waste import Properties, net_as_received
from reclaim.waste.properties import CARBON_IN_CELLULOSE

FloatArray = NDArray[np.floating[Any]]


@dataclass(frozen=True, slots=True)
class Parts:
    """Properties of a material split into what can rot and what cannot.

    Ash and elements sit in the part that cannot rot, so drying concentrates but never loses
    them. All arrays ``(n_draws, n_materials)``; `stable` values are per kilogram of that part.

    Attributes
    ----------
    rotting_ncv_mj_kg, stable_ncv_mj_kg
        [MJ/kg].
    rotting_carbon
        All of it biogenic [kg/kg].
    stable_ash, stable_chlorine, stable_carbon, stable_biogenic_carbon
        [kg/kg].
    stable_mercury_mg_kg
        [mg/kg].
    """

    rotting_ncv_mj_kg: FloatArray
    stable_ncv_mj_kg: FloatArray
    rotting_carbon: FloatArray
    stable_ash: FloatArray
    stable_chlorine: FloatArray
    stable_carbon: FloatArray
    stable_biogenic_carbon: FloatArray
    stable_mercury_mg_kg: FloatArray


def split_properties(properties: Properties, rotting_heat_mj_kg: FloatArray) -> Parts:
    """Split each material's properties between its rotting and its stable part.

    Parameters
    ----------
    properties
        Of the whole dry material.
    rotting_heat_mj_kg
        Heat that rotting matter gives [MJ/kg], shape ``(n_draws,)``; never more than the
        calorific value of the material's own ash-free matter.
    """
    rotting = properties.degradable
    stable = 1 - rotting

    def in_stable(amount: FloatArray) -> FloatArray:
        return np.divide(amount, stable, out=np.zeros_like(amount), where=stable > 0)

    combustible = 1 - properties.ash
    ash_free_ncv = np.divide(
        properties.ncv_dry_mj_kg,
        combustible,
        out=np.zeros_like(combustible),
        where=combustible > 0,
    )
    rotting_ncv = np.minimum(rotting_heat_mj_kg[:, None], ash_free_ncv)
    biogenic = properties.carbon * properties.biogenic_carbon
    rotting_carbon = np.minimum(rotting * CARBON_IN_CELLULOSE, biogenic)
    return Parts(
        rotting_ncv_mj_kg=rotting_ncv,
        stable_ncv_mj_kg=in_stable(properties.ncv_dry_mj_kg - rotting * rotting_ncv),
        rotting_carbon=np.divide(
            rotting_carbon, rotting, out=np.zeros_like(rotting), where=rotting > 0
        ),
        stable_ash=in_stable(properties.ash),
        stable_chlorine=in_stable(properties.chlorine),
        stable_carbon=in_stable(properties.carbon - rotting_carbon),
        stable_biogenic_carbon=in_stable(biogenic - rotting_carbon),
        stable_mercury_mg_kg=in_stable(properties.mercury_mg_kg),
    )


@dataclass(frozen=True, slots=True)
class Quality:
    """Quality of each product, shape ``(n_draws, n_products)``; units as in `Products`."""

    ncv_mj_kg: FloatArray
    ncv_dry_mj_kg: FloatArray
    ash: FloatArray
    chlorine: FloatArray
    mercury_mg_mj: FloatArray
    biogenic_share: FloatArray


def product_quality(
    stable_t: FloatArray, rotting_t: FloatArray, water_t: FloatArray, parts: Parts
) -> Quality:
    """Return the quality of products from their parts.

    Parameters
    ----------
    stable_t, rotting_t, water_t
        [t], shape ``(n_draws, n_products, n_materials)``.
    parts
        What the materials are like.

    Notes
    -----
    Dry-mass-weighted means; NCV as received by ISO 21654:2021; mercury per MJ as received as
    ISO 21640:2021 asks for.
    """
    dry = (stable_t + rotting_t).sum(axis=2)
    wet = dry + water_t.sum(axis=2)

    def total(part: FloatArray) -> FloatArray:
        return np.asarray(np.einsum("dpm,dm->dp", stable_t, part))

    def share(amount: FloatArray, whole: FloatArray) -> FloatArray:
        return np.divide(amount, whole, out=np.zeros_like(whole), where=whole > 0)

    def total_rotting(part: FloatArray) -> FloatArray:
        return np.asarray(np.einsum("dpm,dm->dp", rotting_t, part))

    energy = total(parts.stable_ncv_mj_kg) + total_rotting(parts.rotting_ncv_mj_kg)
    ncv_dry = share(energy, dry)
    ncv = net_as_received(ncv_dry, share(wet - dry, wet))
    rotting_carbon = total_rotting(parts.rotting_carbon)
    mercury_g = total(parts.stable_mercury_mg_kg)
    burnt_gj = ncv * wet
    return Quality(
        ncv_mj_kg=ncv,
        ncv_dry_mj_kg=ncv_dry,
        ash=share(total(parts.stable_ash), dry),
        chlorine=share(total(parts.stable_chlorine), dry),
        mercury_mg_mj=np.divide(
            mercury_g, burnt_gj, out=np.full_like(wet, np.nan), where=burnt_gj > 0
        ),
        biogenic_share=share(
            total(parts.stable_biogenic_carbon) + rotting_carbon,
            total(parts.stable_carbon) + rotting_carbon,
        ),
    )
