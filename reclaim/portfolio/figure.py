"""The map of a portfolio: where the sites lie, and which are likely among the best."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from matplotlib import rc_context
from matplotlib.colors import BoundaryNorm
from matplotlib.patheffects import withStroke

from reclaim.portfolio.regional import portfolio_default
from reclaim.report.figures.plan import north_arrow, scale_bar
from reclaim.report.figures.style import (
    CHANCE_COLOURS,
    CHANCES,
    FAINT,
    INK,
    STYLE,
    colour_bar,
    new_figure,
    thousands,
)

if TYPE_CHECKING:
    from geopandas import GeoSeries
    from matplotlib.figure import Figure

    from reclaim.portfolio.run import Portfolio

_WIDTH_IN = 8.0
_HALO = [withStroke(linewidth=2.5, foreground="white")]


@rc_context(STYLE)
def portfolio_map(portfolio: Portfolio, shapes: GeoSeries) -> Figure:
    """Draw every site as a disc, its area by the tonnes of waste, its colour by the chance.

    Parameters
    ----------
    portfolio
        Read for names, tonnes and chances; it has at least one row.
    shapes
        Outlines in one coordinate system, in the order of its rows.
    """
    in_metres = shapes.crs is not None and shapes.crs.is_projected
    spots = shapes.representative_point()
    x, y = spots.x.to_numpy(), spots.y.to_numpy()
    west, south, east, north = shapes.total_bounds
    side = max(east - west, north - south)
    margin = 0.08 * side
    box = (west - margin, east + margin, south - margin, north + margin)
    upright = 1.0 if in_metres else 1 / max(0.1, np.cos(np.radians((south + north) / 2)))
    shape = upright * (box[3] - box[2]) / (box[1] - box[0])
    figure = new_figure(_WIDTH_IN, float(np.clip(_WIDTH_IN * 0.84 * shape + 0.7, 3.0, 9.5)))
    n = portfolio.ranking.n
    axes = figure.add_subplot(title=f"Chance that a site is among the best {n}")
    tonnes = np.array([row["waste_t"] or 0.0 for row in portfolio.rows])
    largest = max(float(tonnes.max()), 1.0)
    few = 1.0 if len(tonnes) < 300 else (300 / len(tonnes)) ** 0.5
    area = few * (14 + 170 * tonnes / largest)
    order = np.argsort(portfolio.ranking.chance_best_n, kind="stable")  # the surest on top
    drawn = axes.scatter(
        x[order], y[order], s=area[order], c=portfolio.ranking.chance_best_n[order],
        cmap=CHANCE_COLOURS, norm=BoundaryNorm(CHANCES, CHANCE_COLOURS.N), edgecolor=INK,
        linewidth=0.6,
    )  # fmt: skip
    for place in range(min(int(portfolio_default("map_names")), len(portfolio.rows))):
        row = portfolio.rows[place]
        axes.annotate(
            f"{row['rank']} {_short(row['name'])}", (x[place], y[place]), (5, 4),
            textcoords="offset points", fontsize=7.5, path_effects=_HALO,
        )  # fmt: skip
    bar = colour_bar(axes, drawn, f"Chance to be among the best {n}", list(CHANCES))
    bar.set_yticks(CHANCES, [f"{chance:.0%}" for chance in CHANCES])
    axes.set(xlim=box[:2], ylim=box[2:], aspect=upright)
    axes.locator_params(nbins=5)
    if in_metres:
        axes.set(xlabel="Easting", ylabel="Northing")
        thousands(axes, "xy")
        axes.tick_params(axis="y", labelrotation=90)
        for label in axes.get_yticklabels():
            label.set_verticalalignment("center")
        if shapes.crs.axis_info[0].unit_conversion_factor == 1:
            scale_bar(axes, box)
        north_arrow(axes)
    else:
        axes.set(xlabel="Longitude [degrees]", ylabel="Latitude [degrees]")
    axes.spines[:].set_color(FAINT)
    return figure


def _short(name: str) -> str:
    return name if len(name) <= 22 else f"{name[:21]}\u2026"
