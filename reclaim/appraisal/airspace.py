"""Space won: what is dug out, less what goes back, less what a new liner takes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from reclaim.appraisal.appraisal import Airspace

if TYPE_CHECKING:
    from reclaim.appraisal.prices import Prices
    from reclaim.appraisal.quantities import Quantities

FloatArray = NDArray[np.floating[Any]]


@dataclass(frozen=True, slots=True)
class Returned:
    """What goes back on site and what leaves [t], shape ``(n_draws,)``.

    Attributes
    ----------
    residue_back_t, residue_away_t
        Residue of the line.
    soil_back_t, soil_away_t
        Soil-like fines and cover; what leaves or replaces bought soil is `soil_away_t`.
    daily_cover_t
        Part of `soil_away_t` that replaces bought daily cover on a landfill in use.
    overdig_back_t
        Soil dug below the base: it has lain under waste, so it goes back until tests say more.
    """

    residue_back_t: FloatArray
    residue_away_t: FloatArray
    soil_back_t: FloatArray
    soil_away_t: FloatArray
    daily_cover_t: FloatArray
    overdig_back_t: FloatArray


def returned(quantities: Quantities, price: Prices) -> Returned:
    """Split residue and soil between the site and elsewhere."""
    residue_share = price["airspace.residue_returned"]
    soil_share = price["airspace.soil_returned"]
    residue = quantities.product("residue")
    soil = quantities.product("soil") + quantities.cover_t
    away = soil * (1 - soil_share)
    return Returned(
        residue_back_t=residue * residue_share,
        residue_away_t=residue * (1 - residue_share),
        soil_back_t=soil * soil_share,
        soil_away_t=away,
        daily_cover_t=away * price["airspace.soil_as_daily_cover"],
        overdig_back_t=quantities.overdig_t,
    )


def nothing_returned(quantities: Quantities) -> Returned:
    """Return what goes back where all waste is hauled away: over-dig soil and cover alone."""
    none = np.zeros(quantities.n_draws)
    return Returned(none, none, quantities.cover_t, none, none, quantities.overdig_t)


def airspace_won(quantities: Quantities, back: Returned, price: Prices) -> Airspace:
    """Return the space that the dig opens and keeps.

    Parameters
    ----------
    quantities
        What is dug; a new liner covers its area.
    back
        What goes back.
    price
        The site's assumptions.

    Notes
    -----
    Volume balance; placed densities, settlement of what goes back and the liner's thickness are
    the site's or default assumptions.
    """
    soil_density = price["airspace.soil_density_t_m3"]
    placed = back.residue_back_t / price["airspace.residue_density_t_m3"] + (
        (back.soil_back_t + back.overdig_back_t) / soil_density
    )
    refilled = placed * (1 - price["airspace.settlement"])
    lost = price["airspace.liner_loss_m"] * quantities.area_m2
    reclaimed = quantities.dug_m3 - refilled - lost
    usable = np.maximum(reclaimed, 0) * price["airspace.usable"]
    return Airspace(
        opened_m3=quantities.dug_m3,
        refilled_m3=refilled,
        lost_m3=lost,
        reclaimed_m3=reclaimed,
        life_years=life_years(
            usable, price["airspace.fill_rate_m3_y"], price["airspace.fill_rate_growth"]
        ),
    )


def life_years(space_m3: FloatArray, rate_m3_y: FloatArray, growth: FloatArray) -> FloatArray:
    """Return how long a space lasts at a fill rate that grows or falls year by year [y].

    Parameters
    ----------
    space_m3, rate_m3_y
        Space and fill rate of the first year, shape ``(n_draws,)``.
    growth
        Per year [-]; infinite life where a falling rate never fills the space.

    Notes
    -----
    Whole years add up as a geometric series; within the last year filling is even.
    """
    steady = space_m3 / rate_m3_y
    gain = growth * steady
    with np.errstate(divide="ignore", invalid="ignore"):
        whole = np.floor(np.log1p(np.maximum(gain, -1)) / np.log1p(growth) + 1e-9)
        filled = np.expm1(whole * np.log1p(growth)) / growth
        part = (steady - filled) / np.power(1 + growth, whole)
        growing = np.where(gain > -1, whole + np.maximum(part, 0), np.inf)
    return np.asarray(np.where(growth != 0, growing, steady))
