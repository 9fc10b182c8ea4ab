"""The site cut open: ground, cover, waste, base, dig and the cores beside the cut."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib import rc_context
from matplotlib.lines import Line2D
from matplotlib.patches import Patch, Rectangle
from matplotlib.patheffects import withStroke

from reclaim.report.figures.style import (
    COVER,
    INK,
    NATURAL,
    SLOPES,
    STOP,
    STYLE,
    WASTE,
    Fill,
    key_below,
    new_figure,
    thousands,
)

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from reclaim.estimate import Estimate
    from reclaim.ground import Section
    from reclaim.site.model import Cores

REACH = 0.06
"""Cores within this share of the section's length are drawn on it."""

_LAYERS = {"cover": COVER, "waste": WASTE, "natural": Fill("#f6f2e6", "")}
_TODAY: dict[str, Any] = {"color": INK, "linewidth": 1.3}
_BASE: dict[str, Any] = {"color": INK, "linewidth": 1.0, "linestyle": "--"}
_DIG: dict[str, Any] = {"color": STOP, "linewidth": 1.8}
_HALO = [withStroke(linewidth=2.2, foreground="white")]


@dataclass(frozen=True, slots=True)
class BesideCore:
    """A core near a section: its name, distance along the cut and offset from it [m]."""

    core_id: str
    along_m: float
    offset_m: float
    elevation_m: float


def cores_beside(section: Section, cores: Cores) -> list[BesideCore]:
    """Return the cores within reach of a section, nearest to its start first.

    A core is put on the cut at the foot of the perpendicular from its collar.
    """
    start = np.asarray(section.start)
    course = np.asarray(section.end) - start
    length = float(np.hypot(*course))
    along_unit = course / length
    across_unit = np.array([along_unit[1], -along_unit[0]])
    beside = []
    for collar in cores.collars.to_dict("records"):
        away = np.array([collar["x_m"], collar["y_m"]]) - start
        along, offset = float(away @ along_unit), float(away @ across_unit)
        if 0 <= along <= length and abs(offset) <= REACH * length:
            beside.append(
                BesideCore(str(collar["core_id"]), along, offset, float(collar["elevation_m"]))
            )
    return sorted(beside, key=lambda core: core.along_m)


@rc_context(STYLE)
def sections_figure(estimate: Estimate) -> Figure:
    """Draw every section, one above the other; heights exaggerated as stated on each.

    Parameters
    ----------
    estimate
        Read for its sections and cores. It must have at least one section.
    """
    sections = estimate.sections
    figure = new_figure(9.0, 0.7 + 2.9 * len(sections))
    rows = figure.subplots(len(sections), 1, squeeze=False)[:, 0]
    for index, (axes, section) in enumerate(zip(rows, sections, strict=True)):
        _draw(axes, section, estimate.site.cores, chr(ord("A") + index))
    handles = [
        Patch(**COVER.bar, label="cover, dug"),
        Patch(**WASTE.bar, label="waste, dug"),
        Patch(**SLOPES.bar, label="stays under the side slopes"),
        Patch(**NATURAL.bar, label="ground below the base"),
        Line2D([], [], **_TODAY, label="today's ground"),
        Line2D([], [], **_BASE, label="base of the waste"),
        Line2D([], [], **_DIG, label="bottom of the dig"),
    ]
    key_below(figure, 4, handles)
    return figure


def _draw(axes: Axes, section: Section, cores: Cores, letter: str) -> None:
    distance, survey, base = section.distance_m, section.survey_m, section.base_m
    dug = np.isfinite(section.dig_m)
    dig = np.where(dug, section.dig_m, survey)
    cover_base = np.fmax(np.where(np.isfinite(section.cover_base_m), section.cover_base_m, survey),
                         base)  # fmt: skip
    elevations = np.concatenate([survey, base, dig])
    floor, top = np.nanmin(elevations), np.nanmax(elevations)
    depth = max(top - floor, 1.0)
    bottom = floor - 0.18 * depth

    def fill(upper: np.ndarray, lower: np.ndarray, look: Fill) -> None:
        axes.fill_between(
            distance, upper, np.fmin(lower, upper), facecolor=look.colour, hatch=look.hatch,
            edgecolor=(0, 0, 0, 0) if not look.hatch else "#8d9184", linewidth=0,
        )  # fmt: skip

    fill(survey, np.full_like(survey, bottom), NATURAL)
    fill(survey, base, SLOPES)
    fill(survey, np.fmax(cover_base, dig), COVER)
    fill(np.fmin(cover_base, survey), np.fmin(dig, cover_base), WASTE)
    axes.plot(distance, survey, **_TODAY)
    axes.plot(distance, np.where(dug, section.dig_m, np.nan), **_DIG)
    axes.plot(distance, base, **_BASE)

    length = float(distance[-1] - distance[0])
    for core in cores_beside(section, cores):
        _core(axes, core, cores, 0.009 * length)
    axes.set(xlim=(distance[0], distance[-1]), ylim=(bottom, top + 0.3 * depth))
    axes.set(xlabel="Distance along the section [m]", ylabel="Elevation [m]")
    thousands(axes, "xy")
    shown = axes.get_ylim()
    exaggeration = (length / 7.9) / ((shown[1] - shown[0]) / 2.3)
    axes.set_title(f"Section {letter} to {letter}\u2032, heights about {exaggeration:.1g} times")
    for text, at, side in ((letter, 0.0, "left"), (f"{letter}\u2032", 1.0, "right")):
        axes.text(at, 0.98, f" {text} ", transform=axes.transAxes, weight="bold", va="top", ha=side)


def _core(axes: Axes, core: BesideCore, cores: Cores, width: float) -> None:
    intervals = cores.intervals[cores.intervals["core_id"] == core.core_id]
    for interval in intervals.to_dict("records"):
        top = core.elevation_m - interval["from_m"]
        bottom = core.elevation_m - interval["to_m"]
        look = _LAYERS[interval["layer"]]
        axes.add_patch(
            Rectangle((core.along_m - width / 2, bottom), width, top - bottom, zorder=4,
                      facecolor=look.colour, edgecolor="white", linewidth=2.2)
        )  # fmt: skip
        axes.add_patch(
            Rectangle((core.along_m - width / 2, bottom), width, top - bottom, zorder=5, **look.bar)
        )
    axes.annotate(
        f"{core.core_id}\n({abs(core.offset_m):.0f} m off)", (core.along_m, core.elevation_m),
        (0, 4), textcoords="offset points", ha="center", fontsize=7, path_effects=_HALO,
    )  # fmt: skip
