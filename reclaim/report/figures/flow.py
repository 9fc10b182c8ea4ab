"""The mass through the line: a box for each machine, a ribbon as wide as the tonnes in it."""

from __future__ import annotations

from textwrap import wrap
from typing import TYPE_CHECKING

from matplotlib import rc_context
from matplotlib.patches import PathPatch, Rectangle
from matplotlib.path import Path
from matplotlib.patheffects import withStroke

from reclaim.reference import products as product_labels
from reclaim.reference import read_rows
from reclaim.report.figures.flow_layout import Layout, Ribbon, lay_out
from reclaim.report.figures.layout import text_width
from reclaim.report.figures.style import FAINT, GAS, INK, STYLE, WATER, Fill, new_figure, tonnes

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from reclaim.estimate import Estimate

LOSSES = {"water_lost": "Water evaporated", "gas_lost": "Gas from decay"}

_RIBBONS = {
    "water_lost": Fill(WATER),
    "gas_lost": Fill(GAS),
    "fuel": Fill("#e0aa5e"),
    "ferrous": Fill("#4f7d99"),
    "nonferrous": Fill("#2f5f7d"),
    "glass": Fill("#8fb8c4"),
    "aggregate": Fill("#b3c3bd"),
    "soil": Fill("#b09a7d"),
    "hazardous": Fill("#b5544f"),
    "residue": Fill("#8b8f8a"),
}
_BETWEEN = Fill("#d5d8cf")
_HALO = [withStroke(linewidth=2.2, foreground="white")]
_WIDTH_IN, _HEIGHT_IN = 11.0, 6.8
_LEAST_SHARE = 1e-6
_BOX = 0.13
"""Width of a box in columns."""
_AWAY, _END_PT = 0.08, 8.0
"""Distance of the words of the last column [columns], and their size."""


@rc_context(STYLE)
def mass_flow(estimate: Estimate) -> Figure:
    """Draw the line as a flow of wet mass [t], feed on the left, products and losses right.

    Parameters
    ----------
    estimate
        Read for the streams of the best estimate.
    """
    products = estimate.best.products
    total = float(estimate.best.feed.total_wet_t[0])
    streams = [
        (stream.origin, stream.target, float(stream.wet_t[0]))
        for stream in products.streams
        if float(stream.wet_t[0]) > _LEAST_SHARE * total
    ]
    ends = [*LOSSES, *products.names]
    layout = lay_out(streams, ends, gap=0.1 * total)
    figure = new_figure(_WIDTH_IN, _HEIGHT_IN)
    axes = figure.add_subplot(title="Wet mass through the line, best estimate")
    drawn_height = layout.height + (0.12 * total if layout.loops else 0.0)
    axes.set(xlim=(-0.1, _right_end(layout, ends)), ylim=(drawn_height * 1.02, -0.13 * total))
    axes.set_axis_off()
    _ribbons(axes, layout)
    for loop in layout.loops:
        _loop(axes, layout, loop, total)
    _boxes(axes, layout, ends, machine_labels(estimate))
    return figure


def _right_end(layout: Layout, ends: list[str]) -> float:
    """Return where the drawing ends, in columns, so that the words of the last column fit."""
    last = len(layout.columns) - 1
    words = {**product_labels(), **LOSSES}
    shown = [words.get(name, name) for name in layout.columns[-1] if name in ends]
    widest = max((text_width(label, _END_PT) for label in shown), default=0.0)
    begin = last + _BOX + _AWAY
    column_pt = (72 * _WIDTH_IN - 20 - widest) / (begin + 0.1)
    return begin + widest / column_pt


def machine_labels(estimate: Estimate) -> dict[str, str]:
    """Return the words for every box of the line that is no product: by name."""
    by_kind = {row["kind"]: row["label"] for row in read_rows("machines.csv")}
    labels = {
        machine.name: by_kind.get(machine.kind, machine.name)
        for machine in estimate.site.line.machines
    }
    return {"feed": "Dug waste", "water_added": "Process water", **labels}


