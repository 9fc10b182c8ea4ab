"""The dig month by month: as fast as the diggers, the plant and the season allow."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from collections.abc import Collection, Sequence

    from reclaim.appraisal.prices import Prices
    from reclaim.appraisal.quantities import Quantities
    from reclaim.ground import Excavation

FloatArray = NDArray[np.floating[Any]]

MOST_YEARS = 250
PROPOSED_YEARS = 20
_MONTHS = 12
_NOTHING_LEFT = 1e-9


@dataclass(frozen=True, slots=True)
class Timetable:
    """When things happen, year 0 (building) first.

    Attributes
    ----------
    duration_years
        From the first day of digging until the last tonne has been through the plant [y], shape
        ``(n_draws,)``.
    years_dug
        Part of each year in which the works run [-], shape ``(n_draws, n_years)``.
    dug_share, processed_share
        Part of the waste dug, and taken by the plant, in each year [-], same shape; add to 1.
    peak_stock_t
        Most waste that ever waits between dig and plant [t], shape ``(n_draws,)``.
    """

    duration_years: FloatArray
    years_dug: FloatArray
    dug_share: FloatArray
    processed_share: FloatArray
    peak_stock_t: FloatArray

    @property
    def n_years(self) -> int:
        """Number of years, year 0 included."""
        return int(self.dug_share.shape[1])

    def in_last_year(self, amount: FloatArray) -> FloatArray:
        """Place an amount in the year in which the works end, shape ``(n_draws, n_years)``."""
        last = np.ceil(self.duration_years).astype(int)
        return np.where(np.arange(self.n_years) == last[:, None], amount[:, None], 0.0)

    def reaching(self, n_years: int) -> Timetable:
        """Return the same timetable with later years, in which nothing is dug, added."""
        more = ((0, 0), (0, max(n_years - self.n_years, 0)))
        return Timetable(
            self.duration_years,
            np.pad(self.years_dug, more),
            np.pad(self.dug_share, more),
            np.pad(self.processed_share, more),
            self.peak_stock_t,
        )


@dataclass(frozen=True, slots=True)
class BlockTime:
    """When one block of the dig, a lift of a zone, is dug.

    Attributes
    ----------
    zone
        Its name.
    top_m, bottom_m
        Elevations of the lift [m].
    waste_m3
        Waste in it [m3].
    start_year, end_year
        From the first day of digging [y].
    """

    zone: str
    top_m: float
    bottom_m: float
    waste_m3: float
    start_year: float
    end_year: float


def dig_schedule(
    quantities: Quantities, price: Prices, closed_months: Collection[int], *, plant: bool = True
) -> Timetable:
    """Return the timetable of a dig.

    Parameters
    ----------
    quantities
        What is dug.
    price
        The site's assumptions: dig rate, working days, stockpile, capacity of the plant.
    closed_months
        Months of the year (1 to 12) without digging; the plant then lives on the stockpile.
    plant
        False where everything is hauled away and no plant holds the dig up.

    Raises
    ------
    ValueError
        Where the works would take more than 250 years, naming the number to change.

    Notes
    -----
    Month by month from January of year 1: dug = the least of the digging power, what is left, and
    what plant and stockpile have room for. The stockpile is built only where months are closed.
    """
    tonnes_per_m3 = quantities.waste_t / quantities.dug_m3
    digs_t = (
        price["schedule.dig_rate_m3_d"] * price["schedule.working_days_y"] / _MONTHS * tonnes_per_m3
    )
    open_months = _MONTHS - len(set(closed_months))
    takes_t = (
        price["plant.capacity_t_y"] / _MONTHS if plant else np.full(digs_t.shape, float("inf"))
    )
    room_t = price["schedule.stockpile_t"] if closed_months else np.zeros_like(digs_t)
    _refuse_centuries(quantities.waste_t, digs_t * open_months, takes_t * _MONTHS, price)
    left, stock = quantities.waste_t.copy(), np.zeros_like(digs_t)
    peak, duration = np.zeros_like(digs_t), np.full(digs_t.shape, np.nan)
    dug, processed = [np.zeros_like(digs_t)], [np.zeros_like(digs_t)]
    end = _NOTHING_LEFT * quantities.waste_t
    month = 0
    while np.isnan(duration).any():
        if month % _MONTHS == 0:
            dug.append(np.zeros_like(digs_t))
            processed.append(np.zeros_like(digs_t))
        power = 0.0 if month % _MONTHS + 1 in closed_months else digs_t
        now = np.minimum(np.minimum(power, left), np.maximum(takes_t + room_t - stock, 0))
        left = left - now
        through = np.minimum(takes_t, stock + now)
        stock = stock + now - through
        peak = np.maximum(peak, stock)
        dug[-1] = dug[-1] + now
        processed[-1] = processed[-1] + through
        busy = np.clip(np.maximum(through / takes_t, now / digs_t), 0, 1)
        ended = np.isnan(duration) & (left + stock <= end)
        duration = np.where(ended, (month + busy) / _MONTHS, duration)
        month += 1
        if month > _MONTHS * MOST_YEARS:
            raise ValueError(
                f"Digging is not done in {MOST_YEARS} years; plant.capacity_t_y is too small for "
                "the site, or schedule.closed_months leaves too little time."
            )
    year = np.arange(len(dug))
    years_dug = np.clip(duration[:, None] - (year - 1), 0.0, 1.0) * (year > 0)
    total = quantities.waste_t[:, None]
    return Timetable(
        duration,
        np.asarray(years_dug, dtype=float),
        np.stack(dug, axis=1) / total,
        np.stack(processed, axis=1) / total,
        peak,
    )


def _refuse_centuries(
    waste_t: FloatArray, digs_t_y: FloatArray, takes_t_y: FloatArray, price: Prices
) -> None:
    for pace, key in (
        (takes_t_y, "plant.capacity_t_y"),
        (digs_t_y, "schedule.dig_rate_m3_d"),
    ):
        years = np.max(waste_t / pace) if np.all(pace > 0) else float("inf")
        if years > MOST_YEARS:
            raise ValueError(
                f"Digging takes {years:.0f} years; {key} is too small for the site"
                f"{_enough(float(np.median(price[key])), years)}."
            )


def _enough(given: float, years: float) -> str:
    """Return what would end the works within the years proposed, to two figures upwards."""
    least = given * years / PROPOSED_YEARS
    if not 0 < least < float("inf"):
        return ""
    step = 10.0 ** (np.floor(np.log10(least)) - 1)
    return f": {np.ceil(least / step) * step:.6g} would end it within {PROPOSED_YEARS} years"


def block_times(
    excavation: Excavation, time: Timetable, zone_order: Sequence[str] = ()
) -> tuple[BlockTime, ...]:
    """Return when each block is dug: zone after zone, each from its highest lift down.

    Parameters
    ----------
    excavation
        Waste by zone and lift.
    time
        Of the best estimate (its first draw is read).
    zone_order
        Names of zones in the order of digging; those not named follow as the footprint has them.

    Notes
    -----
    The share of the waste dug by then is read off the yearly timetable, linear within a year.
    """
    order = sorted(
        range(len(excavation.zones)),
        key=lambda zone: (
            list(zone_order).index(excavation.zones[zone])
            if excavation.zones[zone] in zone_order
            else len(zone_order) + zone
        ),
    )
    total = float(excavation.waste_m3.sum())
    duration = float(time.duration_years[0])
    done = np.concatenate([[0.0], np.cumsum(time.dug_share[0, 1:])])
    moments = np.minimum(np.arange(done.size, dtype=float), duration)
    rising = np.concatenate([[True], np.diff(done) > 0])
    blocks = []
    before = 0.0
    for zone in order:
        for lift, waste in enumerate(excavation.waste_m3[zone]):
            if waste <= 0:
                continue
            shares = np.array([before, before + waste]) / total
            start, finish = np.interp(shares, done[rising], moments[rising])
            before += float(waste)
            blocks.append(
                BlockTime(
                    excavation.zones[zone],
                    float(excavation.lift_top_m[lift]),
                    float(excavation.lift_bottom_m[lift]),
                    float(waste),
                    float(start),
                    float(finish),
                )
            )
    return tuple(blocks)
