"""Everything a council compares, in one record: courses, carbon, outside view, schedule, gate."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from reclaim.appraisal.courses import COURSES, Course, compare_courses
from reclaim.appraisal.dig_limit import BestPart, best_part, quantities_of_part
from reclaim.appraisal.outside_view import (
    OutsideView,
    Reading,
    conservative_readings,
    outside_view,
)
from reclaim.appraisal.prices import Prices
from reclaim.appraisal.schedule import BlockTime, block_times
from reclaim.appraisal.stage_gate import StageGate, stage_gate
from reclaim.assumptions import Draws

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Mapping, Sequence

    import numpy as np
    from numpy.typing import NDArray

    from reclaim.appraisal.appraisal import Appraisal
    from reclaim.appraisal.quantities import Quantities
    from reclaim.assumptions import Assumption
    from reclaim.ground import Excavation

    FloatArray = NDArray[np.floating[Any]]


@dataclass(frozen=True, slots=True)
class Bill:
    """The bill of quantities of one run of the model.

    Attributes
    ----------
    whole
        Of the whole dig.
    zones
        Of each zone by itself, in the order of the excavation.
    """

    whole: Quantities
    zones: tuple[Quantities, ...]


@dataclass(frozen=True, slots=True)
class Comparison:
    """Courses of action side by side, and what the estimate looks like from outside.

    Attributes
    ----------
    part
        The part of the dig that is worth most.
    courses, course_draws
        Courses of action, of the best estimate and of all draws; of draws the first course alone
        has its methane by year.
    readings, reading_draws
        The base reading of mining and the conservative ones, likewise.
    blocks
        When each block is dug, by the best estimate.
    outside
        Published ranges and cases.
    gate
        Go on, stop, or which data first.
    """

    part: BestPart
    courses: tuple[Course, ...]
    course_draws: tuple[Course, ...]
    readings: tuple[Reading, ...]
    reading_draws: tuple[Reading, ...]
    blocks: tuple[BlockTime, ...]
    outside: OutsideView
    gate: StageGate


def side_by_side(
    excavation: Excavation,
    part: BestPart,
    bill: Bill,
    climate: str,
    price: Prices,
    *,
    courses: Sequence[str] = tuple(COURSES),
    closed_months: Collection[int] = (),
    discount_convention: str = "constant",
) -> tuple[tuple[Course, ...], tuple[Reading, ...]]:
    """Work out courses of action and readings of mining, of the best estimate or of draws.

    Parameters
    ----------
    excavation, part
        Waste by zone and lift, and the part that is worth most by the best estimate.
    bill
        Bill of quantities.
    climate, price
        The site's, with the draws of `bill`.
    courses, closed_months, discount_convention
        As in `compare_courses`.

    Returns
    -------
    The courses, and the base and the conservative readings. Of draws the first course alone keeps
    its methane by year, to save memory.

    Raises
    ------
    ValueError
        As `compare_courses`.
    """
    ordered = tuple(name for name in COURSES if name in courses)
    found = compare_courses(
        bill.whole,
        quantities_of_part(part, excavation, bill.zones),
        climate,
        price,
        courses=courses,
        closed_months=closed_months,
        discount_convention=discount_convention,
        methane_of=ordered if price.draws.is_best_estimate else ordered[:1],
    )
    return found, conservative_readings(bill.whole, price, closed_months, discount_convention)


def compare(
    excavation: Excavation,
    best: Bill,
    appraisal: Appraisal,
    npv: FloatArray,
    climate: str,
    assumptions: Mapping[str, Assumption],
    drawn: Callable[[BestPart], tuple[tuple[Course, ...], tuple[Reading, ...]]],
    *,
    courses: Sequence[str] = tuple(COURSES),
    closed_months: Collection[int] = (),
    discount_convention: str = "constant",
) -> Comparison:
    """Compare the courses of action of one site.

    Parameters
    ----------
    excavation
        Waste and cover by zone and lift.
    best, appraisal
        Bill of quantities and appraisal of mining the whole, best estimate.
    npv
        Of mining the whole, by draw.
    climate, assumptions
        The site's.
    drawn
        Gives what `side_by_side` finds for the draws, for the part that is worth most.
    courses, closed_months, discount_convention
        As in `compare_courses`.

    Raises
    ------
    ValueError
        As `compare_courses`.
    """
    price = Prices(assumptions, Draws.best_estimate())
    part = best_part(excavation, best.zones, price, closed_months)
    found, readings = side_by_side(
        excavation,
        part,
        best,
        climate,
        price,
        courses=courses,
        closed_months=closed_months,
        discount_convention=discount_convention,
    )
    course_draws, reading_draws = drawn(part)
    return Comparison(
        part=part,
        courses=found,
        course_draws=course_draws,
        readings=readings,
        reading_draws=reading_draws,
        blocks=block_times(excavation, appraisal.time),
        outside=outside_view(best.whole, appraisal, assumptions, price),
        gate=stage_gate(npv, readings, appraisal.breakeven, assumptions, price),
    )
