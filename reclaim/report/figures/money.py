"""The money year by year, and the space won."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from matplotlib import rc_context
from matplotlib.patches import Patch
from matplotlib.ticker import MaxNLocator

from reclaim.report.figures.shapes import bars
from reclaim.report.figures.style import (
    FAINT,
    GRID,
    INK,
    MONEY,
    MONEY_LABELS,
    STOP,
    STYLE,
    Fill,
    key_below,
    new_figure,
    thousands,
)
from reclaim.report.wording import MINUS, best_of, money_unit
from reclaim.uncertainty.bands import band

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from reclaim.estimate import Estimate

_SPREAD = "#e2dcc6"
_OPENED = Fill("#4b6b66")
_TAKEN = Fill("#c98f86", "///")
_WON = Fill("#3f8f86", "\\\\\\")


@rc_context(STYLE)
def cash_flow(estimate: Estimate) -> Figure:
    """Draw payments and income by year and group, and their running total.

    Parameters
    ----------
    estimate
        Read for the cash items of the best estimate, and for the running total of every draw
        (shaded P10 to P90). Constant prices, not discounted.
    """
    site, best = estimate.site, estimate.best.appraisal
    running = np.cumsum(best.net_flow[0])
    low, high = np.quantile(
        np.cumsum(estimate.draws.appraisal.net_flow, axis=1), [0.1, 0.9], axis=0
    )
    scale, unit = money_unit(float(np.max(np.abs([*running, *low, *high]))), site.currency)
    figure = new_figure(8.5, 6.2)
    above, below = figure.subplots(2, 1, sharex=True, height_ratios=[3, 2])
    handles = _stacks(above, estimate, scale)
    below.fill_between(
        np.arange(low.size), scale * low, scale * high, linewidth=0, color=_SPREAD
    )  # fmt: skip
    below.plot(
        np.arange(running.size), scale * running, color=INK, linewidth=1.8, marker="o", markersize=3
    )
    above.set_title("Payments and income in each year")
    below.set_title("Running total: best estimate, and P10 to P90 shaded")
    below.set(xlabel="Year from the start of building [years]")
    for axes in (above, below):
        axes.use_sticky_edges = False
        axes.margins(y=0.08)
        axes.axhline(0, color=INK, linewidth=0.8)
        axes.set_ylabel(unit)
        axes.grid(axis="y", color=GRID)
        axes.set_axisbelow(True)
        thousands(axes, "xy")
    below.xaxis.set_major_locator(MaxNLocator(integer=True))
    key_below(figure, 3, handles)
    return figure


def _stacks(axes: Axes, estimate: Estimate, scale: float) -> list[Patch]:
    """Draw payments below and income above zero, and return the key."""
    items = estimate.best.appraisal.items
    count = estimate.best.appraisal.net_flow.shape[1]
    years, up, down = np.arange(count), np.zeros(count), np.zeros(count)
    handles = []
    for group, look in MONEY.items():
        flows = [item.flow[0] for item in items if item.group == group]
        if not flows or not np.any(flows):
            continue
        flow = scale * np.sum(flows, axis=0)
        for part, stack in ((np.maximum(flow, 0), up), (np.minimum(flow, 0), down)):
            bars(axes, x=(years - 0.36, years + 0.36), y=(stack, stack + part), look=look)
            np.add(stack, part, out=stack)
        handles.append(Patch(**look.bar, label=MONEY_LABELS[group]))
    return handles


@rc_context(STYLE)
def airspace_waterfall(estimate: Estimate) -> Figure:
    """Draw the space opened, what takes it up again, and what is left [m3].

    Parameters
    ----------
    estimate
        Read for the airspace of the best estimate and of all draws (P10 to P90 lines).
    """
    best, draws = estimate.best.appraisal.airspace, estimate.draws.appraisal.airspace
    steps = (
        ("Opened\nby the dig", best.opened_m3, draws.opened_m3, 0, _OPENED),
        ("Taken by what\ngoes back", best.refilled_m3, draws.refilled_m3, -1, _TAKEN),
        ("Taken by liner\nand drainage", best.lost_m3, draws.lost_m3, -1, _TAKEN),
        ("Reclaimed", best.reclaimed_m3, draws.reclaimed_m3, 0, _WON),
    )
    figure = new_figure(6.8, 4.0)
    axes = figure.add_subplot(title="Airspace")
    level = 0.0
    for place, (_label, value, spread, sign, look) in enumerate(steps):
        amount = float(value[0])
        foot = level - amount if sign else 0.0
        axes.bar(place, amount, bottom=foot, width=0.62, **look.bar)
        shown = band(value, spread, "m3")
        edge = foot if sign else amount
        ends = [level - shown.low, level - shown.high] if sign else [shown.low, shown.high]
        _whisker(axes, place, ends)
        axes.annotate(
            (MINUS if sign and amount > 0 else "") + best_of(shown),
            (place, max(level, amount, *ends)),
            (0, 4), textcoords="offset points", ha="center", fontsize=8.5,
        )  # fmt: skip
        if place < len(steps) - 1:
            axes.plot([place + 0.31, place + 0.69], [edge, edge], color=FAINT, linewidth=0.8)
        level = edge
    axes.set_xticks(range(len(steps)), [step[0] for step in steps])
    axes.tick_params(axis="x", length=0)
    axes.axhline(0, color=INK, linewidth=0.8)
    axes.set_ylabel("Volume [m³]; lines are P10 to P90")
    axes.margins(y=0.12)
    axes.grid(axis="y", color=GRID)
    axes.set_axisbelow(True)
    thousands(axes, "y")
    return figure


def _whisker(axes: Axes, place: float, ends: list[float]) -> None:
    if np.all(np.isfinite(ends)):
        axes.plot([place, place], ends, color=STOP, linewidth=1.4, marker="_", markersize=9)
