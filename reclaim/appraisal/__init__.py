"""What is it worth to mine the site?

Comes in: dug volumes, `Feed`, `Products`, prices and costs.
Goes out: `Appraisal`, with space won and money by year, in constant prices.
Does not do: tax, finance, or advice; it is no offer and no accountant's statement.
"""

from reclaim.appraisal.airspace import airspace_won
from reclaim.appraisal.appraisal import Airspace, Appraisal, CashItem
from reclaim.appraisal.appraise import appraise, appraise_quantities, breakevens
from reclaim.appraisal.carbon import Carbon, carbon_of_digging, carbon_of_leaving
from reclaim.appraisal.comparison import Bill, Comparison, compare, side_by_side
from reclaim.appraisal.courses import COURSES, Course, compare_courses
from reclaim.appraisal.dig_limit import BestPart, best_part, quantities_of_part
from reclaim.appraisal.discounting import (
    all_rates_of_return,
    annuity_factor,
    convention_factors,
    discount_conventions,
    equivalent_annual_cost,
    internal_rate_of_return,
    net_present_value,
    nominal_flow,
    payback_years,
)
from reclaim.appraisal.findings import appraisal_checks
from reclaim.appraisal.methane import class_rates, methane_emitted, methane_generated
from reclaim.appraisal.outside_view import (
    OutsideFlag,
    OutsideView,
    PublishedCase,
    Reading,
    answer_survives,
    conservative_readings,
    outside_view,
    published_cases,
)
from reclaim.appraisal.prices import Prices
from reclaim.appraisal.quantities import Quantities, quantities_of
from reclaim.appraisal.schedule import BlockTime, Timetable, block_times, dig_schedule
from reclaim.appraisal.stage_gate import CostClass, DataNeed, StageGate, cost_class, stage_gate

__all__ = [
    "COURSES",
    "Airspace",
    "Appraisal",
    "BestPart",
    "Bill",
    "BlockTime",
    "Carbon",
    "CashItem",
    "Comparison",
    "CostClass",
    "Course",
    "DataNeed",
    "OutsideFlag",
    "OutsideView",
    "Prices",
    "PublishedCase",
    "Quantities",
    "Reading",
    "StageGate",
    "Timetable",
    "airspace_won",
    "all_rates_of_return",
    "annuity_factor",
    "answer_survives",
    "appraisal_checks",
    "appraise",
    "appraise_quantities",
    "best_part",
    "block_times",
    "breakevens",
    "carbon_of_digging",
    "carbon_of_leaving",
    "class_rates",
    "compare",
    "compare_courses",
    "conservative_readings",
    "convention_factors",
    "cost_class",
    "dig_schedule",
    "discount_conventions",
    "equivalent_annual_cost",
    "internal_rate_of_return",
    "methane_emitted",
    "methane_generated",
    "net_present_value",
    "nominal_flow",
    "outside_view",
    "payback_years",
    "published_cases",
    "quantities_of",
    "quantities_of_part",
    "side_by_side",
    "stage_gate",
]
