"""The dug volumes of each draw: the measured ones, and how far off they may be.

Comes in: an `Excavation` and a source of draws. Goes out: `DugVolumes`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from reclaim.ground.excavation import DugVolumes
from reclaim.ground.volume_error import ground_default

if TYPE_CHECKING:
    from reclaim.assumptions import Draws
    from reclaim.ground.excavation import Excavation


def volume_draws(excavation: Excavation, draws: Draws) -> DugVolumes:
    """Return the dug volumes, one per draw; the best estimate is the measured volume itself.

    Parameters
    ----------
    excavation
        Measured volumes and their error.
    draws
        Streams ``ground.random``, ``ground.correlated`` and ``ground.systematic`` are taken.

    Notes
    -----
    The error is that of the waste: one relative shift for all zones of a draw, never below
    ``least_volume_share`` of what was measured. Cover is a thickness from the survey downwards and
    over-dig a thickness below the base, so a shift of either surface leaves them as they are.
    """
    error = excavation.error
    shift_m3 = (
        error.random_m3 * draws.normal("ground.random")
        + error.correlated_m3 * draws.normal("ground.correlated")
        + error.systematic_m3 * draws.normal("ground.systematic")
    )
    zone_m3 = excavation.waste_m3.sum(axis=1)
    waste_m3 = float(zone_m3.sum())
    least = ground_default("least_volume_share")
    factor = np.maximum(least, 1 + shift_m3 / waste_m3) if waste_m3 > 0 else np.ones_like(shift_m3)
    zone_waste_m3 = factor[:, None] * zone_m3
    return DugVolumes(
        cover_m3=np.full(draws.n_draws, excavation.cover_m3.sum()),
        waste_m3=zone_waste_m3.sum(axis=1),
        overdig_m3=np.full(draws.n_draws, excavation.overdig_m3.sum()),
        zone_waste_m3=zone_waste_m3,
    )
