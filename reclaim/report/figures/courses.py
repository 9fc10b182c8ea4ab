"""The courses of action side by side, and the methane of each."""

from __future__ import annotations

from textwrap import fill
from typing import TYPE_CHECKING

import numpy as np
from matplotlib import rc_context

from reclaim.report.figures.shapes import ranges
from reclaim.report.figures.style import (
    GRID,
    INK,
    STOP,
    STYLE,
    Fill,
    new_figure,
    thousands,
)
from reclaim.report.wording import money_unit
from reclaim.uncertainty.bands import band

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from numpy.typing import NDArray

    from reclaim.estimate import Estimate

COURSE_LOOKS = {
    "leave": (Fill("#8a7358", "..."), "-"),
    "cap": (Fill("#8fb8c4", "\\\\\\"), "--"),
    "haul": (Fill("#c98f86", "xxx"), ":"),
    "mine": (Fill("#1d4e6b", ""), "-"),
    "mine_part": (Fill("#d98f2b", "///"), "-."),
}
_YEARS_SHOWN = 60


@rc_context(STYLE)
def options_chart(estimate: Estimate) -> Figure:
    """Draw value, greenhouse gas and space of each course of action.

    Parameters
    ----------
    estimate
        Read for its comparison: best estimate as bars, P10 to P90 of the draws as lines. Value
        and greenhouse gas are of the course by itself.
    """
    courses, drawn = estimate.comparison.courses, estimate.comparison.course_draws
    panels = (
        ("npv", "Net present value", estimate.site.currency),
        ("carbon_t", "Greenhouse gas, net", "t CO2e"),
        ("airspace_m3", "Space reclaimed", "m3"),
    )
    figure = new_figure(8.5, 0.9 + 0.62 * len(courses))
    for place, (key, title, unit) in enumerate(panels):
        axes = figure.add_subplot(1, 3, place + 1, title=title)
        bands = [
            band(getattr(best, key), getattr(draws, key), unit)
            for best, draws in zip(courses, drawn, strict=True)
        ]
        largest = max(abs(end) for one in bands for end in (one.value, one.low, one.high))
        scale, words = money_unit(largest, unit) if key == "npv" else (1.0, unit)
        for row, (course, one) in enumerate(zip(courses, bands, strict=True)):
            look, _ = COURSE_LOOKS[course.name]
            axes.barh(row, scale * one.value, height=0.62, **look.bar)
        low, high = (scale * np.array([getattr(b, end) for b in bands]) for end in ("low", "high"))
        ranges(axes, np.arange(len(courses)), low, high, colour=STOP)
        axes.set_yticks(
            range(len(courses)),
            [fill(course.label, 16) for course in courses] if place == 0 else [""] * len(courses),
        )
        _finish(axes, words.replace("m3", "m³"))
    return figure


def _finish(axes: Axes, unit: str) -> None:
    axes.invert_yaxis()
    axes.axvline(0, color=INK, linewidth=0.8)
    axes.tick_params(axis="y", length=0)
    axes.set_xlabel(f"[{unit}]")
    axes.grid(axis="x", color=GRID)
    axes.set_axisbelow(True)
    axes.locator_params(axis="x", nbins=4)
    axes.margins(x=0.1)
    thousands(axes, "x")


@rc_context(STYLE)
def methane_curve(estimate: Estimate) -> Figure:
    """Draw the methane that reaches the air in each year, for every course of action.

    Parameters
    ----------
    estimate
        Read for the yearly methane of its courses; P10 to P90 is shaded for the first of them.
    """
    courses, drawn = estimate.comparison.courses, estimate.comparison.course_draws
    figure = new_figure(7.2, 3.8)
    axes = figure.add_subplot(title="Methane that reaches the air")
    years = np.arange(1, _YEARS_SHOWN + 1)
    low, high = np.quantile(drawn[0].carbon.methane_t[:, years], [0.1, 0.9], axis=0)
    axes.fill_between(years, low, high, linewidth=0, color="#e2dcc6")
    for course in courses:
        look, line = COURSE_LOOKS[course.name]
        flow: NDArray[np.floating] = course.carbon.methane_t[0, years]
        axes.plot(years, flow, color=look.colour, linestyle=line, linewidth=1.8, label=course.label)
    axes.set(xlabel="Year from the start of building [years]", ylabel="Methane [t CH4 a year]")
    axes.set_ylim(bottom=0)
    axes.margins(x=0.01)
    axes.grid(color=GRID)
    axes.set_axisbelow(True)
    axes.legend(loc="upper right")
    thousands(axes, "xy")
    return figure
