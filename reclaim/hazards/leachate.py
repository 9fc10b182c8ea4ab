"""Water in the waste: how high it stands over the base, and how much has to be pumped."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from reclaim.hazards.rough_numbers import rough
from reclaim.hazards.rules import RuleBook, rule_book

if TYPE_CHECKING:
    import pandas as pd

    from reclaim.hazards.caution import Caution

FloatArray = NDArray[np.floating[Any]]
WATER = "water_m"
"""Column of the collars: depth to water below the ground [m], NaN where not read."""


@dataclass(frozen=True, slots=True)
class Leachate:
    """What the water levels in the cores say.

    Attributes
    ----------
    cores
        Cores with a water level and logged waste.
    head_m
        Water above the bottom of the logged waste in each [m], 0 where it is dry, shape
        ``(n_cores,)``.
    saturated_share
        Share of the logged waste of these cores that lies under water [-].
    to_pump_m3
        Water that drains from the saturated part of the dug waste [m3], shape ``(n_draws,)``.
    """

    cores: tuple[str, ...]
    head_m: FloatArray
    saturated_share: float
    to_pump_m3: FloatArray


def leachate(
    collars: pd.DataFrame,
    intervals: pd.DataFrame,
    waste_m3: FloatArray,
    drainable_porosity: FloatArray,
) -> Leachate | None:
    """Return head and volume of the leachate, None where no core with waste has a water level.

    Parameters
    ----------
    collars, intervals
        As in `reclaim.site.Cores`; the collars may have the column `WATER`.
    waste_m3, drainable_porosity
        Dug waste in place [m3], and the share of its volume that drains [-], shape ``(n_draws,)``.

    Notes
    -----
    Saturated share of the logged waste x dug waste x drainable porosity. Rain, inflow and water
    under the base come on top of it.
    """
    if WATER not in collars.columns:
        return None
    cores, heads, lengths, wet = [], [], [], []
    waste = intervals[intervals["layer"] == "waste"]
    for core, water_m in zip(collars["core_id"], collars[WATER].to_numpy(float), strict=True):
        own = waste[waste["core_id"] == core]
        if own.empty or not np.isfinite(water_m):
            continue
        top, bottom = own["from_m"].to_numpy(float), own["to_m"].to_numpy(float)
        cores.append(str(core))
        heads.append(max(0.0, float(bottom.max()) - water_m))
        lengths.append(float((bottom - top).sum()))
        wet.append(float(np.clip(bottom - np.maximum(top, water_m), 0.0, None).sum()))
    if not cores:
        return None
    share = sum(wet) / sum(lengths)
    return Leachate(tuple(cores), np.array(heads), share, share * waste_m3 * drainable_porosity)


def leachate_cautions(
    best: Leachate | None,
    spread: Leachate | None,
    *,
    water_by_volume: float,
    book: RuleBook | None = None,
    file: str = "collar table",
) -> tuple[tuple[Caution, ...], tuple[str, ...]]:
    """Raise the cautions on water in the waste.

    Parameters
    ----------
    best, spread
        From `leachate`, at central values and over all draws.
    water_by_volume
        Water of the waste over its volume in place [m3/m3].
    book
        Rules that hold.
    file
        Path of the collar table as readers know it.
    """
    book = book or rule_book()
    cautions = []
    holds = book["field_capacity"]
    if water_by_volume >= holds.number:
        cautions.append(
            holds.raised_by(
                f"The waste holds {water_by_volume:.2f} m3 of water per m3; "
                f"{holds.limit}: {holds.number:.3g}."
            )
        )
    if best is None or spread is None:
        return tuple(cautions), (
            "Leachate head and the volume to pump were not assessed: no water levels are given.",
        )
    wet = [core for core, head in zip(best.cores, best.head_m, strict=True) if head > 0]
    if wet:
        low, high = (rough(bound) for bound in np.quantile(spread.to_pump_m3, [0.1, 0.9]))
        where = (
            f"Water stands up to {best.head_m.max():.1f} m over the bottom of the waste (core "
            f"{best.cores[int(best.head_m.argmax())]}; {len(wet)} of {len(best.cores)} cores with "
            f"a level are wet; {file}); {best.saturated_share:.0%} of the logged waste is "
            f"saturated"
        )
        cautions.append(
            book["water_in_cut"].raised_by(f"{where}, and the dig goes to the base.", cores=wet)
        )
        if best.head_m.max() >= book["leachate_head"].number:
            cautions.append(
                book["leachate_head"].raised_by(
                    f"{where}; about {rough(best.to_pump_m3[0])} m3 drain from it (P10 to P90 "
                    f"{low} to {high}), rain and inflow not counted.",
                    cores=wet,
                )
            )
    return tuple(cautions), (
        (
            "Rain, inflow, groundwater and what the water holds were not assessed: the collars "
            "give single water levels."
        ),
    )
