"""Space won: what is dug out, less what goes back, less what a new liner takes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from reclaim.appraisal.appraisal import Airspace

if TYPE_CHECKING:
    from collections.abc import Mapping

    from reclaim.assumptions import Assumption, Draws
    from reclaim.ground import DugVolumes
    from reclaim.plant import Products
    from reclaim.waste import Feed

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
    overdig_back_t
        Soil dug below the base: it has lain under waste, so it goes back until tests say more.
    """

    residue_back_t: FloatArray
    residue_away_t: FloatArray
    soil_back_t: FloatArray
    soil_away_t: FloatArray
    overdig_back_t: FloatArray


def returned(
    feed: Feed, products: Products, assumptions: Mapping[str, Assumption], draws: Draws
) -> Returned:
    """Split residue and soil between the site and elsewhere."""
    residue_share = draws.of(assumptions["airspace.residue_returned"])
    soil_share = draws.of(assumptions["airspace.soil_returned"])
    residue = _made(products, "residue")
    soil = _made(products, "soil") + feed.cover_t
    return Returned(
        residue_back_t=residue * residue_share,
        residue_away_t=residue * (1 - residue_share),
        soil_back_t=soil * soil_share,
        soil_away_t=soil * (1 - soil_share),
        overdig_back_t=feed.overdig_t,
    )


def airspace_won(
    volumes: DugVolumes,
    back: Returned,
    area_m2: float,
    assumptions: Mapping[str, Assumption],
    draws: Draws,
) -> Airspace:
    """Return the space that the dig opens and keeps.

    Parameters
    ----------
    volumes
        Dug volumes [m3].
    back
        What goes back.
    area_m2
        Plan area that a new liner covers [m2].

    Notes
    -----
    Volume balance; placed densities and the liner's thickness are the site's or default
    assumptions. Settlement of what goes back is not counted.
    """
    opened = volumes.cover_m3 + volumes.waste_m3 + volumes.overdig_m3
    soil_density = draws.of(assumptions["airspace.soil_density_t_m3"])
    refilled = back.residue_back_t / draws.of(assumptions["airspace.residue_density_t_m3"]) + (
        (back.soil_back_t + back.overdig_back_t) / soil_density
    )
    lost = draws.of(assumptions["airspace.liner_loss_m"]) * area_m2
    reclaimed = opened - refilled - lost
    usable = np.maximum(reclaimed, 0) * draws.of(assumptions["airspace.usable"])
    return Airspace(
        opened_m3=opened,
        refilled_m3=refilled,
        lost_m3=lost,
        reclaimed_m3=reclaimed,
        life_years=usable / draws.of(assumptions["airspace.fill_rate_m3_y"]),
    )


def _made(products: Products, name: str) -> FloatArray:
    """Wet mass of a product, zeros where the line does not make it [t]."""
    if name in products.names:
        return products.wet_t(name)
    return np.zeros(products.dry_t.shape[0])
