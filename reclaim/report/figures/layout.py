"""Where the axes of a figure stand: margins from the sizes of their labels, in one pass.

The width of a text is the sum of the advance widths of its letters, so nothing is drawn to be
measured. Room is in points, from the left and from the bottom of the figure.
"""

from __future__ import annotations

from functools import cache
from math import ceil
from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.font_manager import FontProperties, findfont, get_font
from matplotlib.layout_engine import LayoutEngine
from matplotlib.ticker import FixedFormatter
from matplotlib.transforms import ScaledTranslation

if TYPE_CHECKING:
    from collections.abc import Iterable

    from matplotlib.axes import Axes
    from matplotlib.axis import Axis
    from matplotlib.figure import Figure
    from matplotlib.ft2font import FT2Font
    from matplotlib.legend import Legend
    from matplotlib.text import Text

_LINE = 1.2
"""Height of a line of type over its size."""

_TICK_LONG, _TICK_PAD, _TICK_TEXT = 3.5, 3.5, 8.0
"""Ticks, the distance of their texts, and the size of these, where axes do not say otherwise."""

_EDGE, _BETWEEN = 5.0, 12.0
"""Room around a figure, and between its panels [pt]."""

_BAR_SHARE, _BAR_WIDE, _BAR_GAP = 0.7, 11.0, 8.0
"""Height of a colour bar over that of its map; its width and distance [pt]."""


class KnownSizes(LayoutEngine):
    """Places axes that stand in a grid, the colour bar beside one, and the key below them all."""

    _adjust_compatible = True
    _colorbar_gridspec = False

    def __init__(self) -> None:
        super().__init__()
        self.bars: dict[Axes, Axes] = {}
        """The colour bar of each map that has one."""
        self.key_columns = 1
        """How many columns the key of the figure has."""

    def set(self, **_nothing: Any) -> None:
        """There is nothing to set."""

    def execute(self, figure: Figure) -> None:
        """Place everything, as `Figure.draw` asks before it draws."""
        width, height = (72.0 * float(side) for side in figure.get_size_inches())
        heading = figure.get_suptitle()
        panels = [axes for axes in figure.axes if axes.get_subplotspec() is not None]
        if not panels:
            return
        below = _EDGE + sum(self._key_height(key) for key in figure.legends)
        above = _EDGE + (10.0 * _LINE + 6.0 if heading else 0.0)
        down = _spans(panels, "y", height - below - above)
        across = _spans(panels, "x", width - 2 * _EDGE, self.bars)
        for axes in panels:
            spec = axes.get_subplotspec()
            assert spec is not None
            left, wide = across[spec.colspan.start]
            top, high = down[spec.rowspan.start]
            box = [_EDGE + left, height - above - top - high, wide, high]
            self._place(axes, box, width, height)

    def _key_height(self, key: Legend) -> float:
        """Return the height of a key, with the room around it [pt]."""
        size = float(key.prop.get_size_in_points())
        rows = ceil(len(key.get_texts()) / self.key_columns)
        padding = 2 * key.borderpad + 2 * key.borderaxespad
        return size * (_LINE * rows + key.labelspacing * (rows - 1) + padding)

    def _place(self, axes: Axes, box: list[float], width: float, height: float) -> None:
        bar = self.bars.get(axes)
        if axes.get_aspect() != "auto":
            box = _in_shape(axes, box, centred=bar is None)
        axes.set_position(_share(box, width, height))
        _place_labels(axes)
        if bar is not None:
            left, bottom, wide, high = box
            tall = _BAR_SHARE * high
            at = [left + wide + _BAR_GAP, bottom + (high - tall) / 2, _BAR_WIDE, tall]
            bar.set_position(_share(at, width, height))
            _place_labels(bar, on_right=True)


def text_width(text: str, size_pt: float, *, bold: bool = False) -> float:
    """Return the width of the widest line of a text [pt]."""
    return size_pt * max(
        (sum(_advance(letter, bold=bold) for letter in line) for line in text.split("\n")),
        default=0.0,
    )


@cache
def _advance(letter: str, *, bold: bool) -> float:
    """Return the advance width of a letter over the size of the type."""
    font = _font(bold=bold)
    if not font.get_char_index(ord(letter)):
        return 1.0  # another font will have to serve; East Asian letters are a square
    font.set_size(100, 72)
    return float(font.load_char(ord(letter)).linearHoriAdvance) / 65536 / 100


@cache
def _font(*, bold: bool) -> FT2Font:
    from reclaim.report.figures.style import STYLE

    family = STYLE["font.family"]
    return get_font(findfont(FontProperties(family=family, weight="bold" if bold else "normal")))


