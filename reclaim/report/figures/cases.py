"""Published cases, and where this estimate lies among them."""

from __future__ import annotations

from math import isfinite
from typing import TYPE_CHECKING

import numpy as np
from matplotlib import rc_context

from reclaim.report.figures.style import FAINT, GRID, INK, STOP, STYLE, new_figure, thousands

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from reclaim.appraisal import PublishedCase
    from reclaim.estimate import Estimate


@rc_context(STYLE)
def published_cases_chart(estimate: Estimate) -> Figure:
    """Draw cost, soil share, space share and value of this estimate beside published cases.

    Parameters
    ----------
    estimate
        Read for its outside view; money in the site's currency and price year. A case is drawn
        only where it published the number.
    """
    view, currency = estimate.comparison.outside, estimate.site.currency
    panels = (
        ("cost_per_m3", "All payments", f"Cost [{currency} per m³ dug]", 1.0),
        ("soil_share", "Soil in what was dug", "Share [% of mass or volume]", 100.0),
        ("airspace_share", "Space reclaimed", "Share [% of space opened]", 100.0),
        ("npv_per_t", "Net present value", f"Value [{currency} per t dug]", 1.0),
    )
    shown = [
        [case for case in (view.own, *view.cases) if isfinite(getattr(case, key))]
        for key, *_ in panels
    ]
    figure = new_figure(8.5, 1.4 + 0.42 * (max(map(len, shown[:2])) + max(map(len, shown[2:]))))
    grid = figure.subplots(2, 2)
    for axes, (key, title, unit, scale), cases in zip(grid.flat, panels, shown, strict=True):
        ordered = sorted(cases, key=lambda case: float(getattr(case, key)))
        values = scale * np.array([float(getattr(case, key)) for case in ordered])
        rows = np.arange(len(ordered))
        own = np.array([case.name == view.own.name for case in ordered], bool)
        axes.plot(values[~own], rows[~own], "o", color=INK, markersize=5)
        axes.plot(values[own], rows[own], "D", color=STOP, markersize=8)
        axes.set_yticks(range(len(ordered)), [_label(case) for case in ordered])
        axes.set_title(title)
        axes.set_xlabel(unit)
        axes.axvline(0, color=FAINT, linewidth=0.8)
        axes.tick_params(axis="y", length=0)
        axes.grid(color=GRID)
        axes.set_axisbelow(True)
        axes.margins(x=0.12, y=0.12)
        thousands(axes, "x")
    return figure


def _label(case: PublishedCase) -> str:
    return f"{case.place}, {case.year}" if case.year else case.place
