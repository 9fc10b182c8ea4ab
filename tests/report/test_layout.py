"""Where axes stand: nothing outside the figure, nothing on top of something else."""

from __future__ import annotations

from itertools import combinations

import pytest
from matplotlib import rc_context
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.font_manager import FontProperties
from matplotlib.text import Text

from reclaim.report import figures
from reclaim.report.figures.layout import text_width
from reclaim.report.figures.style import STYLE

NAMES = [name for name in figures.__all__ if name != "draw_all"]


def drawn(figure):
    with rc_context(STYLE):
        canvas = FigureCanvasAgg(figure)
        canvas.draw()
    return figure, canvas.get_renderer()


@pytest.mark.parametrize(
    "text", ["Thickness of the dig", "\u221212.5", "5\u2009973\u2009200", "Æøå %"]
)
@pytest.mark.parametrize("bold", [False, True])
def test_widths_are_those_of_the_renderer(text, bold) -> None:
    """The renderer of matplotlib lays the same letters out itself; it knows of kerning too."""
    _, renderer = drawn(figures.style.new_figure(3, 3))
    looks = FontProperties(family="DejaVu Sans", size=10, weight="bold" if bold else "normal")
    with rc_context(STYLE):
        width = renderer.get_text_width_height_descent(text, looks, ismath=False)[0]
    points = width * 72 / renderer.dpi
    assert text_width(text, 10, bold=bold) == pytest.approx(points, rel=0.04, abs=1.0)


@pytest.mark.parametrize("name", NAMES)
def test_nothing_leaves_the_figure(estimate, name) -> None:
    """Measured by the renderer, not by the layout."""
    figure, renderer = drawn(getattr(figures, name)(estimate))
    width, height = figure.bbox.size
    for text in seen(figure):
        box = text.get_window_extent(renderer)
        assert box.x0 >= -1, text
        assert box.x1 <= width + 1, text
        assert box.y0 >= -1, text
        assert box.y1 <= height + 1, text


@pytest.mark.parametrize("name", NAMES)
def test_axes_with_their_labels_stand_apart(estimate, name) -> None:
    figure, renderer = drawn(getattr(figures, name)(estimate))
    boxes = [axes.get_tightbbox(renderer) for axes in figure.axes if axes.axison]
    boxes += [key.get_window_extent(renderer) for key in figure.legends]
    for one, other in combinations(boxes, 2):
        shared_x = min(one.x1, other.x1) - max(one.x0, other.x0)
        shared_y = min(one.y1, other.y1) - max(one.y0, other.y0)
        assert min(shared_x, shared_y) <= 2


@pytest.mark.parametrize("name", NAMES)
def test_axis_labels_stand_clear_of_tick_labels(estimate, name) -> None:
    figure, renderer = drawn(getattr(figures, name)(estimate))
    words = seen(figure)
    for axes in figure.axes:
        for axis in (axes.xaxis, axes.yaxis):
            ticks = [text for text in axis.get_ticklabels() if text in words]
            if axis.label in words:
                label = axis.label.get_window_extent(renderer)
                assert not any(label.overlaps(t.get_window_extent(renderer)) for t in ticks)


@pytest.mark.parametrize("name", NAMES)
def test_shapes_lie_inside_their_axes(estimate, name) -> None:
    figure, _ = drawn(getattr(figures, name)(estimate))
    for axes in figure.axes:
        frame = axes.bbox.padded(1.0)
        for patch in axes.patches:
            if not patch.get_path().vertices.size or patch.get_transform() != axes.transData:
                continue
            box = patch.get_path().get_extents(patch.get_transform())
            assert frame.x0 <= box.x0
            assert frame.x1 >= box.x1
            assert frame.y0 <= box.y0
            assert frame.y1 >= box.y1


def seen(figure) -> set:
    """Return the texts that are seen: no tick label out of view, nothing of axes that are off."""
    hidden = set()
    for axes in figure.axes:
        for axis, limits in ((axes.xaxis, axes.get_xlim()), (axes.yaxis, axes.get_ylim())):
            low, high = sorted(limits)
            for tick in (*axis.get_major_ticks(), *axis.get_minor_ticks()):
                if not axes.axison or not low <= tick.get_loc() <= high:
                    hidden |= {tick.label1, tick.label2}
            if not axes.axison:
                hidden |= {axis.label, axis.offsetText}
    words = figure.findobj(Text)
    return {word for word in words if word.get_visible() and word.get_text()} - hidden
