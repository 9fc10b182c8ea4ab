"""Which part is worth digging: zone by zone from the top, as deep as it still pays."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from reclaim.appraisal.airspace import airspace_won, returned
from reclaim.appraisal.cash_flow import (
    disposal_items,
    horizon,
    land_and_space_items,
    operation_items,
    sales_items,
)
from reclaim.appraisal.schedule import dig_schedule

if TYPE_CHECKING:
    from collections.abc import Collection, Sequence

    from reclaim.appraisal.prices import Prices
    from reclaim.appraisal.quantities import Quantities
    from reclaim.ground import Excavation

FloatArray = NDArray[np.floating[Any]]


_WHOLE = 1e-9


@dataclass(frozen=True, slots=True)
class BestPart:
    """The part of the dig that is worth most, by the best estimate.

    Attributes
    ----------
    zones
        Names.
    worth_per_m3
        What digging and sorting one m3 of waste of each block brings, capital and fixed cost left
        out [currency/m3], shape ``(n_zones, n_lifts)``; NaN where a block holds no waste.
    taken
        True for blocks in the part, same shape; in each zone the lifts from the top down.
    pays
        False where no block brings more than it costs: the part is then the zone that loses least
        per m3, and with one zone the upper half of its lifts.
    """

    zones: tuple[str, ...]
    worth_per_m3: FloatArray
    taken: NDArray[np.bool_]
    pays: bool

    def waste_share(self, excavation: Excavation) -> FloatArray:
        """Return the part's share of the waste in each zone [-], shape ``(n_zones,)``."""
        whole = excavation.waste_m3.sum(axis=1)
        part = (excavation.waste_m3 * self.taken).sum(axis=1)
        return np.asarray(np.divide(part, whole, out=np.zeros_like(whole), where=whole > 0))


def best_part(
    excavation: Excavation,
    zones: Sequence[Quantities],
    price: Prices,
    closed_months: Collection[int] = (),
) -> BestPart:
    """Choose the part of the dig that is worth most, by the best estimate.

    Parameters
    ----------
    excavation
        Waste and cover by zone and lift.
    zones
        Bill of quantities of each zone, one draw, in the order of `excavation.zones`.
    price
        The site's assumptions, best estimate.
    closed_months
        As in `appraise`.

    Notes
    -----
    A lift can be dug only after those above it, so in each zone the running sum of worth from the
    top decides: the depth at which it is largest, and nothing where it never rises above zero.
    The side slopes are in the volumes of `excavation` already. The worth of a block is that of
    its zone by tonne, less the digging of the cover that lies in it.
    """
    worth = np.full(excavation.waste_m3.shape, np.nan)
    for place, quantities in enumerate(zones):
        waste = excavation.waste_m3[place]
        if waste.sum() <= 0:
            continue
        by_m3 = _margin(quantities, price, closed_months) / waste.sum()
        digging = float(price["money.dig_cost_per_m3"][0])
        cover = excavation.cover_m3[place]
        even = cover.sum() / waste.sum()
        with np.errstate(divide="ignore", invalid="ignore"):
            own = np.where(waste > 0, cover / waste, np.nan)
        worth[place] = by_m3 - digging * (own - even)
    running = np.nancumsum(worth * excavation.waste_m3, axis=1)
    taken = np.zeros(worth.shape, dtype=bool)
    for place in range(len(zones)):
        deepest = int(running[place].argmax())
        taken[place, : deepest + 1] = running[place, deepest] > 0
    pays = bool(taken.any())
    if not pays:
        taken = _least_loss(worth, excavation.waste_m3)
    return BestPart(excavation.zones, worth, taken & (excavation.waste_m3 > 0), pays)


def _margin(quantities: Quantities, price: Prices, closed_months: Collection[int]) -> float:
    """Income less cost of digging a zone, not discounted, without capital and fixed cost."""
    time = dig_schedule(quantities, price, closed_months)
    back = returned(quantities, price)
    space = airspace_won(quantities, back, price)
    time = time.reaching(horizon(time, space, price))
    works = [
        item for item in operation_items(quantities, time, price) if item.name != "site_running"
    ]
    safety = 1 + float(price["money.contingency_share"][0])
    cost = safety * sum(float(item.flow.sum()) for item in works)
    rest = (
        *disposal_items(quantities, back, time, price),
        *sales_items(quantities, back, time, price),
        *land_and_space_items(quantities, space, time, price),
    )
    return cost + sum(float(item.flow.sum()) for item in rest)


def _least_loss(worth: FloatArray, waste_m3: FloatArray) -> NDArray[np.bool_]:
    """Return the zone that loses least per m3, or the upper half of the lifts of a single zone."""
    volume = waste_m3.sum(axis=1)
    total = np.nansum(worth * waste_m3, axis=1)
    mean = np.divide(total, volume, out=np.full_like(volume, -np.inf), where=volume > 0)
    taken = np.zeros(worth.shape, dtype=bool)
    if np.count_nonzero(volume > 0) > 1:
        taken[int(mean.argmax())] = True
        return taken
    zone = int(volume.argmax())
    filled = np.flatnonzero(waste_m3[zone] > 0)
    taken[zone, filled[: max(1, filled.size // 2)]] = True
    return taken


def quantities_of_part(
    part: BestPart, excavation: Excavation, zones: Sequence[Quantities]
) -> Quantities:
    """Return the bill of quantities of a part: the share of each zone that is in it, added up.

    Ground counts as dug only where the zone is emptied; a zone dug in part keeps its aftercare.
    """
    shares = part.waste_share(excavation)
    total: Quantities | None = None
    for quantities, share in zip(zones, shares, strict=True):
        emptied = share > 1 - _WHOLE
        dug = quantities.times(float(share))
        dug = replace(dug, area_m2=quantities.area_m2 * emptied)
        total = dug if total is None else total.plus(dug)
    assert total is not None, "an excavation has at least one zone"
    return total
