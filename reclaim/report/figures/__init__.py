"""The drawings: each a pure function from an estimate to a matplotlib figure, nothing saved.

Comes in: `Estimate`. Goes out: `Figure`, with units on every axis.
Does not do: captions (see `sections`) or files (see `writing`).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from reclaim.report.figures.composition import composition_bars
from reclaim.report.figures.flow import mass_flow
from reclaim.report.figures.lifts import lift_volumes
from reclaim.report.figures.money import airspace_waterfall, cash_flow
from reclaim.report.figures.plan import thickness_map
from reclaim.report.figures.section import sections_figure

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from reclaim.estimate import Estimate

__all__ = [
    "airspace_waterfall",
    "cash_flow",
    "composition_bars",
    "draw_all",
    "lift_volumes",
    "mass_flow",
    "sections_figure",
    "thickness_map",
]


def draw_all(estimate: Estimate) -> dict[str, Figure]:
    """Return every figure that this estimate can fill, by file name, in the order of the page."""
    figures = {"thickness_map": thickness_map(estimate)}
    if estimate.sections:
        figures["sections"] = sections_figure(estimate)
    if len(estimate.excavation.lift_top_m):
        figures["lift_volumes"] = lift_volumes(estimate)
    figures["composition"] = composition_bars(estimate)
    figures["mass_flow"] = mass_flow(estimate)
    figures["airspace"] = airspace_waterfall(estimate)
    figures["cash_flow"] = cash_flow(estimate)
    return figures
