"""Quality of a product from what is in it: each material keeps its ash and elements on the way."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from reclaim.waste import Properties, net_as_received
from reclaim.waste.properties import CARBON_IN_CELLULOSE

FloatArray = NDArray[np.floating[Any]]

# Standard normal deviate that 80 % lie below.
_P80_DEVIATE = 0.8416212335729143


@dataclass(frozen=True, slots=True)
class Parts:
    """Properties of a material split into what can rot and what cannot.

    Ash and elements sit in the part that cannot rot, so drying concentrates but never loses
    them. Arrays are ``(n_draws, n_materials)`` unless stated; `stable` values are per kilogram of
    that part.

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
    stable_heavy_metals_mg_kg
        [mg/kg], shape ``(n_draws, n_materials, n_metals)``.
    """

    rotting_ncv_mj_kg: FloatArray
    stable_ncv_mj_kg: FloatArray
    rotting_carbon: FloatArray
    stable_ash: FloatArray
    stable_chlorine: FloatArray
    stable_carbon: FloatArray
    stable_biogenic_carbon: FloatArray
    stable_mercury_mg_kg: FloatArray
    stable_heavy_metals_mg_kg: FloatArray


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
        stable_heavy_metals_mg_kg=np.divide(
            properties.heavy_metals_mg_kg,
            stable[..., None],
            out=np.zeros_like(properties.heavy_metals_mg_kg),
            where=stable[..., None] > 0,
        ),
    )


@dataclass(frozen=True, slots=True)
class Quality:
    """Quality of each product, shapes and units as in `Products`."""

    ncv_mj_kg: FloatArray
    ncv_dry_mj_kg: FloatArray
    ash: FloatArray
    chlorine: FloatArray
    carbon: FloatArray
    mercury_mg_mj: FloatArray
    heavy_metals_mg_kg: FloatArray
    biogenic_share: FloatArray
    biogenic_energy: FloatArray
    biogenic_mass: FloatArray


def product_quality(
    stable_t: FloatArray, rotting_t: FloatArray, water_t: FloatArray, parts: Parts
) -> Quality:
    """Return the quality of products from their parts.

    Parameters
    ----------
    stable_t, rotting_t, water_t
        [t], shape ``(n_rows, n_products, n_materials)``.
    parts
        What the materials are like.

    Notes
    -----
    Dry-mass-weighted means; NCV as received by ISO 21654:2021; mercury per MJ as received as
    ISO 21640:2021 asks for. The biogenic part of a material's energy and mass is that of its
    carbon; what rots is biogenic.
    """
    dry = (stable_t + rotting_t).sum(axis=2)
    wet = dry + water_t.sum(axis=2)
    biogenic = np.divide(
        parts.stable_biogenic_carbon,
        parts.stable_carbon,
        out=np.zeros_like(parts.stable_carbon),
        where=parts.stable_carbon > 0,
    )

    def total(stable_part: FloatArray, rotting_part: FloatArray | None = None) -> FloatArray:
        amount = np.einsum("dpm,dm->dp", stable_t, stable_part)
        if rotting_part is not None:
            amount = amount + np.einsum("dpm,dm->dp", rotting_t, rotting_part)
        return np.asarray(amount)

    def share(amount: FloatArray, whole: FloatArray) -> FloatArray:
        return np.divide(amount, whole, out=np.zeros_like(whole), where=whole > 0)

    energy = total(parts.stable_ncv_mj_kg, parts.rotting_ncv_mj_kg)
    ncv_dry = share(energy, dry)
    ncv = net_as_received(ncv_dry, share(wet - dry, wet))
    carbon = total(parts.stable_carbon, parts.rotting_carbon)
    burns = 1 - parts.stable_ash
    rots = np.ones_like(burns)
    mercury_g = total(parts.stable_mercury_mg_kg)
    burnt_gj = ncv * wet
    return Quality(
        ncv_mj_kg=ncv,
        ncv_dry_mj_kg=ncv_dry,
        ash=share(total(parts.stable_ash), dry),
        chlorine=share(total(parts.stable_chlorine), dry),
        carbon=share(carbon, dry),
        mercury_mg_mj=np.divide(
            mercury_g, burnt_gj, out=np.full_like(wet, np.nan), where=burnt_gj > 0
        ),
        heavy_metals_mg_kg=np.divide(
            stable_t @ parts.stable_heavy_metals_mg_kg,
            dry[..., None],
            out=np.zeros((*dry.shape, parts.stable_heavy_metals_mg_kg.shape[2])),
            where=dry[..., None] > 0,
        ),
        biogenic_share=share(total(parts.stable_biogenic_carbon, parts.rotting_carbon), carbon),
        biogenic_energy=share(
            total(parts.stable_ncv_mj_kg * biogenic, parts.rotting_ncv_mj_kg), energy
        ),
        biogenic_mass=share(total(burns * biogenic, rots), total(burns, rots)),
    )


def between_lots(mean: FloatArray, spread: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the median and the 80th percentile of lots whose mean is known.

    Parameters
    ----------
    mean
        Mean of all lots, any shape.
    spread
        Geometric standard deviation between lots [-], broadcasting.

    Notes
    -----
    Lots are lognormal: median = mean exp(-s^2 / 2), 80th percentile = median exp(0.8416 s), with
    s the logarithm of `spread` (Aitchison and Brown 1957, The Lognormal Distribution).
    """
    deviation = np.log(spread)
    median = np.asarray(mean * np.exp(-(deviation**2) / 2))
    return median, np.asarray(median * np.exp(_P80_DEVIATE * deviation))


def loose_density(dry_t: FloatArray, water_t: FloatArray, density_t_m3: FloatArray) -> FloatArray:
    """Return the bulk density of loose products, wet [t/m3], shape ``(n_rows, n_products)``.

    Parameters
    ----------
    dry_t, water_t
        [t], shape ``(n_rows, n_products, n_materials)``.
    density_t_m3
        Loose dry density of each material [t/m3], shape ``(n_rows, n_materials)``.

    Notes
    -----
    Volumes of the materials add up; water fills voids. NaN where nothing is made.
    """
    volume = (dry_t / density_t_m3[:, None, :]).sum(axis=2)
    wet = (dry_t + water_t).sum(axis=2)
    return np.asarray(np.divide(wet, volume, out=np.full_like(wet, np.nan), where=volume > 0))
