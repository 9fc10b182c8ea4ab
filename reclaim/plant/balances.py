"""Balances of a run: what comes in against what goes out, rots and evaporates."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from reclaim.plant.matter import ROTTING, STABLE, WATER
from reclaim.plant.products import Balance
from reclaim.reference import materials

if TYPE_CHECKING:
    from collections.abc import Mapping

    from reclaim.plant.machines import Action
    from reclaim.plant.quality import Parts

FloatArray = NDArray[np.floating[Any]]


def closure(
    fresh: FloatArray,
    made: FloatArray,
    inflow: Mapping[str, FloatArray],
    actions: Mapping[str, Action],
    parts: Parts,
) -> Balance:
    """Return the relative difference of in and out, the worst row of each balance.

    Parameters
    ----------
    fresh
        Feed as matter [t], shape ``(3, n_sizes, n_rows, n_materials)``.
    made
        Products [t], shape ``(3, n_rows, n_products, n_materials)``.
    inflow, actions
        What reached each machine and what it did.
    parts
        What the materials are like.
    """
    fed, out = fresh.sum(axis=1), made.sum(axis=2)
    rotted = np.zeros_like(fed[ROTTING])
    evaporated = np.zeros(fed.shape[1])
    added = np.zeros(fed.shape[1])
    for name, action in actions.items():
        if action.dried is not None:
            rotted = rotted + inflow[name][ROTTING].sum(axis=0) * action.dried.lost_share
            water = inflow[name][WATER].sum(axis=(0, 2))
            evaporated = evaporated + water * action.dried.evaporated_share
        if action.water_added_t is not None:
            added = added + action.water_added_t.sum(axis=(0, 2))
    gone = out[ROTTING] + rotted

    def carried(stable_part: FloatArray, rotting_part: FloatArray | None = None) -> float:
        """Close the balance of something the solids carry, per kilogram of each part."""
        entering, leaving = fed[STABLE] * stable_part, out[STABLE] * stable_part
        if rotting_part is not None:
            entering = entering + fed[ROTTING] * rotting_part
            leaving = leaving + gone * rotting_part
        return _worst(entering.sum(axis=1), leaving.sum(axis=1))

    heavy = [_carried_by(part[STABLE], parts.stable_heavy_metals_mg_kg) for part in (fed, out)]
    metal = [place for place, item in enumerate(materials()) if item.group == "metal"]
    return Balance(
        mass=_worst(
            fed.sum(axis=(0, 2)) + added,
            out.sum(axis=(0, 2)) + evaporated + rotted.sum(axis=1),
        ),
        water=_worst(fed[WATER].sum(axis=1) + added, out[WATER].sum(axis=1) + evaporated),
        energy=carried(parts.stable_ncv_mj_kg, parts.rotting_ncv_mj_kg),
        elements=max(
            carried(parts.stable_ash),
            carried(parts.stable_chlorine),
            carried(parts.stable_mercury_mg_kg),
            _worst(*heavy),
        ),
        metals=max(_worst(fed[STABLE][:, place], out[STABLE][:, place]) for place in metal),
        carbon=carried(parts.stable_carbon, parts.rotting_carbon),
    )


def _carried_by(dry_t: FloatArray, content: FloatArray) -> FloatArray:
    """Return what dry matter carries of several elements, shape ``(n_rows, n_elements)``."""
    return np.asarray((dry_t[:, None, :] @ content)[:, 0])


def _worst(entering: FloatArray, leaving: FloatArray) -> float:
    scale = np.where(entering > 0, entering, 1.0)
    return float(np.max(np.abs(entering - leaving) / scale))
