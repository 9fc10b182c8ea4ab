"""What the waste is made of: share of each material, with its interval, for site and zones."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from matplotlib import rc_context
from matplotlib.patches import Patch

from reclaim.reference import materials
from reclaim.report.figures.shapes import lying_bars, ranges
from reclaim.report.figures.style import GRID, GROUPS, INK, STYLE, new_figure, thousands
from reclaim.report.wording import percent
from reclaim.uncertainty.bands import band

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from reclaim.estimate import Estimate

ZONES_DRAWN = 4
"""With more zones than this the figure shows the site alone; the table has them all."""

_MARKERS = "Ds^v"


@rc_context(STYLE)
def composition_bars(estimate: Estimate) -> Figure:
    """Draw the share of each material in the wet mass dug, largest first.

    Parameters
    ----------
    estimate
        Read for the feed (bars and their P10 to P90) and, where cores give the composition, the
        zone composites (markers with their own P10 to P90).
    """
    names = estimate.best.feed.materials
    shares = estimate.best.feed.wet_fraction[0]
    order = np.argsort(-shares, kind="stable")
    known = {material.name: material for material in materials()}
    zones = _zones(estimate)
    step = 1 + 0.3 * len(zones)
    figure = new_figure(8.0, 1.1 + 0.27 * step * len(names))
    axes = figure.add_subplot(title="Make-up of the waste, share of wet mass")
    position = np.arange(len(names)) * step

    groups = np.array([known[names[index]].group for index in order])
    for group in dict.fromkeys(groups):
        held = groups == group
        ends = (0.0, 100 * shares[order[held]])
        lying_bars(axes, position[held], ends, height=0.72, look=GROUPS[group])
    spreads = [
        band(shares[index], estimate.draws.feed.wet_fraction[:, index], "-") for index in order
    ]
    low, high = (100 * np.array([getattr(s, end) for s in spreads]) for end in ("low", "high"))
    ranges(axes, position, low, high, colour=INK, width=1.1, mark=6)
    for place, spread in zip(position, spreads, strict=True):
        reach = max(spread.value, spread.high if np.isfinite(spread.high) else 0.0)
        axes.annotate(
            percent(spread.value), (100 * reach, place), (4, 0), textcoords="offset points",
            va="center", fontsize=8,
        )  # fmt: skip
    summary = estimate.core_summary
    for row, zone in enumerate(zones):
        assert summary is not None
        column = [summary.materials.index(names[index]) for index in order]
        at = position + 0.52 + 0.3 * row
        low, high = 100 * summary.low[row, column], 100 * summary.high[row, column]
        ranges(axes, at, low, high, colour="#5b5f62", width=1.1, mark=6)
        axes.plot(
            100 * summary.wet_fraction[row, column], at, _MARKERS[row], color="white",
            markeredgecolor=INK, markersize=4.5, label=f"zone {zone}, from its cores",
        )  # fmt: skip

    axes.set_yticks(position, [known[names[index]].label for index in order])
    axes.invert_yaxis()
    axes.set(xlabel="Share of wet mass [%]; lines are P10 to P90", xlim=(0, None))
    axes.margins(x=0.12)
    axes.grid(axis="x", color=GRID)
    axes.set_axisbelow(True)
    axes.tick_params(axis="y", length=0)
    thousands(axes, "x")
    drawn = {known[name].group for name in names}
    handles = [Patch(**look.bar, label=group) for group, look in GROUPS.items() if group in drawn]
    axes.legend(handles=[*handles, *axes.get_legend_handles_labels()[0]], loc="lower right")
    return figure


def _zones(estimate: Estimate) -> tuple[str, ...]:
    """Return the zones drawn beside the site: those with cores, if there are few of them."""
    summary = estimate.core_summary
    if summary is None:
        return ()
    zones = summary.zones[:-1]
    return zones if 1 < len(zones) <= ZONES_DRAWN else ()
