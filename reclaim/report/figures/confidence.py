"""How sure: exceedance curves, swings, Sobol indices, worth of knowing, convergence."""

from __future__ import annotations

from textwrap import fill
from typing import TYPE_CHECKING

import numpy as np
from matplotlib import rc_context
from matplotlib.ticker import LogLocator

from reclaim.report.figures.shapes import lying_bars, ranges
from reclaim.report.figures.style import (
    FAINT,
    GRID,
    INK,
    STOP,
    STYLE,
    Fill,
    key_below,
    new_figure,
    thousands,
)
from reclaim.report.wording import money_unit

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from numpy.typing import NDArray

    from reclaim.estimate import Estimate

    Numbers = NDArray[np.floating]

SWINGS_DRAWN = 12

_LOW = Fill("#a8322e", "xx")
_HIGH = Fill("#2a7f8f", "")
_ALONE = Fill("#4b6b66", "")
_TOGETHER = Fill("#d8b26a", "///")
_WORTH = Fill("#2a7f8f", "\\\\\\")
_COST = Fill("#a9b0b4", "///")
_LINES = ("-", "--", "-.", ":", (0, (5, 1, 1, 1, 1, 1)))
_COLOURS = ("#1d4e6b", "#a8322e", "#4b6b66", "#b06a12", "#6b4f8f")


@rc_context(STYLE)
def exceedance_curves(estimate: Estimate) -> Figure:
    """Draw the chance that each course of action is worth more than an amount.

    Parameters
    ----------
    estimate
        Read for the worth of each course beside leaving the site, in every draw; leaving itself,
        which is 0, is the upright line.
    """
    courses = [c for c in estimate.comparison.course_draws if c.name != "leave"]
    worths = [np.sort(course.npv_beside_leaving) for course in courses]
    largest = max(float(np.abs(worth).max()) for worth in worths) if worths else 0.0
    scale, unit = money_unit(largest, estimate.site.currency)
    figure = new_figure(7.6, 4.2)
    axes = figure.add_subplot(title="Chance that a course of action is worth more than an amount")
    for place, (course, worth) in enumerate(zip(courses, worths, strict=True)):
        chance = 100 * (1 - np.arange(worth.size) / worth.size)
        axes.plot(
            scale * worth,
            chance,
            color=_COLOURS[place % len(_COLOURS)],
            linestyle=_LINES[place % len(_LINES)],
            linewidth=1.7,
            label=course.label,
        )
    axes.axvline(0, color=INK, linewidth=0.9)
    for level in (10, 90):
        axes.axhline(level, color=FAINT, linewidth=0.6, linestyle=":")
    axes.set(
        xlabel=f"Net present value beside leaving the site [{unit}]",
        ylabel="Chance of more [%]",
        ylim=(0, 100),
    )
    axes.grid(color=GRID)
    axes.set_axisbelow(True)
    thousands(axes, "x")
    key_below(figure, 3)
    return figure


@rc_context(STYLE)
def swing_chart(estimate: Estimate) -> Figure:
    """Draw the net present value at P10 and P90 of each input, all others at their centre.

    Parameters
    ----------
    estimate
        Read for the swings; the widest are drawn.
    """
    drivers = estimate.confidence.drivers
    assert drivers is not None
    swings = drivers.inputs[:SWINGS_DRAWN]
    largest = max((abs(end) for s in swings for end in (s.low, s.high)), default=0.0)
    scale, unit = money_unit(largest, estimate.site.currency)
    figure = new_figure(8.2, 1.3 + 0.34 * max(len(swings), 1))
    axes = figure.add_subplot(title="One input at a time, the others at their centre")
    rows = np.arange(len(swings))
    for ends, look, label in (
        ([swing.low for swing in swings], _LOW, "input at its P10"),
        ([swing.high for swing in swings], _HIGH, "input at its P90"),
    ):
        reach = (scale * drivers.central, scale * np.array(ends))
        lying_bars(axes, rows, reach, height=0.66, look=look, label=label)
    axes.axvline(scale * drivers.central, color=INK, linewidth=1.0)
    _named_rows(axes, [swing.label for swing in swings])
    axes.set_xlabel(f"Net present value [{unit}]; the line is the best estimate")
    thousands(axes, "x")
    key_below(figure, 2)
    return figure


