"""The dig in time: each lift of each zone, and what has gone through the plant."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from matplotlib import rc_context

from reclaim.report.figures.shapes import lying_bars
from reclaim.report.figures.style import GRID, INK, STYLE, Fill, new_figure, thousands, tick_text

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from reclaim.estimate import Estimate

_LOOKS = (
    Fill("#4b6b66"),
    Fill("#d8b26a", "...."),
    Fill("#8fb8c4", "\\\\\\"),
    Fill("#c98f86", "///"),
    Fill("#1d4e6b", "xxx"),
    Fill("#cfd3c4", "++"),
)


@rc_context(STYLE)
def progress_chart(estimate: Estimate) -> Figure:
    """Draw when each block is dug, and how much has been dug and processed by then.

    Parameters
    ----------
    estimate
        Read for the blocks and the timetable of the best estimate.
    """
    blocks = estimate.comparison.blocks
    time, waste_t = estimate.best.appraisal.time, float(estimate.best.feed.total_wet_t[0])
    zones = list(dict.fromkeys(block.zone for block in blocks))
    figure = new_figure(8.0, 2.6 + 0.24 * len(blocks))
    above, below = figure.subplots(
        2, 1, sharex=True, height_ratios=[max(1.0, 0.24 * len(blocks)), 1.8]
    )
    for place, zone in enumerate(zones):
        held = [row for row, block in enumerate(blocks) if block.zone == zone]
        ends = [[blocks[row].start_year for row in held], [blocks[row].end_year for row in held]]
        look = _LOOKS[place % len(_LOOKS)]
        lying_bars(above, held, (ends[0], ends[1]), height=0.7, look=look, label=zone)
    above.set_yticks(
        range(len(blocks)),
        [
            f"{block.zone}, {tick_text(block.top_m)} to {tick_text(block.bottom_m)} m"
            for block in blocks
        ],
    )
    above.invert_yaxis()
    above.tick_params(axis="y", length=0)
    above.set_ylabel("Zone and elevation [m]")
    above.set_title("Order and time of the dig")
    above.legend(loc="upper right")
    last = int(np.ceil(time.duration_years[0]))
    moments = np.minimum(np.arange(last + 1, dtype=float), float(time.duration_years[0]))
    dug = waste_t * np.concatenate([[0.0], np.cumsum(time.dug_share[0, 1 : last + 1])])
    done = waste_t * np.concatenate([[0.0], np.cumsum(time.processed_share[0, 1 : last + 1])])
    below.plot(moments, dug, color=INK, linestyle="--", linewidth=1.4, label="dug")
    below.plot(moments, done, color="#d98f2b", linewidth=1.8, label="through the plant")
    below.set(xlabel="Time from the first day of digging [years]", ylabel="Waste [t]")
    below.legend(loc="upper left")
    for axes in (above, below):
        axes.grid(axis="x", color=GRID)
        axes.set_axisbelow(True)
    below.grid(axis="y", color=GRID)
    below.set_xlim(left=0)
    below.set_ylim(bottom=0)
    thousands(below, "xy")
    return figure
