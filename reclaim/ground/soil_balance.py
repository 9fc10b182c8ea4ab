"""How the dug soil and waste swell, where they wait, and whether soil is left over or short.

Comes in: dug volumes, assumptions on swell and heaps, and the restoration asked for. Goes out:
`SoilBalance`. Soil is the stripped cover and the over-dig; whether it is clean enough to use
again is for laboratory tests and the authority to say.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from collections.abc import Mapping

    from reclaim.assumptions import Assumption, Draws
    from reclaim.ground.excavation import DugVolumes
    from reclaim.ground.restoration import Restoration

FloatArray = NDArray[np.floating[Any]]


@dataclass(frozen=True, slots=True)
class SoilBalance:
    """Loose and placed volumes of the dig; arrays of shape ``(n_draws,)``.

    Attributes
    ----------
    waste_loose_m3
        Dug waste as it lies on a truck or heap [m3].
    cover_loose_m3, overdig_loose_m3
        Stripped cover and over-dig, loose [m3].
    soil_heap_m2
        Ground that one heap of all cover and over-dig stands on [m2].
    waste_heap_m2
        Ground that the waste waiting at any time stands on [m2].
    soil_placed_m3
        What cover and over-dig fill when placed and rolled [m3].
    fill_m3
        Placed volume that the restoration asks for [m3]; NaN where none is asked for.
    import_m3, export_m3
        Soil short and left over, as placed [m3]; NaN where no restoration is asked for.
    """

    waste_loose_m3: FloatArray
    cover_loose_m3: FloatArray
    overdig_loose_m3: FloatArray
    soil_heap_m2: FloatArray
    waste_heap_m2: FloatArray
    soil_placed_m3: FloatArray
    fill_m3: FloatArray
    import_m3: FloatArray
    export_m3: FloatArray


def soil_balance(
    volumes: DugVolumes,
    restoration: Restoration | None,
    assumptions: Mapping[str, Assumption],
    draws: Draws,
) -> SoilBalance:
    """Return the soil balance of each draw.

    Parameters
    ----------
    volumes
        In place, one per draw.
    restoration
        From `restoration_volumes`; None where no shape is asked for.
    assumptions
        Keys ``excavation.waste_swell``, ``soil_swell``, ``soil_shrinkage``, ``heap_height_m``,
        ``heap_slope`` and ``waste_waiting``.
    draws
        Source of the draws.

    Notes
    -----
    Loose = in place x swell; placed = in place x shrinkage. Ground that stands above the target
    is cut and joins the soil.
    """

    def of(name: str) -> FloatArray:
        return draws.of(assumptions[f"excavation.{name}"])

    waste_loose = volumes.waste_m3 * of("waste_swell")
    swell, shrinkage = of("soil_swell"), of("soil_shrinkage")
    cut = 0.0 if restoration is None else restoration.cut_m3
    fill = np.full(draws.n_draws, np.nan if restoration is None else restoration.fill_m3)
    placed = (volumes.cover_m3 + volumes.overdig_m3 + cut) * shrinkage
    cover_loose, overdig_loose = volumes.cover_m3 * swell, volumes.overdig_m3 * swell
    height, slope = of("heap_height_m"), of("heap_slope")
    return SoilBalance(
        waste_loose_m3=waste_loose,
        cover_loose_m3=cover_loose,
        overdig_loose_m3=overdig_loose,
        soil_heap_m2=heap_area_m2(cover_loose + overdig_loose, height, slope),
        waste_heap_m2=heap_area_m2(waste_loose * of("waste_waiting"), height, slope),
        soil_placed_m3=placed,
        fill_m3=fill,
        import_m3=np.maximum(fill - placed, 0),
        export_m3=np.maximum(placed - fill, 0),
    )


def heap_area_m2(volume_m3: FloatArray, height_m: FloatArray, slope: FloatArray) -> FloatArray:
    """Return the ground that a heap on a square stands on [m2].

    Parameters
    ----------
    volume_m3, height_m
        Loose volume and greatest height [m3, m], shape ``(n_draws,)``.
    slope
        Horizontal over vertical of its sides [-], above 0.

    Notes
    -----
    Frustum of a pyramid with base side b, top side b - 2 s h: V = h (b^2 - 2 s h b + 4/3 s^2 h^2),
    so b = s h + sqrt(V / h - s^2 h^2 / 3). A small heap is a pyramid that stays below the height:
    V = b^3 / (6 s).
    """
    run_m = slope * height_m
    flat_topped = volume_m3 >= 4 / 3 * run_m**2 * height_m
    side_m = run_m + np.sqrt(np.maximum(volume_m3 / height_m - run_m**2 / 3, 0))
    return np.asarray(np.where(flat_topped, side_m, np.cbrt(6 * slope * volume_m3)) ** 2)
