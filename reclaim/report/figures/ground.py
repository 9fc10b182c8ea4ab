"""The dig from above and against elevation: its bottom with the lifts, its curve, and chances."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib import rc_context
from matplotlib.colors import BoundaryNorm

from reclaim.report.figures.plan import outlined_map
from reclaim.report.figures.style import (
    CHANCE_COLOURS,
    CHANCES,
    COVER,
    GRID,
    INK,
    STYLE,
    THICKNESS,
    WASTE,
    colour_bar,
    new_figure,
    thousands,
)

if TYPE_CHECKING:
    from matplotlib.figure import Figure
    from numpy.typing import NDArray

    from reclaim.estimate import Estimate


@rc_context(STYLE)
def dig_surface(estimate: Estimate) -> Figure:
    """Draw the bottom of the dig [m] in plan, coloured lift by lift.

    Parameters
    ----------
    estimate
        Read for its thickness map, its lifts, and what bounds the dig. Where lifts go by depth
        the depth below today's ground is drawn instead.
    """
    drawn, dig = estimate.thickness_map, estimate.excavation
    by_depth = dig.lifts_by == "depth"
    values = -drawn.thickness_m if by_depth else drawn.dig_m
    # Where nothing is dug the bottom of the dig is today's ground.
    values = np.where(drawn.thickness_m > 0, values, np.nan)
    limits = np.array([*dig.lift_top_m, dig.lift_bottom_m[-1]])[::-1]
    norm = BoundaryNorm(limits, THICKNESS.N)
    figure, axes = outlined_map(estimate, "Bottom of the dig, by lift")
    image = axes.imshow(
        np.ma.masked_invalid(values), extent=drawn.extent, cmap=THICKNESS.reversed(), norm=norm,
        interpolation="nearest", rasterized=True,
    )  # fmt: skip
    words = "Above today's ground [m]" if by_depth else "Elevation of the bottom of the dig [m]"
    thousands(colour_bar(axes, image, words, limits), "y")
    _contours(axes, drawn.extent, values, limits)
    return figure


@rc_context(STYLE)
def chance_map(estimate: Estimate) -> Figure:
    """Draw the chance that the waste is thicker than the depth asked about.

    Parameters
    ----------
    estimate
        Read for its chance map and what bounds the dig; it must have a ground study.
    """
    assert estimate.ground is not None
    drawn = estimate.ground.chance
    title = f"Chance that the waste is thicker than {drawn.thicker_than_m:g} m"
    figure, axes = outlined_map(estimate, title)
    image = axes.imshow(
        np.ma.masked_invalid(drawn.chance), extent=drawn.extent, cmap=CHANCE_COLOURS,
        norm=BoundaryNorm(CHANCES, CHANCE_COLOURS.N), interpolation="nearest", rasterized=True,
    )  # fmt: skip
    bar = colour_bar(axes, image, "Chance [%]", CHANCES)
    bar.set_yticks(CHANCES, [f"{100 * chance:.0f}" for chance in CHANCES])
    return figure


@rc_context(STYLE)
def hypsometric_curve(estimate: Estimate) -> Figure:
    """Draw dug volume [m3] and open area [m2] below and at each elevation [m].

    Parameters
    ----------
    estimate
        Read for its hypsometry and level lifts; it must have a ground study.
    """
    assert estimate.ground is not None
    curve = estimate.ground.hypsometry
    figure = new_figure(6.8, 3.9)
    left, right = figure.subplots(1, 2, sharey=True)
    left.plot(curve.dug_below_m3, curve.elevation_m, color=WASTE.colour, linewidth=2)
    left.set(xlabel="Dug below that elevation [m³]", ylabel="Elevation [m]")
    right.fill_betweenx(curve.elevation_m, curve.open_area_m2, **COVER.bar)
    right.set(xlabel="Open area at that elevation [m²]")
    dig = estimate.excavation
    for axes in (left, right):
        axes.set_xlim(left=0)
        axes.grid(axis="x", color=GRID)
        axes.set_axisbelow(True)
        axes.locator_params(axis="x", nbins=4)
        thousands(axes, "xy")
        if dig.lifts_by == "elevation" and len(dig.lift_top_m):
            levels = [*dig.lift_top_m, dig.lift_bottom_m[-1]]
            axes.set_yticks(levels)
            for level in levels:
                axes.axhline(level, color=INK, linewidth=0.5, linestyle=(0, (2, 3)))
    figure.suptitle("Where the volume lies", x=0.01, ha="left", weight="bold", fontsize=10)
    return figure


def _contours(
    axes: Any,
    extent: tuple[float, float, float, float],
    values: NDArray[np.floating[Any]],
    limits: NDArray[np.floating[Any]],
) -> None:
    """Draw the limits of the lifts as lines, where the map is large enough for any."""
    west, east, south, north = extent
    rows, columns = values.shape
    if min(rows, columns) < 2 or not np.isfinite(values).any():
        return
    inner = limits[(limits > np.nanmin(values)) & (limits < np.nanmax(values))]
    if inner.size == 0:
        return
    x = west + (np.arange(columns) + 0.5) * (east - west) / columns
    y = north - (np.arange(rows) + 0.5) * (north - south) / rows
    axes.contour(x, y, np.ma.masked_invalid(values), levels=inner, colors=INK, linewidths=0.5)
