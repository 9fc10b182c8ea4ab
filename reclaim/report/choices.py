"""The courses of action, carbon, schedule and outside view as documents for the results file."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from reclaim.appraisal import Course, answer_survives, cost_class
from reclaim.uncertainty.bands import band

if TYPE_CHECKING:
    from reclaim.estimate import Estimate

Document = dict[str, Any]
FloatArray = NDArray[np.floating[Any]]

CARBON_PARTS = {
    "avoided_landfill_gas_t": "landfill_gas_t",
    "fossil_burnt_t": "fossil_burnt_t",
    "fuel_substituted_t": "fuel_substituted_t",
    "metals_t": "metals_t",
    "glass_t": "glass_t",
    "operations_t": "operations_t",
    "transport_t": "transport_t",
    "gross_t": "gross_t",
    "net_t": "net_t",
    "biogenic_t": "biogenic_t",
    "stored_t": "stored_t",
}
"""Keys of the results, and the part of `Carbon` behind each: mining less leaving the site."""


def _banded(best: FloatArray, draws: FloatArray, unit: str) -> Document:
    return asdict(band(best, draws, unit))


def course_named(courses: tuple[Course, ...], name: str) -> Course | None:
    """Return one course of action, or None where it was not compared."""
    return next((course for course in courses if course.name == name), None)


def options(estimate: Estimate) -> list[Document]:
    """Return one document for each course of action compared."""
    comparison, currency = estimate.comparison, estimate.site.currency
    units = {
        "cost": currency,
        "npv": currency,
        "npv_beside_leaving": currency,
        "airspace_m3": "m3",
        "land_m2": "m2",
        "carbon_t": "t CO2e",
        "carbon_beside_leaving_t": "t CO2e",
        "duration_years": "y",
        "truck_trips": "trips",
        "waste_m3": "m3",
    }
    return [
        {
            "name": best.name,
            "label": best.label,
            **{
                key: _banded(getattr(best, key), getattr(drawn, key), unit)
                for key, unit in units.items()
            },
        }
        for best, drawn in zip(comparison.courses, comparison.course_draws, strict=True)
    ]


def carbon(estimate: Estimate) -> Document | None:
    """Return the greenhouse gas of mining beside leaving; None where one was not compared."""
    pairs = [
        tuple(course_named(courses, name) for name in ("mine", "leave"))
        for courses in (estimate.comparison.courses, estimate.comparison.course_draws)
    ]
    if any(course is None for pair in pairs for course in pair):
        return None
    (mine, leave), drawn = (
        [course.carbon for course in pair if course is not None] for pair in pairs
    )
    best, draws = mine.less(leave), drawn[0].less(drawn[1])
    return {
        **{
            key: _banded(getattr(best, part), getattr(draws, part), "t CO2e")
            for key, part in CARBON_PARTS.items()
        },
        "by_year": _methane_by_year(estimate),
    }


def _methane_by_year(estimate: Estimate) -> list[Document]:
    """Return the methane that reaches the air in each year, by course [t CH4]."""
    courses = estimate.comparison.courses
    years = courses[0].carbon.methane_t.shape[1]
    return [
        {
            "year": year,
            **{course.name: float(course.carbon.methane_t[0, year]) for course in courses},
        }
        for year in range(1, years)
    ]


def schedule(estimate: Estimate) -> Document:
    """Return when what is dug: by year, and by block."""
    best, time = estimate.best, estimate.best.appraisal.time
    return {
        "by_year": [
            {
                "year": year,
                "dug_m3": float(best.appraisal.airspace.opened_m3[0] * time.dug_share[0, year]),
                "processed_t": float(best.feed.total_wet_t[0] * time.processed_share[0, year]),
            }
            for year in range(1, time.n_years)
            if time.years_dug[0, year] > 0
        ],
        "blocks": [asdict(block) for block in estimate.comparison.blocks],
        "peak_stock_t": float(time.peak_stock_t[0]),
        "part": {
            "pays": estimate.comparison.part.pays,
            "zones": [
                {
                    "zone": zone,
                    "lifts": int(taken.sum()),
                    "worth_per_m3": [float(worth) for worth in worths],
                }
                for zone, taken, worths in zip(
                    estimate.comparison.part.zones,
                    estimate.comparison.part.taken,
                    estimate.comparison.part.worth_per_m3,
                    strict=True,
                )
            ],
        },
    }


def outside_view(estimate: Estimate) -> Document:
    """Return what lies outside published ranges, the published cases, and the cautious readings."""
    comparison, currency = estimate.comparison, estimate.site.currency
    view = comparison.outside
    return {
        "checked": view.checked,
        "flags": [asdict(flag) for flag in view.flags],
        "cases": [asdict(case) for case in (view.own, *view.cases)],
        "readings": [
            {
                "name": best.name,
                "label": best.label,
                "npv": _banded(best.npv, drawn.npv, currency),
            }
            for best, drawn in zip(comparison.readings, comparison.reading_draws, strict=True)
        ],
        "answer_survives": answer_survives(comparison.readings),
    }


def stage_gate(estimate: Estimate) -> Document:
    """Return the verdict of the stage gate, and the class of the cost estimate."""
    return {**asdict(estimate.comparison.gate), "cost_class": asdict(cost_class())}
