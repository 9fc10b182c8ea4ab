"""What the core study found: pattern in space, its worth, precision, and where to core next."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from matplotlib import rc_context
from matplotlib.ticker import NullFormatter

from reclaim.geostatistics import semivariance
from reclaim.reference import constant, materials
from reclaim.report.figures.plan import outlined_map
from reclaim.report.figures.style import (
    FAINT,
    GRID,
    GROUPS,
    INK,
    STOP,
    STYLE,
    colour_bar,
    key_below,
    new_figure,
)
from reclaim.waste import precision_reached

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from reclaim.estimate import Estimate
    from reclaim.waste import CoreStudy, CoreSummary

_MARKERS = "osD^vPX*"
_LINES = ("-", "--", "-.", ":")
_CURVES = 6


def core_study_figures(summary: CoreSummary) -> dict[str, Figure]:
    """Return the figures that the study behind a summary can fill, by file name."""
    study = summary.study
    if study is None:
        return {}
    figures = {"ternary": ternary_plot(summary)}
    if study.precision["precision"].notna().any():
        figures["precision"] = precision_chart(study)
    if len(study.spatial.variogram):
        figures["variogram"] = variogram_chart(study)
    if study.spatial.skill is not None:
        figures["skill"] = skill_chart(study)
    return figures


@rc_context(STYLE)
def variogram_chart(study: CoreStudy) -> Figure:
    """Draw the pooled variogram, its pairs, and the model, or say that there is none.

    Parameters
    ----------
    study
        Read for its spatial part, with at least one lag.
    """
    found, model = study.spatial.variogram, study.spatial.model
    figure = new_figure(7.0, 3.8)
    axes = figure.add_subplot(title="How unlike cores become with distance, all materials together")
    for place, azimuth in enumerate(np.unique(found.azimuth_deg)):
        held = np.isnan(found.azimuth_deg) | (found.azimuth_deg == azimuth)
        name = "all directions" if np.isnan(azimuth) else f"azimuth {azimuth:.0f} degrees"
        marker = _MARKERS[place % len(_MARKERS)]
        distance, value = found.distance_m[held], found.semivariance[held]
        axes.plot(distance, value, marker, color=INK, markerfacecolor="white", label=name)
        for x, y, pairs in zip(distance, value, found.pairs[held], strict=True):
            axes.annotate(
                str(pairs), (x, y), (0, 6), textcoords="offset points", ha="center", fontsize=7,
                color=FAINT,
            )  # fmt: skip
        if model is not None:
            along = np.linspace(0.001, 1.05 * found.distance_m.max(), 200)
            axes.plot(
                along, semivariance(model, along, azimuth), _LINES[place % 4], color=STOP,
                label=f"{model.shape} model" + ("" if np.isnan(azimuth) else f", {azimuth:.0f}"),
            )  # fmt: skip
    axes.axhline(1.0, color=FAINT, linewidth=0.8, linestyle=":", label="variance between cores")
    axes.set(
        xlabel="Distance between cores [m]; numbers are pairs of cores",
        ylabel="Semivariance [of variance between cores]",
        xlim=(0, None), ylim=(0, None),
    )  # fmt: skip
    axes.grid(color=GRID)
    axes.legend(loc="lower right")
    return figure


@rc_context(STYLE)
def skill_chart(study: CoreStudy) -> Figure:
    """Draw, for each material, how much better kriging foretells left-out cores than the zone mean.

    Parameters
    ----------
    study
        With a model.

    Raises
    ------
    ValueError
        Where the study has no model to judge.
    """
    skill = study.spatial.skill
    if skill is None:
        raise ValueError("There is no model to judge.")
    known = [i for i, value in enumerate(skill.by_material) if np.isfinite(value)]
    names = [materials()[i].label for i in known]
    figure = new_figure(7.0, 1.4 + 0.26 * len(known))
    axes = figure.add_subplot(
        title="Kriging against the mean of the zone, cores left out one by one"
    )
    for place, index in enumerate(known):
        look = GROUPS[materials()[index].group]
        axes.barh(place, skill.by_material[index], height=0.7, **look.bar)
    axes.axvline(0, color=INK, linewidth=1)
    axes.axvline(
        skill.one_out, color=STOP, linestyle="--", label=f"all materials, {skill.one_out:.2f}"
    )
    axes.axvline(
        skill.groups_out, color=STOP, linestyle=":",
        label=f"all, groups left out, {skill.groups_out:.2f}",
    )  # fmt: skip
    axes.set_yticks(range(len(known)), names)
    axes.invert_yaxis()
    axes.set(
        xlabel="Skill: 1 - squared error over that of the zone mean [-]; above 0 kriging is better"
    )
    axes.grid(axis="x", color=GRID)
    axes.set_axisbelow(True)
    key_below(figure, 2)
    return figure


@rc_context(STYLE)
def precision_chart(study: CoreStudy) -> Figure:
    """Draw the precision of each common material against the number of cores.

    Parameters
    ----------
    study
        Read for its table of precision; the largest materials are drawn.
    """
    table = study.precision[study.precision["precision"].notna()]
    table = table.sort_values("mean", ascending=False).head(_CURVES)
    confidence = constant("sampling_confidence")
    wanted = constant("sampling_precision")
    label_of = {material.name: material.label for material in materials()}
    figure = new_figure(7.0, 3.8)
    axes = figure.add_subplot(title=f"Precision of the mean share, {confidence:.0%} confidence")
    counts = np.unique(np.geomspace(3, 200, 60).astype(int))
    for place, row in enumerate(table.to_dict("records")):
        now = int(row["cores"])
        spread = float(row["precision"]) / precision_reached(1.0, 1.0, now, confidence)
        reached = [100 * precision_reached(1.0, spread, int(n), confidence) for n in counts]
        (line,) = axes.plot(
            counts, reached, _LINES[place % 4], color=INK if place < 4 else FAINT,
            label=label_of[str(row["material"])],
        )  # fmt: skip
        axes.plot(now, 100 * float(row["precision"]), _MARKERS[place], color=line.get_color())
    axes.axhline(100 * wanted, color=STOP, linewidth=1, label=f"{wanted:.0%} of the mean")
    axes.set(
        xscale="log", yscale="log",
        xlabel="Number of cores; markers are the cores there are",
        ylabel="Half-width of the interval [% of the mean]",
    )  # fmt: skip
    for axis in (axes.xaxis, axes.yaxis):
        axis.set_major_formatter(lambda value, _place: f"{value:g}")
        axis.set_minor_formatter(NullFormatter())
    axes.grid(color=GRID, which="both", linewidth=0.4)
    axes.legend(loc="upper right", ncols=2)
    return figure


@rc_context(STYLE)
def ternary_plot(summary: CoreSummary) -> Figure:
    """Draw every core between fuel, fines and inert, by share of wet mass.

    Parameters
    ----------
    summary
        Read for its cores. Combustible materials are fuel; minerals, metals and hazardous items
        stand together as inert.
    """
    group_of = {material.name: material.group for material in materials()}
    shares = {
        group: summary.per_core[[n for n in summary.materials if group_of[n] in members]].sum(
            axis=1
        )
        for group, members in (
            ("fuel", {"combustible"}),
            ("fines", {"fines"}),
            ("inert", {"mineral", "metal", "hazardous"}),
        )
    }
    figure = new_figure(5.4, 5.0)
    axes = figure.add_subplot(title="Cores between fuel, fines and inert, wet mass")
    _triangle(axes)
    zones = list(dict.fromkeys(summary.per_core["zone"]))
    for place, zone in enumerate(zones):
        held = (summary.per_core["zone"] == zone).to_numpy()
        x, y = _ternary(
            shares["fuel"].to_numpy(float)[held],
            shares["fines"].to_numpy(float)[held],
        )
        axes.plot(
            x, y, _MARKERS[place % len(_MARKERS)], color=INK,
            markerfacecolor=("white", INK, GRID)[place % 3],
            label=f"zone {zone}" if zone else "outside every zone",
        )  # fmt: skip
    if len(zones) > 1:
        axes.legend(loc="upper left")
    return figure


@rc_context(STYLE)
def next_cores_map(estimate: Estimate) -> Figure:
    """Draw where to core next, over the kriged share of combustible materials where there is one.

    Parameters
    ----------
    estimate
        With a core study that has blocks.

    Raises
    ------
    ValueError
        Where there is no core study with blocks.
    """
    study = estimate.core_study
    if study is None or study.blocks is None or study.next_cores is None:
        raise ValueError("There is no dig to place cores in.")
    figure, axes = outlined_map(estimate, "Where to core next")
    if study.block_estimates is not None:
        fuel = [i for i, material in enumerate(materials()) if material.group == "combustible"]
        share = study.block_estimates.wet_fraction[:, fuel].sum(axis=1)
        places = study.blocks.places_m
        drawn = axes.scatter(
            places[:, 0], places[:, 1], c=100 * share, marker="s", cmap="cividis_r", zorder=0,
            s=12, linewidths=0, rasterized=True,
        )  # fmt: skip
        colour_bar(axes, drawn, "Combustible materials, kriged [% of wet mass]")
    for number, (x, y) in enumerate(study.next_cores.places_m, start=1):
        axes.plot(x, y, "o", markersize=14, color="white", markeredgecolor=STOP, zorder=5)
        axes.text(x, y, str(number), ha="center", va="center", weight="bold", color=STOP, zorder=6)
    return figure


def _ternary(
    fuel: np.ndarray[tuple[int], np.dtype[np.float64]],
    fines: np.ndarray[tuple[int], np.dtype[np.float64]],
) -> tuple[
    np.ndarray[tuple[int], np.dtype[np.float64]], np.ndarray[tuple[int], np.dtype[np.float64]]
]:
    """Place shares in a triangle: fuel at the top, fines bottom right, inert bottom left."""
    return fines + fuel / 2, fuel * np.sqrt(3) / 2


def _triangle(axes: Axes) -> None:
    height = np.sqrt(3) / 2
    axes.plot([0, 1, 0.5, 0], [0, 0, height, 0], color=INK, linewidth=1)
    for share in (0.2, 0.4, 0.6, 0.8):
        corners = [
            ((1 - share, 0.0), (0.0, 1 - share)),
            ((0.0, share), (1 - share, share)),
            ((share, 1 - share), (share, 0.0)),
        ]
        for (fuel_0, fines_0), (fuel_1, fines_1) in corners:
            x, y = _ternary(np.array([fuel_0, fuel_1]), np.array([fines_0, fines_1]))
            axes.plot(x, y, color=GRID, linewidth=0.6, zorder=0)
        text = f"{share:.0%}"
        right_x, right_y = _ternary(np.array([share]), np.array([1 - share]))
        axes.annotate(
            text, (right_x[0], right_y[0]), (4, 0), textcoords="offset points", fontsize=7
        )
        axes.annotate(
            text, (share, 0), (0, -10), textcoords="offset points", ha="center", fontsize=7
        )
    axes.text(0.5, height + 0.03, "fuel 100 %", ha="center")
    axes.text(1.0, -0.10, "fines 100 %", ha="right")
    axes.text(0.0, -0.10, "inert 100 %", ha="left")
    axes.set(xlim=(-0.08, 1.12), ylim=(-0.14, height + 0.1), aspect="equal")
    axes.set_axis_off()