def _spans(
    panels: Iterable[Axes], way: str, room: float, bars: dict[Axes, Axes] | None = None
) -> list[tuple[float, float]]:
    """Return where the inside of each column (or row) begins, and how wide it is."""
    panels = list(panels)
    spec = panels[0].get_subplotspec()
    assert spec is not None
    grid = spec.get_gridspec()
    ratios = np.array(grid.get_width_ratios() if way == "x" else grid.get_height_ratios(), float)
    before, after = [0.0] * len(ratios), [0.0] * len(ratios)
    for axes in panels:
        spec = axes.get_subplotspec()
        assert spec is not None
        place = (spec.colspan if way == "x" else spec.rowspan).start
        if way == "x":
            first, last = _beside(axes)
            bar = (bars or {}).get(axes)
            if bar is not None:
                last = _BAR_GAP + _BAR_WIDE + _thickness(bar.yaxis)
        else:
            first, last = _title_height(axes), _thickness(axes.xaxis) if axes.axison else 0.0
        before[place], after[place] = max(before[place], first), max(after[place], last)
    inside = room - sum(before) - sum(after) - _BETWEEN * (len(ratios) - 1)
    spans, at = [], 0.0
    for place, ratio in enumerate(ratios):
        size = max(inside * float(ratio / ratios.sum()), 1.0)
        spans.append((at + before[place], size))
        at += before[place] + size + after[place] + _BETWEEN
    return spans


def _beside(axes: Axes) -> tuple[float, float]:
    """Return the room that axes need to the left and to the right of their inside."""
    if not axes.axison:
        return 0.0, 0.0
    left = _thickness(axes.yaxis)
    texts, size, _ = _tick_texts(axes.xaxis)
    if not texts:
        return left, 2.0
    first, last = (text_width(text, size) / 2 for text in (texts[0], texts[-1]))
    return max(left, first), last


def _thickness(axis: Axis) -> float:
    """Return the room beside the inside of axes that ticks, their texts and the label need."""
    return _to_label(axis) + (_lines(axis.label) if axis.label.get_text() else 0.0)


def _to_label(axis: Axis) -> float:
    """Return the distance from the inside of axes to the label of an axis."""
    texts, size, turned = _tick_texts(axis)
    ticks = _ticks_wide(axis)
    if any(texts):
        if (axis is axis.axes.yaxis) != turned:
            ticks += max(text_width(text, size) for text in texts)
        else:
            ticks += size * _LINE * max(text.count("\n") + 1 for text in texts)
    return ticks + (axis.labelpad if axis.label.get_text() else 0.0)


def _ticks_wide(axis: Axis) -> float:
    """Return the length of the ticks and the distance of their texts [pt]."""
    looks: dict[str, Any] = axis.get_tick_params() or {}
    return float(looks.get("length", _TICK_LONG)) + float(looks.get("pad", _TICK_PAD))


def _tick_texts(axis: Axis) -> tuple[list[str], float, bool]:
    """Return the texts beside the ticks in view, their size [pt], and whether they are turned."""
    looks: dict[str, Any] = axis.get_tick_params() or {}
    shown = any(
        looks.get(f"label{side}", side in {"left", "bottom"})
        for side in (("bottom", "top") if axis is axis.axes.xaxis else ("left", "right"))
    )
    size = float(looks.get("labelsize", _TICK_TEXT))
    if not shown or not axis.get_visible():
        return [], size, False
    formatter = axis.get_major_formatter()
    if isinstance(formatter, FixedFormatter):
        texts = [str(text) for text in formatter.seq]
    else:
        low, high = sorted(axis.get_view_interval())
        texts = formatter.format_ticks([at for at in axis.get_majorticklocs() if low <= at <= high])
    return texts, size, bool(looks.get("rotation", looks.get("labelrotation", 0)))


def _title_height(axes: Axes) -> float:
    title = axes.get_title(loc="left")
    return 6.0 + 10.0 * _LINE * (title.count("\n") + 1) if title else 4.0


def _lines(text: Text) -> float:
    """Return the height of a text [pt]."""
    return float(text.get_fontsize()) * _LINE * (text.get_text().count("\n") + 1)


def _place_labels(axes: Axes, *, on_right: bool = False) -> None:
    """Put the axis labels where the room for them was left; nothing needs to look for it then."""
    inch = axes.figure.dpi_scale_trans
    for axis in (axes.xaxis, axes.yaxis):
        if not axis.label.get_text():
            continue
        away = _to_label(axis) / 72
        if axis is axes.xaxis:
            move, at = ScaledTranslation(0, -away, inch), (0.5, 0.0)
        elif on_right:
            move, at = ScaledTranslation(away, 0, inch), (1.0, 0.5)
        else:
            move, at = ScaledTranslation(-away, 0, inch), (0.0, 0.5)
        axis.set_label_coords(*at, transform=axes.transAxes + move)


def _in_shape(axes: Axes, box: list[float], *, centred: bool) -> list[float]:
    """Return the largest box of the shape of a map inside another, at its left or its middle."""
    left, bottom, wide, high = box
    (west, east), (south, north) = axes.get_xlim(), axes.get_ylim()
    shape = float(axes.get_aspect()) * abs(north - south) / abs(east - west)
    new_wide, new_high = min(wide, high / shape), min(high, wide * shape)
    shift = (wide - new_wide) / 2 if centred else 0.0
    return [left + shift, bottom + (high - new_high) / 2, new_wide, new_high]


def _share(box: list[float], width: float, height: float) -> tuple[float, float, float, float]:
    left, bottom, wide, high = box
    return left / width, bottom / height, wide / width, high / height
