"""The gas in the cores against depth, beside the limits that raise a caution."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from matplotlib import rc_context

from reclaim.hazards import rule_book
from reclaim.hazards.readings import read_gas_table
from reclaim.report.figures.style import (
    FAINT,
    GRID,
    INK,
    STOP,
    STYLE,
    key_below,
    new_figure,
    thousands,
)

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from reclaim.estimate import Estimate
    from reclaim.hazards.readings import Reading
    from reclaim.hazards.triggers import Trigger

_MARKERS = "osD^vPX*"
_LINES = {"act": ("--", FAINT), "stop": ("-", STOP)}
_MOST_ZONES = len(_MARKERS)


def has_gas(estimate: Estimate) -> bool:
    """Return whether there is a reading with a depth to draw."""
    return bool(_drawable(estimate))


@rc_context(STYLE)
def gas_against_depth(estimate: Estimate) -> Figure:
    """Draw every gas reading against depth, one panel per gas, one marker per zone.

    Parameters
    ----------
    estimate
        Read for its gas table and trigger levels.
    """
    readings = _drawable(estimate)
    labels = {limit.gas: (limit.label, limit.unit) for limit in rule_book().gas}
    gases = [gas for gas in labels if any(reading.gas == gas for reading in readings)]
    zones = list(dict.fromkeys(reading.zone for reading in readings))
    figure = new_figure(1.0 + 1.6 * len(gases), 3.8)
    panels = figure.subplots(1, len(gases), sharey=True, squeeze=False)[0]
    for axes, gas in zip(panels, gases, strict=True):
        for place, zone in enumerate(zones):
            held = [r for r in readings if r.gas == gas and r.zone == zone]
            axes.plot(
                [reading.value for reading in held],
                [reading.depth_m for reading in held],
                _MARKERS[place % _MOST_ZONES],
                color=INK,
                markerfacecolor="white" if place else INK,
                markersize=4,
                label=zone or "no zone",
            )
        label, unit = labels[gas]
        _mark_triggers(axes, [row for row in estimate.hazards.triggers if row.gas == gas])
        axes.set(xlabel=f"{label}\n[{unit}]")
        axes.grid(color=GRID)
        thousands(axes, "x")
    panels[0].set_ylabel("depth below the ground [m]")
    panels[0].set_ylim(bottom=0)
    panels[0].invert_yaxis()
    handles = dict(zip(*reversed(panels[0].get_legend_handles_labels()), strict=True))
    for axes in panels[1:]:
        handles |= dict(zip(*reversed(axes.get_legend_handles_labels()), strict=True))
    key_below(figure, 6, list(handles.values()), list(handles))
    return figure


def _mark_triggers(axes: Axes, triggers: list[Trigger]) -> None:
    """Draw the levels to act and to stop that readings pass or come near."""
    low, high = axes.get_xlim()
    for row in triggers:
        near = row.direction == "below" or row.value <= high + (high - low)
        if row.level in _LINES and near:
            line, colour = _LINES[row.level]
            axes.axvline(row.value, linestyle=line, color=colour, linewidth=1.2, label=row.level)


def _drawable(estimate: Estimate) -> list[Reading]:
    cores = estimate.site.cores
    return [
        reading
        for reading in read_gas_table(cores.gas, cores.collars)
        if np.isfinite(reading.depth_m)
    ]
