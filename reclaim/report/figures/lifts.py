"""How the dug volume is spread over the lifts."""

from __future__ import annotations

from typing import TYPE_CHECKING

from matplotlib import rc_context

from reclaim.report.figures.style import COVER, GRID, STYLE, WASTE, new_figure, thousands

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from reclaim.estimate import Estimate


@rc_context(STYLE)
def lift_volumes(estimate: Estimate) -> Figure:
    """Draw dug cover and waste [m3] against elevation [m], lift by lift.

    Parameters
    ----------
    estimate
        Read for its excavation; over-dig is not part of any lift and is left out.
    """
    dig = estimate.excavation
    height = dig.lift_top_m - dig.lift_bottom_m
    middle = (dig.lift_top_m + dig.lift_bottom_m) / 2
    waste, cover = dig.waste_m3.sum(axis=0), dig.cover_m3.sum(axis=0)
    figure = new_figure(6.8, 1.6 + 0.32 * len(height))
    axes = figure.add_subplot(title="Dug volume by lift")
    axes.barh(middle, waste, height=0.9 * height, label="waste", **WASTE.bar)
    axes.barh(middle, cover, left=waste, height=0.9 * height, label="cover", **COVER.bar)
    axes.set_yticks([*dig.lift_top_m, dig.lift_bottom_m[-1]])
    by_depth = dig.lifts_by == "depth"
    height_words = "Above today's ground [m]" if by_depth else "Elevation [m]"
    axes.set(xlabel="Volume in place [m³]", ylabel=height_words)
    axes.margins(x=0.05)
    axes.grid(axis="x", color=GRID)
    axes.set_axisbelow(True)
    thousands(axes, "xy")
    figure.legend(loc="outside lower center", ncols=2)
    return figure
