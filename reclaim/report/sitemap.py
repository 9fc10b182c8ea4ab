"""The map on the page: a picture of the thickness under lines and cores that can be chosen."""

from __future__ import annotations

from base64 import b64encode
from dataclasses import dataclass
from io import BytesIO
from typing import TYPE_CHECKING, Any

import numpy as np

from reclaim.report.figures.style import THICKNESS, tick_text
from reclaim.report.wording import number

if TYPE_CHECKING:
    from collections.abc import Iterable

    from shapely import MultiPolygon

    from reclaim.estimate import Estimate
    from reclaim.report.results import Document
    from reclaim.report.striplog import Strip

_WIDTH = 1000.0
"""Width of the drawing; all places on it are in these units, north up."""

_CORE_LABELS_UP_TO = 60

LAYERS = ("zones", "exclusions", "cores", "marks")
"""What can be shown or hidden beside the rasters."""


@dataclass(frozen=True, slots=True)
class Raster:
    """A layer of cells: its data address, place, key and the words under its box."""

    name: str
    label: str
    source: str
    x: float
    y: float
    width: float
    height: float
    key: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Place:
    """A core on the map."""

    x: float
    y: float
    core_id: str
    words: str
    strip: str
    cautions: int
    labelled: bool


@dataclass(frozen=True, slots=True)
class SiteMap:
    """The map, ready to be drawn.

    Attributes
    ----------
    width, height
        Of the drawing.
    rasters
        Layers of cells, the lowest first.
    zones, outline, exclusions
        Lines as SVG paths; `zones` by name.
    cores
        Where the cores stand.
    scale
        Length of the scale bar on the drawing, and its words.
    words
        What the map shows, for those who do not see it.
    """

    width: float
    height: float
    rasters: tuple[Raster, ...]
    zones: tuple[tuple[str, str, float, float], ...]
    outline: str
    exclusions: str
    cores: tuple[Place, ...]
    scale: tuple[float, str]
    words: str


def site_map(estimate: Estimate, document: Document, strips: Iterable[Strip]) -> SiteMap:
    """Return the map of an estimate.

    Parameters
    ----------
    estimate, document
        The estimate and its results document.
    strips
        The strip logs on the page, for the links from the cores.
    """
    footprint = estimate.site.footprint
    west, south, east, north = footprint.as_given.bounds
    margin = 0.05 * max(east - west, north - south)
    view = _View(west - margin, north + margin, _WIDTH / (east - west + 2 * margin))
    height = round((north - south + 2 * margin) * view.scale, 1)
    links = {strip.core_id: strip.id for strip in strips}
    collars = estimate.site.cores.collars.to_dict("records")
    raised: dict[str, int] = {}
    for caution in document["cautions"]:
        for core_id in caution.get("cores", ()):
            raised[core_id] = raised.get(core_id, 0) + 1
    length = _round_length((east - west) / 4)
    return SiteMap(
        width=_WIDTH,
        height=height,
        rasters=(_thickness(estimate, view),),
        zones=tuple(
            (zone.name, view.path(zone.polygon), *view.at(*_middle(zone.polygon)))
            for zone in footprint.zones
        ),
        outline=view.path(footprint.as_given),
        exclusions=view.path(footprint.exclusions),
        cores=tuple(_place(collar, view, links, raised, len(collars)) for collar in collars),
        scale=(round(length * view.scale, 1), f"{tick_text(length)} m"),
        words=(
            f"Map of {document['site']['name']}: dug thickness up to "
            f"{number(estimate.excavation.deepest_m)} m, {len(footprint.zones)} zones and "
            f"{len(collars)} cores. Each core can be chosen to see its log."
        ),
    )


@dataclass(frozen=True, slots=True)
class _View:
    """From metres in the grid's CRS to places on the drawing."""

    west_m: float
    north_m: float
    scale: float

    def at(self, x_m: float, y_m: float) -> tuple[float, float]:
        return (
            round((x_m - self.west_m) * self.scale, 1),
            round((self.north_m - y_m) * self.scale, 1),
        )

    def path(self, shape: MultiPolygon) -> str:
        """Return polygons with their holes as one SVG path."""
        rings = []
        for polygon in getattr(shape, "geoms", [shape]):
            if polygon.is_empty:
                continue
            for ring in (polygon.exterior, *polygon.interiors):
                places = [self.at(x, y) for x, y, *_ in ring.coords]
                kept = [
                    place
                    for index, place in enumerate(places)
                    if not index or place != places[index - 1]
                ]
                rings.append("M" + "L".join(f"{x:g} {y:g}" for x, y in kept) + "Z")
        return "".join(rings)


def _thickness(estimate: Estimate, view: _View) -> Raster:
    drawn = estimate.thickness_map
    west, east, south, north = drawn.extent
    x, y = view.at(west, north)
    deepest = float(np.nanmax(drawn.thickness_m))
    stops = np.linspace(0, deepest, 6)
    return Raster(
        "thickness",
        "Dug thickness",
        _picture(drawn.thickness_m, deepest),
        x,
        y,
        round((east - west) * view.scale, 1),
        round((north - south) * view.scale, 1),
        tuple((_colour(stop / deepest), f"{number(stop, 2)} m") for stop in stops),
    )


def _picture(cells: Any, highest: float) -> str:
    """Return cells as a picture's data address, clear where they are not known."""
    from matplotlib.image import imsave

    colours = THICKNESS(np.clip(np.nan_to_num(cells) / highest, 0, 1))
    colours[..., 3] = np.isfinite(cells)
    buffer = BytesIO()
    imsave(buffer, colours, format="png")
    return f"data:image/png;base64,{b64encode(buffer.getvalue()).decode('ascii')}"


def _colour(share: float) -> str:
    from matplotlib.colors import to_hex

    return str(to_hex(THICKNESS(share)))


def _place(
    collar: Any, view: _View, links: dict[str, str], raised: dict[str, int], count: int
) -> Place:
    core_id = str(collar["core_id"])
    cautions = raised.get(core_id, 0)
    words = f"Core {core_id}, {number(float(collar['depth_m']))} m deep"
    if collar["zone"]:
        words += f", zone {collar['zone']}"
    if cautions:
        words += f", {cautions} caution{'s' if cautions > 1 else ''}"
    x, y = view.at(float(collar["x_m"]), float(collar["y_m"]))
    return Place(
        x, y, core_id, words, links.get(core_id, ""), cautions, count <= _CORE_LABELS_UP_TO
    )


def _middle(shape: MultiPolygon) -> tuple[float, float]:
    point = shape.representative_point()
    return float(point.x), float(point.y)


def _round_length(most_m: float) -> float:
    decade = 10 ** np.floor(np.log10(most_m))
    return float(max(step * decade for step in (1, 2, 5) if step * decade <= most_m))