@rc_context(STYLE)
def index_bars(estimate: Estimate) -> Figure:
    """Draw the part of the variance that each group of inputs makes, alone and with others.

    Parameters
    ----------
    estimate
        Read for the Sobol indices; lines are one standard error to each side.
    """
    drivers = estimate.confidence.drivers
    assert drivers is not None
    indices = drivers.indices[:SWINGS_DRAWN]
    figure = new_figure(8.2, 1.3 + 0.42 * max(len(indices), 1))
    axes = figure.add_subplot(title="Part of the spread of the net present value")
    for shift, pairs, look, label in (
        (-0.19, [(i.first, i.first_error) for i in indices], _ALONE, "alone"),
        (0.19, [(i.total, i.total_error) for i in indices], _TOGETHER, "together with all others"),
    ):
        value, error = 100 * np.array(pairs).reshape(-1, 2).T
        rows = np.arange(len(indices)) + shift
        lying_bars(axes, rows, (0.0, np.maximum(value, 0)), height=0.36, look=look, label=label)
        _errors(axes, rows, value, error)
    _named_rows(axes, [index.label for index in indices])
    axes.set_xlabel("Part of the variance [%]; lines are one standard error to each side")
    axes.set_xlim(left=0)
    key_below(figure, 2)
    return figure


@rc_context(STYLE)
def worth_of_knowing_chart(estimate: Estimate) -> Figure:
    """Draw what each investigation is expected to be worth, beside what it costs.

    Parameters
    ----------
    estimate
        Read for the investigations, the highest net worth first; the upright line is the worth of
        knowing everything.
    """
    knowing = estimate.confidence.knowing
    assert knowing is not None
    items = knowing.investigations
    largest = max([knowing.everything.value, *(max(i.cost, i.worth.value) for i in items)])
    scale, unit = money_unit(largest, estimate.site.currency)
    figure = new_figure(8.2, 1.3 + 0.48 * max(len(items), 1))
    axes = figure.add_subplot(title="What to find out next")
    rows = np.arange(len(items))
    worth = scale * np.array([item.worth.value for item in items])
    cost = scale * np.array([item.cost for item in items])
    lying_bars(axes, rows - 0.19, (0.0, worth), height=0.36, look=_WORTH, label="expected worth")
    lying_bars(axes, rows + 0.19, (0.0, cost), height=0.36, look=_COST, label="cost")
    _errors(axes, rows - 0.19, worth, scale * np.array([item.worth.error for item in items]))
    axes.axvline(
        scale * knowing.everything.value,
        color=INK,
        linewidth=1.0,
        linestyle="--",
        label="worth of knowing everything",
    )
    _named_rows(axes, [item.label for item in items])
    axes.set_xlabel(f"Money of the site [{unit}]; lines are one standard error to each side")
    axes.set_xlim(left=0)
    thousands(axes, "x")
    key_below(figure, 3)
    return figure


@rc_context(STYLE)
def convergence_chart(estimate: Estimate) -> Figure:
    """Draw P10, P50 and P90 of the net present value as draws are added.

    Parameters
    ----------
    estimate
        Read for the running quantiles; shaded is one standard error to each side.
    """
    found = estimate.confidence.convergence
    largest = float(np.abs(found.quantiles).max())
    scale, unit = money_unit(largest, estimate.site.currency)
    figure = new_figure(7.6, 3.6)
    axes = figure.add_subplot(title="How the range settles as draws are added")
    for place, name in enumerate(("P10", "P50", "P90")):
        middle, error = scale * found.quantiles[:, place], scale * found.standard_error[:, place]
        axes.fill_between(found.n_draws, middle - error, middle + error, color=GRID, linewidth=0)
        axes.plot(
            found.n_draws,
            middle,
            color=_COLOURS[place],
            linestyle=_LINES[place],
            linewidth=1.6,
            label=name,
        )
    axes.set(xlabel="Draws [-]", ylabel=f"Net present value [{unit}]", xscale="log")
    axes.xaxis.set_major_locator(LogLocator(subs=(1, 2, 5)))
    axes.grid(color=GRID)
    axes.set_axisbelow(True)
    thousands(axes, "xy")
    key_below(figure, 3)
    return figure


def _errors(axes: Axes, rows: Numbers, value: Numbers, error: Numbers) -> None:
    """Draw one standard error to each side, not below zero."""
    low, high = np.maximum(value - error, 0), np.maximum(value + error, 0)
    ranges(axes, rows, low, high, colour=STOP, width=1.3, mark=6)


def _named_rows(axes: Axes, labels: list[str]) -> None:
    axes.set_yticks(range(len(labels)), [fill(label, 44) for label in labels])
    axes.tick_params(axis="y", length=0)
    axes.invert_yaxis()
    axes.grid(axis="x", color=GRID)
    axes.set_axisbelow(True)
