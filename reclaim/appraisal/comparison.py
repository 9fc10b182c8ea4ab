"""Everything a council compares, in one record: courses, carbon, outside view, schedule, gate."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

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
    from collections.abc import Collection, Mapping, Sequence

    from reclaim.appraisal.appraisal import Appraisal
    from reclaim.appraisal.quantities import Quantities
    from reclaim.assumptions import Assumption
    from reclaim.ground import Excavation


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
        Courses of action, of the best estimate and of all draws.
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


def compare(
    excavation: Excavation,
    best: Bill,
    drawn: Bill,
    appraisal: Appraisal,
    appraisal_draws: Appraisal,
    climate: str,
    assumptions: Mapping[str, Assumption],
    draws: Draws,
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
    best, drawn
        Bills of quantities of the best estimate and of the draws.
    appraisal, appraisal_draws
        Of mining the whole, likewise.
    climate, assumptions
        The site's.
    draws
        Source of the draws of `drawn`.
    courses, closed_months, discount_convention
        As in `compare_courses`.

    Raises
    ------
    ValueError
        As `compare_courses`.
    """
    price, prices = Prices(assumptions, Draws.best_estimate()), Prices(assumptions, draws)
    part = best_part(excavation, best.zones, price, closed_months)

    def courses_of(bill: Bill, money: Prices) -> tuple[Course, ...]:
        return compare_courses(
            bill.whole,
            quantities_of_part(part, excavation, bill.zones),
            climate,
            money,
            courses=courses,
            closed_months=closed_months,
            discount_convention=discount_convention,
        )

    readings = conservative_readings(best.whole, price, closed_months, discount_convention)
    return Comparison(
        part=part,
        courses=courses_of(best, price),
        course_draws=courses_of(drawn, prices),
        readings=readings,
        reading_draws=conservative_readings(
            drawn.whole, prices, closed_months, discount_convention
        ),
        blocks=block_times(excavation, appraisal.time),
        outside=outside_view(best.whole, appraisal, assumptions, price),
        gate=stage_gate(appraisal_draws.npv, readings, appraisal.breakeven, assumptions, price),
    )
