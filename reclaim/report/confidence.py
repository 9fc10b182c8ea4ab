"""How sure the estimate is, as part of the results document."""

from __future__ import annotations

import csv
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from reclaim.assumptions import CHUNK

if TYPE_CHECKING:
    from pathlib import Path

    from reclaim.estimate import Estimate
    from reclaim.uncertainty import Convergence, Drivers, Knowing

Document = dict[str, Any]
FloatArray = NDArray[np.floating[Any]]

INPUTS_LISTED = 20
"""Inputs with the widest swings that are handed on; tables/drivers.csv has them all."""


def confidence(estimate: Estimate) -> Document:
    """Return the spread of the net present value, what drives it, and what to find out next."""
    found = estimate.confidence
    return {
        "npv": asdict(found.spread),
        "convergence": _convergence(found.convergence),
        "courses": [
            {"name": course.name, **asdict(course.spread), "chance_best": course.chance_best}
            for course in found.courses
        ],
        "drivers": None if found.drivers is None else _drivers(found.drivers),
        "knowing": None if found.knowing is None else _knowing(found.knowing),
        "scenarios": [
            {
                "name": scenario.name,
                "npv": scenario.npv,
                "p10": scenario.spread.p10,
                "p90": scenario.spread.p90,
                "chance_above_zero": scenario.spread.chance_above_zero,
                "fuel_t": scenario.fuel_t,
                "reclaimed_m3": scenario.reclaimed_m3,
                "best_course": scenario.best_course,
            }
            for scenario in found.scenarios
        ],
    }


def _convergence(found: Convergence) -> Document:
    columns = ("p10", "p50", "p90")
    return {
        "draws": [int(count) for count in found.n_draws],
        **{name: found.quantiles[:, place].tolist() for place, name in enumerate(columns)},
        **{
            f"{name}_error": found.standard_error[:, place].tolist()
            for place, name in enumerate(columns)
        },
        "precision": found.precision,
        "asked": found.asked,
        "is_reached": found.is_reached,
    }


def _drivers(found: Drivers) -> Document:
    swings = {swing.key: swing for swing in found.groups}
    return {
        "central": found.central,
        "inputs": [
            {
                "key": swing.key,
                "label": swing.label,
                "low": swing.low,
                "high": swing.high,
                "rank_correlation": swing.rank_correlation,
            }
            for swing in found.inputs[:INPUTS_LISTED]
        ],
        "groups": [
            {
                **asdict(index),
                "low": swings[index.group].low if index.group in swings else found.central,
                "high": swings[index.group].high if index.group in swings else found.central,
            }
            for index in found.indices
        ],
    }


def _knowing(found: Knowing) -> Document:
    return {
        "choice": found.choice,
        "can_change": found.can_change,
        "everything": asdict(found.everything),
        "groups": [
            {"group": item.key, "label": item.label, **asdict(item.worth)} for item in found.groups
        ],
        "investigations": [
            {
                "key": item.key,
                "label": item.label,
                "cost": item.cost,
                "net": item.net,
                "known": item.known,
                **asdict(item.worth),
            }
            for item in found.investigations
        ],
    }


CONFIDENCE_COLUMNS: dict[str, tuple[str, ...]] = {
    "drivers": ("input", "label", "npv_at_p10", "npv_at_p90", "rank_correlation"),
    "driver_groups": (
        "group", "label", "npv_p10", "npv_p90", "first", "first_error", "total", "total_error",
    ),
    "investigations": (
        "key", "label", "cost", "net", "known", "value", "error", "changes_choice",
    ),
    "scenarios": (
        "name", "npv", "p10", "p90", "chance_above_zero", "fuel_t", "reclaimed_m3", "best_course",
    ),
}  # fmt: skip
"""Headers of the tables that a site may leave without rows."""


def confidence_tables(estimate: Estimate, document: Document) -> dict[str, list[Document]]:
    """Return drivers, investigations and scenarios, a row for each."""
    found = document["confidence"]
    drivers = estimate.confidence.drivers
    return {
        "drivers": [
            {
                "input": swing.key,
                "label": swing.label,
                "npv_at_p10": swing.low,
                "npv_at_p90": swing.high,
                "rank_correlation": swing.rank_correlation,
            }
            for swing in (drivers.inputs if drivers else ())
        ],
        "driver_groups": [
            {
                "group": row["group"],
                "label": row["label"],
                "npv_p10": row["low"],
                "npv_p90": row["high"],
                **{name: row[name] for name in ("first", "first_error", "total", "total_error")},
            }
            for row in (found["drivers"] or {"groups": []})["groups"]
        ],
        "investigations": [
            dict(row) for row in (found["knowing"] or {"investigations": []})["investigations"]
        ],
        "scenarios": [dict(row) for row in found["scenarios"]],
    }


def write_draws(path: Path, estimate: Estimate) -> None:
    """Write the joint draws: headline results and every assumption with a range, a row for each.

    Notes
    -----
    Seven significant figures. RFC 4180, with a byte order mark as the other tables have.
    """
    columns = _results_by_draw(estimate) | _inputs_by_draw(estimate)
    names = ["draw", *columns]
    count = estimate.draws.appraisal.npv.size
    with path.open("w", encoding="utf-8-sig", newline="") as file:
        csv.writer(file).writerow(names)
        for begin in range(0, count, CHUNK):
            end = min(begin + CHUNK, count)
            block = np.column_stack(
                [np.arange(begin + 1, end + 1), *(values[begin:end] for values in columns.values())]
            )
            np.savetxt(file, block, fmt=["%d", *["%.7g"] * len(columns)], delimiter=",",
                       newline="\r\n")  # fmt: skip


def _results_by_draw(estimate: Estimate) -> dict[str, FloatArray]:
    draws = estimate.draws
    return {
        "waste_m3": draws.volumes.waste_m3,
        "waste_t": draws.feed.total_wet_t,
        "moisture": draws.feed.moisture,
        **{f"{name}_t": draws.products.wet_t(name) for name in draws.products.names},
        "airspace_reclaimed_m3": draws.appraisal.airspace.reclaimed_m3,
        "npv": draws.appraisal.npv,
        **{
            f"npv_beside_leaving_{course.name}": course.npv_beside_leaving
            for course in estimate.comparison.course_draws
        },
    }


def _inputs_by_draw(estimate: Estimate) -> dict[str, FloatArray]:
    source = estimate.confidence.source
    stated = {**estimate.site.assumptions, **estimate.site.composition}
    return {key: source.of(item) for key, item in stated.items() if item.kind != "fixed"}
