"""The gas by zone and core, and whether it rises with depth or with time."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from itertools import combinations
from math import comb
from typing import TYPE_CHECKING, Literal

import numpy as np

from reclaim.hazards.rules import URGENCY, GasLimit, RuleBook, rule_book
from reclaim.reference import constant

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from reclaim.hazards.caution import CautionLevel
    from reclaim.hazards.readings import Reading


@dataclass(frozen=True, slots=True)
class GasRow:
    """What the readings of one gas say in one core, one zone, or the whole site.

    Attributes
    ----------
    gas, label, unit
        Column of the gas table, in words, and its unit.
    zone, core
        Empty where the row stands for all of them.
    readings
        Number of readings.
    lowest, median, highest
        [unit].
    worst_depth_m
        Depth of the worst reading [m]; lowest oxygen, highest of any other gas.
    level
        The most urgent level that any of them reaches; empty where none is reached.
    """

    gas: str
    label: str
    unit: str
    zone: str
    core: str
    readings: int
    lowest: float
    median: float
    highest: float
    worst_depth_m: float
    level: CautionLevel | Literal[""]


@dataclass(frozen=True, slots=True)
class GasTrend:
    """Whether one gas rises within the cores, with depth or from visit to visit.

    Attributes
    ----------
    gas, label, unit
        As in `GasRow`.
    along
        ``depth`` [m] or ``time`` [days].
    rising, falling
        Number of places where it rises or falls: cores for depth, core and depth for time.
    median_slope
        Median of the places' slopes [unit per m or per day].
    probability
        Chance of so uneven a split if there were no trend (two-sided sign test) [-].
    in_words
        A sentence that says so.
    """

    gas: str
    label: str
    unit: str
    along: Literal["depth", "time"]
    rising: int
    falling: int
    median_slope: float
    probability: float
    in_words: str


def gas_table(readings: Sequence[Reading], book: RuleBook | None = None) -> tuple[GasRow, ...]:
    """Return one row per gas for the site, for every zone, and for every core.

    Readings whose unit is doubtful count as written; their second meaning is left to `screen`.
    """
    book = book or rule_book()
    rows = []
    for gas in dict.fromkeys(reading.gas for reading in readings):
        limits = [limit for limit in book.gas if limit.gas == gas]
        of_gas = [reading for reading in readings if reading.gas == gas]
        groups: dict[tuple[str, str], list[Reading]] = {("", ""): of_gas}
        for reading in of_gas:
            groups.setdefault((reading.zone, ""), [])
            if reading.zone:
                groups[reading.zone, ""].append(reading)
            groups.setdefault((reading.zone, reading.core), []).append(reading)
        for (zone, core), group in sorted(groups.items()):
            rows.append(_row(group, zone, core, limits))
    return tuple(rows)


def gas_trends(readings: Sequence[Reading], book: RuleBook | None = None) -> tuple[GasTrend, ...]:
    """Return the trend of every gas with depth and, where places were read again, with time.

    Notes
    -----
    Within each place the median of all pairwise slopes (Sen 1968, Journal of the American
    Statistical Association 63, 1379-1389); over places the sign test, since readings in one core
    are not independent of each other but cores are taken to be.
    """
    book = book or rule_book()
    trends = []
    for gas in dict.fromkeys(reading.gas for reading in readings):
        limit = next(limit for limit in book.gas if limit.gas == gas)
        of_gas = [reading for reading in readings if reading.gas == gas]
        deep = [reading for reading in of_gas if np.isfinite(reading.depth_m)]
        dated = [reading for reading in of_gas if reading.date]
        for found in (
            _trend(limit, "depth", deep, lambda reading: (reading.core,), lambda r: r.depth_m),
            _trend(limit, "time", dated, lambda reading: (reading.core, reading.depth_m), _day),
        ):
            if found is not None:
                trends.append(found)
    return tuple(trends)


def sen_slope(along: Sequence[float], values: Sequence[float]) -> float:
    """Return the median of all pairwise slopes, NaN where no two lie apart.

    Examples
    --------
    >>> sen_slope([0, 1, 2], [5, 7, 9])
    2.0
    """
    points = list(zip(along, values, strict=True))
    slopes = [(v - u) / (b - a) for (a, u), (b, v) in combinations(points, 2) if a != b]
    return float(np.median(slopes)) if slopes else float("nan")


def sign_test(rising: int, falling: int) -> float:
    """Return how likely so uneven a split is where either way is as likely [-]; two-sided.

    Notes
    -----
    Exact binomial test at one half: Dixon and Mood (1946), Journal of the American Statistical
    Association 41, 557-566.

    Examples
    --------
    >>> round(sign_test(9, 1), 4)
    0.0215
    """
    told = rising + falling
    ways = sum(comb(told, fewer) for fewer in range(min(rising, falling) + 1))
    return min(1.0, float(2 * ways / 2**told))


def _trend(
    limit: GasLimit,
    along: Literal["depth", "time"],
    readings: Sequence[Reading],
    place_of: Callable[[Reading], tuple[object, ...]],
    position_of: Callable[[Reading], float],
) -> GasTrend | None:
    places: dict[tuple[object, ...], list[Reading]] = {}
    for reading in readings:
        places.setdefault(place_of(reading), []).append(reading)
    slopes = np.array(
        [sen_slope([position_of(r) for r in p], [r.value for r in p]) for p in places.values()]
    )
    slopes = slopes[np.isfinite(slopes)]
    if not slopes.size:
        return None
    rising, falling = int((slopes > 0).sum()), int((slopes < 0).sum())
    probability = sign_test(rising, falling)
    median = float(np.median(slopes))
    step = {"depth": "m of depth", "time": "day"}[along]
    whole = {"depth": "cores", "time": "places read again"}[along]
    with_what = {"depth": "with depth", "time": "from visit to visit"}[along]
    if probability > constant("trend_probability"):
        verdict = f"shows no clear trend {with_what}"
    else:
        verdict = f"{'rises' if rising > falling else 'falls'} {with_what}"
    return GasTrend(
        gas=limit.gas,
        label=limit.label,
        unit=limit.unit,
        along=along,
        rising=rising,
        falling=falling,
        median_slope=median,
        probability=probability,
        in_words=(
            f"{limit.label} {verdict}: up in {rising} and down in {falling} of {slopes.size} "
            f"{whole}, in the middle {median:+.2g} {limit.unit} per {step} "
            f"(sign test p = {probability:.2g})."
        ),
    )


def _row(group: Sequence[Reading], zone: str, core: str, limits: Sequence[GasLimit]) -> GasRow:
    values = np.array([reading.value for reading in group])
    side = limits[0].direction
    worst = group[int(values.argmin() if side == "below" else values.argmax())]
    passed = [limit for limit in limits if any(limit.is_passed_by(value) for value in values)]
    passed.sort(key=lambda limit: URGENCY[limit.level])
    return GasRow(
        gas=limits[0].gas,
        label=limits[0].label,
        unit=limits[0].unit,
        zone=zone,
        core=core,
        readings=len(group),
        lowest=float(values.min()),
        median=float(np.median(values)),
        highest=float(values.max()),
        worst_depth_m=worst.depth_m,
        level=passed[0].level if passed else "",
    )


def _day(reading: Reading) -> float:
    return float(date.fromisoformat(reading.date).toordinal())
