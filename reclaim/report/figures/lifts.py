"""How the dug volume is spread over the lifts."""

from __future__ import annotations

from typing import TYPE_CHECKING

from matplotlib import rc_context

from reclaim.report.figures.shapes import lying_bars
from reclaim.report.figures.style import COVER, GRID, STYLE, WASTE, key_below, new_figure, thousands

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
    height = 0.9 * (dig.lift_top_m - dig.lift_bottom_m)
    middle = (dig.lift_top_m + dig.lift_bottom_m) / 2
    waste, cover = dig.waste_m3.sum(axis=0), dig.cover_m3.sum(axis=0)
    figure = new_figure(6.8, 1.6 + 0.32 * len(height))
    axes = figure.add_subplot(title="Dug volume by lift")
    lying_bars(axes, middle, (0.0, waste), height=height, look=WASTE, label="waste")
    lying_bars(axes, middle, (waste, waste + cover), height=height, look=COVER, label="cover")
    axes.set_yticks([*dig.lift_top_m, dig.lift_bottom_m[-1]])
    by_depth = dig.lifts_by == "depth"
    height_words = "Above today's ground [m]" if by_depth else "Elevation [m]"
    axes.set(xlabel="Volume in place [m³]", ylabel=height_words)
    axes.margins(x=0.05)
    axes.grid(axis="x", color=GRID)
    axes.set_axisbelow(True)
    thousands(axes, "xy")
    key_below(figure, 2)
    return figure
