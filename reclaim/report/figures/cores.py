"""What the cores are made of, zone beside zone."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from matplotlib import rc_context
from matplotlib.patches import Patch

from reclaim.reference import materials
from reclaim.report.figures.style import GROUPS, INK, STYLE, key_below, new_figure
from reclaim.report.wording import percent

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from reclaim.waste import CoreSummary

_LABELLED_FROM = 0.06


@rc_context(STYLE)
def core_makeup(summary: CoreSummary) -> Figure:
    """Draw the shares of wet mass by group of materials, one bar for each zone and the site.

    Parameters
    ----------
    summary
        The geologist's summary.
    """
    group_of = {material.name: material.group for material in materials()}
    zones = list(summary.zones) if len(summary.zones) > 2 else [summary.zones[-1]]
    rows = [summary.zones.index(zone) for zone in zones]
    figure = new_figure(8.5, 1.3 + 0.5 * len(zones))
    axes = figure.add_subplot(title="Make-up of the cores, share of wet mass")
    left = np.zeros(len(zones))
    for group, look in GROUPS.items():
        columns = [place for place, name in enumerate(summary.materials) if group_of[name] == group]
        share = 100 * summary.wet_fraction[np.ix_(rows, columns)].sum(axis=1)
        axes.barh(range(len(zones)), share, left=left, height=0.62, **look.bar)
        for place, (start, width) in enumerate(zip(left, share, strict=True)):
            if width >= 100 * _LABELLED_FROM:
                axes.text(
                    start + width / 2, place, percent(width / 100), ha="center", va="center",
                    fontsize=8, color=INK,
                    bbox={"facecolor": "white", "edgecolor": "none", "pad": 1.2},
                )  # fmt: skip
        left = left + share
    axes.set_yticks(
        range(len(zones)), ["Whole site" if z == summary.zones[-1] else z for z in zones]
    )
    axes.invert_yaxis()
    axes.set(xlim=(0, 100), xlabel="Share of wet mass [%]")
    key_below(
        figure, len(GROUPS), [Patch(**look.bar, label=group) for group, look in GROUPS.items()]
    )
    return figure
