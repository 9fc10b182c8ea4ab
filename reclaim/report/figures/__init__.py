"""The drawings: each a pure function from an estimate to a matplotlib figure, nothing saved.

Comes in: `Estimate`. Goes out: `Figure`, with units on every axis.
Does not do: captions (see `sections`) or files (see `writing`).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from reclaim.report.figures.cases import published_cases_chart
from reclaim.report.figures.composition import composition_bars
from reclaim.report.figures.confidence import (
    convergence_chart,
    exceedance_curves,
    index_bars,
    swing_chart,
    worth_of_knowing_chart,
)
from reclaim.report.figures.core_study import core_study_figures, next_cores_map
from reclaim.report.figures.courses import methane_curve, options_chart
from reclaim.report.figures.flow import mass_flow
from reclaim.report.figures.gas import gas_against_depth, has_gas
from reclaim.report.figures.ground import chance_map, dig_surface, hypsometric_curve
from reclaim.report.figures.lifts import lift_volumes
from reclaim.report.figures.line_drawing import line_drawing
from reclaim.report.figures.money import airspace_waterfall, cash_flow
from reclaim.report.figures.plan import thickness_map
from reclaim.report.figures.product_quality import product_quality
from reclaim.report.figures.progress import progress_chart
from reclaim.report.figures.section import sections_figure

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from reclaim.estimate import Estimate

__all__ = [
    "airspace_waterfall",
    "cash_flow",
    "chance_map",
    "composition_bars",
    "convergence_chart",
    "dig_surface",
    "draw_all",
    "exceedance_curves",
    "hypsometric_curve",
    "index_bars",
    "lift_volumes",
    "line_drawing",
    "mass_flow",
    "methane_curve",
    "options_chart",
    "product_quality",
    "progress_chart",
    "published_cases_chart",
    "sections_figure",
    "swing_chart",
    "thickness_map",
    "worth_of_knowing_chart",
]


def draw_all(estimate: Estimate) -> dict[str, Figure]:
    """Return every figure that this estimate can fill, by file name, in the order of the page."""
    figures = {"thickness_map": thickness_map(estimate)}
    if estimate.sections:
        figures["sections"] = sections_figure(estimate)
    if len(estimate.excavation.lift_top_m):
        figures["dig_surface"] = dig_surface(estimate)
        figures["lift_volumes"] = lift_volumes(estimate)
    if estimate.ground is not None:
        figures["hypsometric_curve"] = hypsometric_curve(estimate)
        figures["chance_map"] = chance_map(estimate)
    figures["composition"] = composition_bars(estimate)
    if estimate.core_summary is not None and estimate.core_study is not None:
        figures |= core_study_figures(estimate.core_summary)
        proposed = estimate.core_study.next_cores
        if proposed is not None and len(proposed.places_m):
            figures["next_cores"] = next_cores_map(estimate)
    if has_gas(estimate):
        figures["gas_against_depth"] = gas_against_depth(estimate)
    figures["mass_flow"] = mass_flow(estimate)
    figures["product_quality"] = product_quality(estimate)
    figures["line_drawing"] = line_drawing(estimate)
    figures["airspace"] = airspace_waterfall(estimate)
    figures["cash_flow"] = cash_flow(estimate)
    figures["progress"] = progress_chart(estimate)
    figures["options"] = options_chart(estimate)
    figures["methane"] = methane_curve(estimate)
    figures["published_cases"] = published_cases_chart(estimate)
    figures["exceedance"] = exceedance_curves(estimate)
    if estimate.confidence.drivers is not None:
        figures["swings"] = swing_chart(estimate)
        figures["drivers"] = index_bars(estimate)
    knowing = estimate.confidence.knowing
    if knowing is not None and knowing.can_change:
        figures["worth_of_knowing"] = worth_of_knowing_chart(estimate)
    figures["convergence"] = convergence_chart(estimate)
    return figures