def _ribbons(axes: Axes, layout: Layout) -> None:
    """Draw the ribbons, each leaving and entering a box in the order of its neighbours."""
    leaves = {name: node.top for name, node in layout.nodes.items()}
    enters = dict(leaves)
    place = {name: layout.nodes[name].top for name in layout.nodes}
    steps = [
        (ribbon, origin, target)
        for ribbon in layout.ribbons
        for origin, target in zip(
            (ribbon.origin, *ribbon.via), (*ribbon.via, ribbon.target), strict=True
        )
    ]
    start: dict[tuple[int, str], float] = {}
    stop: dict[tuple[int, str], float] = {}
    for ribbon, origin, _ in sorted(steps, key=lambda step: place[step[2]]):
        start[id(ribbon), origin] = leaves[origin]
        leaves[origin] += ribbon.wet_t
    for ribbon, _, target in sorted(steps, key=lambda step: place[step[1]]):
        stop[id(ribbon), target] = enters[target]
        enters[target] += ribbon.wet_t
    for ribbon, origin, target in steps:
        node, following = layout.nodes[origin], layout.nodes[target]
        left = node.column + (_BOX if not node.is_way_point else 0.0)
        right = float(following.column)
        y_0, y_1 = start[id(ribbon), origin], stop[id(ribbon), target]
        look = _RIBBONS.get(ribbon.target, _BETWEEN)
        axes.add_patch(_band(left, right, y_0, y_1, ribbon.wet_t, look.colour))


def _band(
    left: float, right: float, y_0: float, y_1: float, width: float, colour: str
) -> PathPatch:
    """Return a ribbon of even width between two columns."""
    middle = (left + right) / 2
    line, curve = Path.LINETO, Path.CURVE4
    points = [
        (left, y_0), (middle, y_0), (middle, y_1), (right, y_1),
        (right, y_1 + width), (middle, y_1 + width), (middle, y_0 + width), (left, y_0 + width),
        (left, y_0),
    ]  # fmt: skip
    codes = [Path.MOVETO, curve, curve, curve, line, curve, curve, curve, Path.CLOSEPOLY]
    return PathPatch(Path(points, codes), facecolor=colour, edgecolor=colour, linewidth=0.4)


def _loop(axes: Axes, layout: Layout, loop: Ribbon, total: float) -> None:
    """Draw what runs back to an earlier machine as an arrow below the line."""
    origin, target = layout.nodes[loop.origin], layout.nodes[loop.target]
    below = layout.height + 0.08 * total
    x_0, x_1 = origin.column + _BOX, float(target.column)
    y_0, y_1 = origin.top + origin.height, target.top + target.height
    points = [
        (x_0, y_0), (x_0 + 0.3, below), (x_0, below), ((x_0 + x_1) / 2, below),
        (x_1 - 0.3, below), (x_1 - 0.3, below), (x_1, y_1),
    ]  # fmt: skip
    path = Path(points, [Path.MOVETO, *[Path.CURVE4] * 6])
    axes.add_patch(
        PathPatch(path, facecolor="none", edgecolor=FAINT, linewidth=1.2, linestyle="--")
    )
    axes.text(
        (x_0 + x_1) / 2, below, f"back to the start: {tonnes(loop.wet_t)}", ha="center",
        va="center", fontsize=7.5, path_effects=_HALO,
    )  # fmt: skip


def _boxes(axes: Axes, layout: Layout, ends: list[str], machines: dict[str, str]) -> None:
    words = {**machines, **product_labels(), **LOSSES}
    last = len(layout.columns) - 1
    for node in layout.nodes.values():
        if node.is_way_point:
            continue
        colour = _RIBBONS[node.name].colour if node.name in _RIBBONS else INK
        axes.add_patch(
            Rectangle((node.column, node.top), _BOX, node.height, facecolor=colour,
                      edgecolor=INK, linewidth=0.6, zorder=3)
        )  # fmt: skip
        label = words.get(node.name, node.name)
        if node.column == last and node.name in ends:
            axes.text(
                node.column + _BOX + _AWAY, node.top + node.height / 2,
                f"{label}\n{tonnes(node.height)}", va="center", fontsize=_END_PT, linespacing=1.1,
            )  # fmt: skip
        else:
            text = "\n".join(wrap(label, 14)[:4])
            axes.annotate(
                text, (node.column, node.top), (-1, 2.5), textcoords="offset points",
                va="bottom", fontsize=7.2, linespacing=1.0, path_effects=_HALO, zorder=4,
            )  # fmt: skip
