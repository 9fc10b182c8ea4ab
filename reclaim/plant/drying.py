"""The drying box: heat from matter that rots, water driven off, heat that must be bought."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from reclaim.plant.products import Drying

FloatArray = NDArray[np.floating[Any]]

GJ_PER_MWH = 3.6
_REFERENCE_DAYS = 7.0


@dataclass(frozen=True, slots=True)
class DryingTerms:
    """What the box is asked to do, per draw, shape ``(n_draws,)``.

    Attributes
    ----------
    target_moisture
        Water over wet mass to reach [-].
    days
        Days in the box.
    heat_use
        Share of the heat that evaporates water [-].
    evaporation_mj_kg
        Heat to evaporate water [MJ/kg].
    bought_heat_share
        Share of the missing heat that is bought [-].
    """

    target_moisture: FloatArray
    days: FloatArray
    heat_use: FloatArray
    evaporation_mj_kg: FloatArray
    bought_heat_share: FloatArray


@dataclass(frozen=True, slots=True)
class Dried:
    """What leaves in the box.

    Attributes
    ----------
    lost_share
        Of the rotting matter [-], shape ``(n_draws, n_materials)``.
    evaporated_share
        Of the water [-], shape ``(n_draws,)``.
    drying
        The account of water and heat.
    """

    lost_share: FloatArray
    evaporated_share: FloatArray
    drying: Drying


def dry(
    stable_t: FloatArray,
    rotting_t: FloatArray,
    water_t: FloatArray,
    box_loss: FloatArray,
    rotting_heat_mj_kg: FloatArray,
    terms: DryingTerms,
) -> Dried:
    """Return what a box run takes from its feed.

    Parameters
    ----------
    stable_t, rotting_t, water_t
        Dry matter that cannot rot, dry matter that can, and water [t], shape
        ``(n_draws, n_materials)``.
    box_loss
        Share of the rotting matter that goes in a run of seven days [-], same shape.
    rotting_heat_mj_kg
        Heat from each kilogram that rots [MJ/kg], same shape.
    terms
        Target, days and heat terms.

    Notes
    -----
    Heat balance: water that own heat can drive off = rotted mass x heat x share used / heat of
    evaporation; the rest of the water above the target needs bought heat. Loss over other
    numbers of days follows first-order decay. Drying to a target and the share of heat used:
    Velis et al. (2009), Bioresource Technology 100, 2747-2761.
    """
    lost_share = 1 - (1 - box_loss) ** (terms.days / _REFERENCE_DAYS)[:, None]
    lost_t = rotting_t * lost_share
    dry_in = (stable_t + rotting_t).sum(axis=1)
    dry_out = dry_in - lost_t.sum(axis=1)
    water_in = water_t.sum(axis=1)
    water_at_target = dry_out * terms.target_moisture / (1 - terms.target_moisture)
    wanted_t = np.maximum(water_in - water_at_target, 0.0)
    own_heat_gj = (lost_t * rotting_heat_mj_kg).sum(axis=1)
    own_t = np.minimum(wanted_t, own_heat_gj * terms.heat_use / terms.evaporation_mj_kg)
    bought_t = (wanted_t - own_t) * terms.bought_heat_share
    evaporated_t = own_t + bought_t
    return Dried(
        lost_share=lost_share,
        evaporated_share=_ratio(evaporated_t, water_in),
        drying=Drying(
            feed_t=dry_in + water_in,
            moisture_in=_ratio(water_in, dry_in + water_in),
            moisture_out=_ratio(water_in - evaporated_t, dry_out + water_in - evaporated_t),
            water_removed_t=evaporated_t,
            solids_lost_t=lost_t.sum(axis=1),
            heat_needed_mwh=wanted_t * terms.evaporation_mj_kg / terms.heat_use / GJ_PER_MWH,
            heat_own_mwh=own_heat_gj / GJ_PER_MWH,
            heat_bought_mwh=bought_t * terms.evaporation_mj_kg / terms.heat_use / GJ_PER_MWH,
        ),
    )


def _ratio(part: FloatArray, whole: FloatArray) -> FloatArray:
    return np.divide(part, whole, out=np.zeros_like(whole), where=whole > 0)
