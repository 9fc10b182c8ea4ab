"""The site from above: thickness of the dig, zones, exclusions, cores."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib import rc_context
from matplotlib.patches import PathPatch, Rectangle
from matplotlib.path import Path
from matplotlib.patheffects import withStroke

from reclaim.report.figures.style import (
    FAINT,
    INK,
    STOP,
    STYLE,
    THICKNESS,
    colour_bar,
    key_below,
    new_figure,
    thousands,
    tick_text,
)

if TYPE_CHECKING:
    from collections.abc import Iterator

    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from shapely import LinearRing, MultiPolygon, Polygon

    from reclaim.estimate import Estimate
    from reclaim.site import Cores

_WIDTH_IN = 8.0
_HALO = [withStroke(linewidth=2.5, foreground="white")]
_NO_DIG: dict[str, Any] = {
    "facecolor": "white",
    "edgecolor": STOP,
    "hatch": "xxxx",
    "linewidth": 1.1,
}
_ZONE_LABELS_UP_TO = 12
_CORE_LABELS_UP_TO = 60


@rc_context(STYLE)
def thickness_map(estimate: Estimate) -> Figure:
    """Draw the dug thickness [m] in plan, with all that bounds it.

    Parameters
    ----------
    estimate
        Read for its thickness map, footprint, zones, exclusions, collars and sections.
    """
    drawn = estimate.thickness_map
    figure, axes = outlined_map(estimate, "Thickness of the dig")
    image = axes.imshow(
        np.ma.masked_invalid(drawn.thickness_m),
        extent=drawn.extent,
        cmap=THICKNESS,
        vmin=0,
        interpolation="nearest",
        rasterized=True,
    )
    colour_bar(axes, image, "Dug thickness, cover and waste [m]")
    return figure


def outlined_map(estimate: Estimate, title: str) -> tuple[Figure, Axes]:
    """Return a map of all that bounds the dig, with key and scale, for a picture to lie under.

    Parameters
    ----------
    estimate
        Read for its footprint, zones, exclusions, collars and sections.
    title
        Above the map.
    """
    footprint = estimate.site.footprint
    west, south, east, north = footprint.as_given.bounds
    margin = 0.06 * max(east - west, north - south)
    box = (west - margin, east + margin, south - margin, north + margin)
    shape = (box[3] - box[2]) / (box[1] - box[0])
    figure = new_figure(_WIDTH_IN, float(np.clip(_WIDTH_IN * 0.84 * shape + 0.7, 3.5, 10.0)))
    axes = figure.add_subplot(title=title)
    for zone in footprint.zones:
        axes.add_patch(_patch(zone.polygon, facecolor="none", edgecolor=INK, linewidth=0.9))
        if 1 < len(footprint.zones) <= _ZONE_LABELS_UP_TO:
            axes.text(
                *free_spot(zone.polygon, estimate.site.cores), zone.name, style="italic",
                ha="center", va="center",
                fontsize=9, path_effects=_HALO,
            )  # fmt: skip
    axes.add_patch(
        _patch(footprint.as_given, facecolor="none", edgecolor=INK, linewidth=0.9, linestyle="--")
    )
    if not footprint.exclusions.is_empty:
        with rc_context({"hatch.color": STOP}):
            axes.add_patch(_patch(footprint.exclusions, **_NO_DIG))
    for index, section in enumerate(estimate.sections):
        (x_0, y_0), (x_1, y_1) = section.start, section.end
        axes.plot([x_0, x_1], [y_0, y_1], color=INK, linewidth=0.9, linestyle=(0, (8, 3, 1, 3)))
        letter = chr(ord("A") + index)
        for x, y, text in ((x_0, y_0, letter), (x_1, y_1, f"{letter}\u2032")):
            axes.text(x, y, text, weight="bold", ha="center", va="center", path_effects=_HALO)
    _cores(axes, estimate)

    axes.set(xlim=box[:2], ylim=box[2:], aspect="equal")
    axes.set(xlabel="Easting [m]", ylabel="Northing [m]")
    axes.locator_params(nbins=5)
    thousands(axes, "xy")
    axes.tick_params(axis="y", labelrotation=90)
    for label in axes.get_yticklabels():
        label.set_verticalalignment("center")
    scale_bar(axes, box)
    north_arrow(axes)
    _key(figure, estimate)
    axes.spines[:].set_color(FAINT)
    return figure, axes


def free_spot(shape: MultiPolygon, cores: Cores) -> tuple[float, float]:
    """Return a place well inside a zone, for its name, as far from the cores as it can be."""
    import shapely

    inner = shape.buffer(-0.15 * shape.area**0.5)
    west, south, east, north = shape.bounds
    x, y = np.meshgrid(np.linspace(west, east, 17), np.linspace(south, north, 17))
    inside = shapely.contains_xy(inner, x, y)
    if not inside.any():
        point = shape.representative_point()
        return point.x, point.y
    spots = np.column_stack([x[inside], y[inside]])
    collars = cores.collars[["x_m", "y_m"]].to_numpy(float)
    away = np.hypot(*(spots[:, None, :] - collars[None, :, :]).transpose(2, 0, 1))
    best = spots[np.argmax(away.min(axis=1, initial=np.inf))]
    return float(best[0]), float(best[1])


def _cores(axes: Axes, estimate: Estimate) -> None:
    collars = estimate.site.cores.collars
    x, y = collars["x_m"].to_numpy(float), collars["y_m"].to_numpy(float)
    axes.plot(x, y, "o", markersize=5, color="white", markeredgecolor=INK, markeredgewidth=1.1)
    if len(collars) > _CORE_LABELS_UP_TO:
        return
    for core_id, x_core, y_core in zip(collars["core_id"], x, y, strict=True):
        axes.annotate(
            str(core_id), (x_core, y_core), (4, 3), textcoords="offset points", fontsize=7.5,
            path_effects=_HALO, annotation_clip=True,
        )  # fmt: skip


def scale_bar(axes: Axes, box: tuple[float, float, float, float]) -> None:
    """Draw a bar of a round length in the lower left corner."""
    width, height = box[1] - box[0], box[3] - box[2]
    decade = 10 ** np.floor(np.log10(width / 4))
    length = float(max(step * decade for step in (1, 2, 5) if step * decade <= width / 4))
    left, bottom = box[0] + 0.03 * width, box[2] + 0.03 * height
    for part, colour in enumerate((INK, "white")):
        axes.add_patch(
            Rectangle((left + part * length / 2, bottom), length / 2, 0.009 * height,
                      facecolor=colour, edgecolor=INK, linewidth=0.7, zorder=5)
        )  # fmt: skip
    for at, text in ((0.0, "0"), (length, f"{tick_text(length)} m")):
        axes.annotate(
            text, (left + at, bottom + 0.009 * height), (0, 2), textcoords="offset points",
            ha="center", fontsize=7.5, path_effects=_HALO,
        )  # fmt: skip


def north_arrow(axes: Axes) -> None:
    """Draw an arrow to grid north in the upper right corner."""
    axes.annotate(
        "grid\nnorth", (0.965, 0.985), (0.965, 0.89), xycoords="axes fraction", ha="center",
        va="top", fontsize=7, arrowprops={"arrowstyle": "-|>", "color": INK, "linewidth": 1.2},
    )  # fmt: skip


def _key(figure: Figure, estimate: Estimate) -> None:
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    footprint = estimate.site.footprint
    handles: list[Line2D | Patch] = [
        Line2D([], [], color=INK, linewidth=0.9, linestyle="--", label="footprint as given"),
        Line2D([], [], color=INK, linewidth=0.9, label="what may be dug, by zone"),
    ]
    if not footprint.exclusions.is_empty:
        with rc_context({"hatch.color": STOP}):
            handles.append(Patch(**_NO_DIG, label="must not be dug"))
    if len(estimate.site.cores.collars):
        handles.append(
            Line2D([], [], marker="o", linestyle="", color="white", markeredgecolor=INK,
                   label="core")
        )  # fmt: skip
    if estimate.sections:
        handles.append(
            Line2D([], [], color=INK, linewidth=0.9, linestyle=(0, (8, 3, 1, 3)), label="section")
        )
    key_below(figure, len(handles), handles)


def _patch(shape: MultiPolygon, **look: object) -> PathPatch:
    """Return polygons with their holes as one patch."""
    rings = [
        np.asarray(ring.coords)[:, :2] for polygon in _parts(shape) for ring in _rings(polygon)
    ]
    vertices = np.concatenate(rings)
    codes = np.full(len(vertices), Path.LINETO)
    codes[np.cumsum([0, *(len(ring) for ring in rings[:-1])])] = Path.MOVETO
    return PathPatch(Path(vertices, codes), **look)


def _parts(shape: MultiPolygon) -> tuple[Polygon, ...]:
    return tuple(shape.geoms)


def _rings(polygon: Polygon) -> Iterator[LinearRing]:
    from shapely.geometry.polygon import orient

    turned = orient(polygon)
    yield turned.exterior
    yield from turned.interiors
