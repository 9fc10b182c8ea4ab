"""The drawings: what is on them, units on every axis, and colours that stay apart."""

from __future__ import annotations

import subprocess
import sys
from dataclasses import replace
from itertools import combinations, pairwise

import numpy as np
import pytest
from matplotlib.colors import to_rgb

from reclaim.report import figures
from reclaim.report.figures.flow_layout import lay_out
from reclaim.report.figures.section import cores_beside
from reclaim.report.figures.style import GROUPS, MONEY, THICKNESS

# Machado, Oliveira and Fernandes (2009), IEEE Transactions on Visualization and Computer Graphics
# 15(6), 1291-1298, severity 1.0, for linear RGB. From memory.
DEFICIENCIES = {
    "protanopia": np.array(
        [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216],
         [-0.003882, -0.048116, 1.051998]]
    ),
    "deuteranopia": np.array(
        [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413],
         [-0.011820, 0.042940, 0.968881]]
    ),
    "none": np.eye(3),
}  # fmt: skip


def lab(colour: str, seen: np.ndarray) -> np.ndarray:
    """CIE L*a*b* (D65) of an sRGB colour as a viewer sees it (IEC 61966-2-1; CIE 15)."""
    encoded = np.array(to_rgb(colour))
    linear = np.where(encoded <= 0.04045, encoded / 12.92, ((encoded + 0.055) / 1.055) ** 2.4)
    linear = np.clip(seen @ linear, 0, 1)
    xyz = np.array(
        [[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]
    ) @ linear / np.array([0.9505, 1.0, 1.089])  # fmt: skip
    f = np.where(xyz > 0.008856, np.cbrt(xyz), 7.787 * xyz + 16 / 116)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


@pytest.mark.parametrize("viewer", DEFICIENCIES)
@pytest.mark.parametrize("palette", [GROUPS, MONEY], ids=["materials", "money"])
def test_fills_stay_apart_for_every_viewer(palette, viewer) -> None:
    for one, other in combinations(palette.values(), 2):
        distance = np.linalg.norm(
            lab(one.colour, DEFICIENCIES[viewer]) - lab(other.colour, DEFICIENCIES[viewer])
        )
        # A difference of 2.3 is just seen (Mahy et al. 1994); where it is small, hatches differ.
        assert distance > 12
        assert distance > 20 or one.hatch != other.hatch


def test_thickness_darkens_all_the_way() -> None:
    lightness = [lab(THICKNESS(x)[:3], np.eye(3))[0] for x in np.linspace(0, 1, 41)]
    assert all(after < before for before, after in pairwise(lightness))


def drawn_axes(figure):
    return [axes for axes in figure.axes if axes.axison]


@pytest.mark.parametrize("name", [n for n in figures.__all__ if n not in {"draw_all", "mass_flow"}])
def test_every_axis_with_numbers_has_a_unit(estimate, name) -> None:
    figure = getattr(figures, name)(estimate)
    for axes in drawn_axes(figure):
        for axis in (axes.xaxis, axes.yaxis):
            numbers = [t.get_text() for t in axis.get_ticklabels() if t.get_text()[:1].isdigit()]
            shared = (
                axis is axes.xaxis and axes is not figure.axes[-1] and not axis.label.get_text()
            )
            if numbers and not shared:
                text = axis.label.get_text()
                assert "[" in text or estimate.site.currency in text, f"{name}: {text!r}"


def test_no_figure_needs_pyplot() -> None:
    code = "import sys, reclaim.report.figures; sys.exit('matplotlib.pyplot' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


def texts(figure) -> str:
    figure.draw_without_rendering()
    found = [text.get_text() for text in figure.findobj(lambda a: hasattr(a, "get_text"))]
    return "\n".join(found)


def bars_of(axes) -> np.ndarray:
    """Return the five corners (x, y) of every bar, shape (bars, 5, 2)."""
    return np.concatenate([patch.get_path().vertices.reshape(-1, 5, 2) for patch in axes.patches])


def test_the_map_names_cores_zones_scale_and_north(estimate) -> None:
    words = texts(figures.thickness_map(estimate))
    for core_id in estimate.site.cores.collars["core_id"]:
        assert core_id in words
    for word in ("north", "south", "grid\nnorth", "50 m", "must not be dug", "footprint as given"):
        assert word in words


def test_the_section_draws_the_cores_beside_it(estimate) -> None:
    # The section runs along y = north - 148; a core at that y lies on it, by construction.
    section = estimate.sections[0]
    beside = cores_beside(section, estimate.site.cores)
    y = estimate.site.cores.collars.set_index("core_id")["y_m"]
    limit = 0.06 * 340
    expected = [core for core in y.index if abs(y[core] - section.start[1]) <= limit]
    assert sorted(core.core_id for core in beside) == sorted(expected)
    for core in beside:
        assert abs(core.offset_m) == pytest.approx(abs(y[core.core_id] - section.start[1]))


def test_composition_bars_are_the_shares(estimate) -> None:
    figure = figures.composition_bars(estimate)
    widths = np.sort(np.ptp(bars_of(figure.axes[0])[:, :, 0], axis=1))[::-1]
    shares = np.sort(100 * estimate.best.feed.wet_fraction[0])[::-1]
    assert widths == pytest.approx(shares)


def test_lift_bars_add_to_the_dug_volume(estimate) -> None:
    figure = figures.lift_volumes(estimate)
    dug = estimate.excavation.waste_m3.sum() + estimate.excavation.cover_m3.sum()
    assert np.ptp(bars_of(figure.axes[0])[:, :, 0], axis=1).sum() == pytest.approx(dug)


def test_cash_bars_add_to_the_running_total(estimate) -> None:
    figure = figures.cash_flow(estimate)
    above, below = figure.axes
    corners = bars_of(above)[:, :, 1]
    total = (corners[:, 2] - corners[:, 0]).sum()
    line = below.lines[0].get_ydata()
    assert total == pytest.approx(line[-1])
    assert line[-1] == pytest.approx(1e-6 * estimate.best.appraisal.net_flow.sum())


def test_the_waterfall_lands_on_what_is_reclaimed(estimate) -> None:
    opened, refilled, lost, reclaimed = figures.airspace_waterfall(estimate).axes[0].patches[:4]
    space = estimate.best.appraisal.airspace
    assert opened.get_height() == pytest.approx(space.opened_m3[0])
    assert lost.get_y() == pytest.approx(space.reclaimed_m3[0])
    assert refilled.get_y() + refilled.get_height() == pytest.approx(opened.get_height())
    assert reclaimed.get_height() == pytest.approx(space.reclaimed_m3[0])


def test_the_flow_names_every_machine_and_product(estimate) -> None:
    words = " ".join(texts(figures.mass_flow(estimate)).split())
    for name in ("Dug waste", "Air separator", "Fuel", "Water evaporated", "Gas from decay"):
        assert name in words


def test_boxes_of_a_column_never_overlap(estimate) -> None:
    streams = [(s.origin, s.target, float(s.wet_t[0])) for s in estimate.best.products.streams]
    ends = ["water_lost", "gas_lost", *estimate.best.products.names]
    layout = lay_out(streams, ends, gap=1000.0)
    for names in layout.columns:
        nodes = sorted((layout.nodes[name] for name in names), key=lambda node: node.top)
        assert nodes[0].top >= -1e-6
        assert nodes[-1].top + nodes[-1].height <= layout.height + 1e-6
        for upper, lower in pairwise(nodes):
            assert lower.top >= upper.top + upper.height + 1000.0 - 1e-6


def test_ribbons_are_as_wide_as_their_tonnes_and_run_rightwards(estimate) -> None:
    streams = [(s.origin, s.target, float(s.wet_t[0])) for s in estimate.best.products.streams]
    layout = lay_out(streams, list(estimate.best.products.names), gap=1000.0)
    assert sum(r.wet_t for r in layout.ribbons) == pytest.approx(sum(s[2] for s in streams))
    for ribbon in layout.ribbons:
        assert layout.nodes[ribbon.target].column > layout.nodes[ribbon.origin].column


def test_a_stream_that_runs_back_is_a_loop() -> None:
    streams = [
        ("feed", "screen", 10.0),
        ("screen", "shredder", 4.0),
        ("shredder", "screen", 4.0),
        ("screen", "fuel", 10.0),
    ]
    layout = lay_out(streams, ["fuel"], gap=1.0)
    assert [(loop.origin, loop.target) for loop in layout.loops] == [("shredder", "screen")]
    assert layout.nodes["fuel"].column == max(node.column for node in layout.nodes.values())


def test_dollars_in_a_name_are_no_formula(estimate) -> None:
    zones = tuple(replace(z, name="$x^2$ {") for z in estimate.site.footprint.zones)
    odd = replace(
        estimate,
        site=replace(estimate.site, footprint=replace(estimate.site.footprint, zones=zones)),
    )
    assert "$x^2$ {" in texts(figures.thickness_map(odd))
