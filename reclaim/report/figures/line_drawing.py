"""The line as a drawing: every machine, every outlet, and where it leads."""

from __future__ import annotations

from itertools import pairwise
from textwrap import wrap
from typing import TYPE_CHECKING

from matplotlib import rc_context
from matplotlib.patches import FancyArrowPatch, FancyBboxPatch
from matplotlib.patheffects import withStroke

from reclaim.reference import products as product_labels
from reclaim.report.figures.flow import LOSSES, machine_labels
from reclaim.report.figures.flow_layout import Layout, Ribbon, lay_out
from reclaim.report.figures.style import FAINT, INK, STYLE, new_figure

if TYPE_CHECKING:
    from collections.abc import Sequence

    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from reclaim.estimate import Estimate

_MACHINE, _START = "#e9ece4", "#f4e3c4"
_WIDE = 0.84
"""Width of a box; boxes side by side are one apart."""
_TEXT, _STEP = 0.17, 0.62
"""Height of a line of text, and the room between one rank of machines and the next [in]."""
_ACROSS_IN = 3.1
_HALO = [withStroke(linewidth=2.0, foreground="white")]


@rc_context(STYLE)
def line_drawing(estimate: Estimate) -> Figure:
    """Draw the graph of the line from top to bottom; outlets to products are named in the boxes.

    Parameters
    ----------
    estimate
        Read for the streams of the line; how much flows in them is not shown.
    """
    made = estimate.best.products
    ends = {**product_labels(), **LOSSES}
    links: dict[tuple[str, str], list[str]] = {}
    leaving: dict[str, list[str]] = {}
    for stream in made.streams:
        outlet = stream.outlet.replace("_", " ")
        if stream.origin == "water_added":
            leaving.setdefault(stream.target, []).append(f"takes up {outlet}")
        elif stream.target in ends:
            leaving.setdefault(stream.origin, []).append(f"{outlet} → {ends[stream.target]}")
        else:
            links.setdefault((stream.origin, stream.target), []).append(outlet)
    layout = lay_out([(*pair, 1.0) for pair in links], [], gap=1.0)
    words = machine_labels(estimate)
    texts = {
        name: (wrap(words.get(name, name), 34), leaving.get(name, []))
        for name, node in layout.nodes.items()
        if not node.is_way_point
    }
    place, depth = _places(layout, texts)
    across = max(len(names) for names in layout.columns)
    figure = new_figure(max(_ACROSS_IN * across, 6.5), depth + 0.5)
    axes = figure.add_subplot(title=f"The line: {estimate.site.line.label}")
    for name, (label, outlets) in texts.items():
        _box(axes, place[name], label, outlets, is_start=not name_is_fed(name, links))
    for ribbon in layout.ribbons:
        heights = [_height(texts[name]) for name in (ribbon.origin, ribbon.target)]
        _arrow(axes, place, ribbon, heights, ", ".join(links[ribbon.origin, ribbon.target]))
    for loop in layout.loops:
        _back(axes, place[loop.origin], place[loop.target])
    axes.set(xlim=(-across / 2 - 0.1, across / 2 + 0.1), ylim=(depth, -0.1))
    axes.set_axis_off()
    return figure


def name_is_fed(name: str, links: dict[tuple[str, str], list[str]]) -> bool:
    """Return whether any stream of the line leads to a box."""
    return any(target == name for _, target in links)


def _height(text: tuple[Sequence[str], Sequence[str]]) -> float:
    """Return the height of a box that holds a text [in]."""
    label, outlets = text
    return _TEXT * (len(label) + len(outlets)) + 0.12


def _places(
    layout: Layout, texts: dict[str, tuple[list[str], list[str]]]
) -> tuple[dict[str, tuple[float, float]], float]:
    """Return the middle of every node (across in boxes, down in inches), and the whole depth."""
    place, top = {}, 0.0
    for names in layout.columns:
        tallest = max((_height(texts[name]) for name in names if name in texts), default=0.0)
        for row, name in enumerate(names):
            place[name] = (row - (len(names) - 1) / 2, top + tallest / 2)
        top += tallest + _STEP
    return place, top - _STEP + 0.1


def _box(
    axes: Axes,
    middle: tuple[float, float],
    label: list[str],
    outlets: list[str],
    *,
    is_start: bool,
) -> None:
    x, y = middle
    high = _height((label, outlets))
    axes.add_patch(
        FancyBboxPatch(
            (x - _WIDE / 2, y - high / 2), _WIDE, high, boxstyle="round,pad=0,rounding_size=0.04",
            facecolor=_START if is_start else _MACHINE, edgecolor=INK, linewidth=0.7, zorder=3,
        )
    )  # fmt: skip
    for row, text in enumerate([*label, *outlets]):
        axes.text(
            x, y - high / 2 + 0.06 + _TEXT * (row + 0.5), text, ha="center", va="center",
            fontsize=7.5, weight="bold" if row < len(label) else "normal", zorder=4,
        )  # fmt: skip


def _arrow(
    axes: Axes,
    place: dict[str, tuple[float, float]],
    ribbon: Ribbon,
    heights: Sequence[float],
    outlet: str,
) -> None:
    """Draw a stream by way of its way points, the outlet's name where it leaves."""
    (x_0, y_0), (x_1, y_1) = place[ribbon.origin], place[ribbon.target]
    points = [
        (x_0, y_0 + heights[0] / 2),
        *(place[name] for name in ribbon.via),
        (x_1, y_1 - heights[1] / 2),
    ]
    for begin, end in pairwise(points[:-1]):
        axes.plot(*zip(begin, end, strict=True), color=FAINT, linewidth=0.9)
    axes.add_patch(
        FancyArrowPatch(
            points[-2], points[-1], arrowstyle="-|>", mutation_scale=9, color=FAINT,
            linewidth=0.9, shrinkA=0, shrinkB=0,
        )
    )  # fmt: skip
    (a, b), (c, d) = points[0], points[1]
    axes.text(
        a + 0.45 * (c - a), b + 0.45 * (d - b), outlet, fontsize=7, ha="center", va="center",
        color=INK, path_effects=_HALO, zorder=5,
    )  # fmt: skip


def _back(axes: Axes, origin: tuple[float, float], target: tuple[float, float]) -> None:
    """Draw a stream that leads back as a dashed bow beside the boxes."""
    axes.add_patch(
        FancyArrowPatch(
            (origin[0] + _WIDE / 2, origin[1]), (target[0] + _WIDE / 2, target[1]),
            connectionstyle="arc3,rad=0.3", arrowstyle="-|>", mutation_scale=9, color=INK,
            linestyle="--", linewidth=0.9,
        )
    )  # fmt: skip
