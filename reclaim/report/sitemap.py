"""The map on the page: a picture of the thickness under lines and cores that can be chosen."""

from __future__ import annotations

from base64 import b64encode
from dataclasses import dataclass
from io import BytesIO
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np

from reclaim.report.figures.plan import free_spot
from reclaim.report.figures.style import CHANCE_COLOURS, CHANCES, THICKNESS, tick_text
from reclaim.report.wording import as_stated, number

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

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
    """A layer of cells: its data address, place, key and the words under its box.

    Attributes
    ----------
    name, label
        Its name in the page and in words.
    source
        The picture as a data address.
    x, y, width, height
        Where it lies on the drawing.
    key
        Colours with their words, the lowest first.
    shown
        Whether it is seen before anybody asks for it.
    """

    name: str
    label: str
    source: str
    x: float
    y: float
    width: float
    height: float
    key: tuple[tuple[str, str], ...]
    shown: bool


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
        rasters=tuple(_rasters(estimate, view)),
        zones=tuple(
            (
                zone.name,
                view.path(zone.polygon),
                *view.at(*free_spot(zone.polygon, estimate.site.cores)),
            )
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

    def box(self, extent: tuple[float, float, float, float]) -> tuple[float, float, float, float]:
        """Return left, top, width and height of what lies between west, east, south, north."""
        west, east, south, north = extent
        x, y = self.at(west, north)
        return x, y, round((east - west) * self.scale, 1), round((north - south) * self.scale, 1)

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


def _rasters(estimate: Estimate, view: _View) -> Iterator[Raster]:
    """Yield the thickness, and above it the chance where the ground was studied."""
    drawn = estimate.thickness_map
    deepest = float(np.nanmax(drawn.thickness_m))
    yield _raster(
        "thickness",
        "Dug thickness",
        THICKNESS(np.clip(np.nan_to_num(drawn.thickness_m) / deepest, 0, 1)),
        np.isfinite(drawn.thickness_m),
        view.box(drawn.extent),
        tuple(
            (_hex(THICKNESS(stop / deepest)), f"{number(stop, 2)} m")
            for stop in np.linspace(0, deepest, 6)
        ),
        shown=True,
    )
    if estimate.ground is None:
        return
    chance = estimate.ground.chance
    known = np.isfinite(chance.chance)
    step = np.clip(np.digitize(np.nan_to_num(chance.chance), CHANCES) - 1, 0, len(CHANCES) - 2)
    yield _raster(
        "chance",
        f"Chance that the waste is thicker than {as_stated(chance.thicker_than_m)} m",
        CHANCE_COLOURS(step),
        known,
        view.box(chance.extent),
        tuple(
            (_hex(CHANCE_COLOURS(place)), f"{100 * low:.0f} to {100 * high:.0f}%")
            for place, (low, high) in enumerate(pairwise(CHANCES))
        ),
        shown=False,
    )


def _raster(
    name: str,
    label: str,
    colours: Any,
    known: Any,
    box: tuple[float, float, float, float],
    key: tuple[tuple[str, str], ...],
    *,
    shown: bool,
) -> Raster:
    """Return a layer from its colours [0 to 1], clear where nothing is known."""
    from PIL import Image

    cells = np.round(255 * np.asarray(colours)).astype(np.uint8)
    cells[..., 3] = np.where(known, 255, 0)
    buffer = BytesIO()
    Image.fromarray(cells).save(buffer, "PNG")
    source = f"data:image/png;base64,{b64encode(buffer.getvalue()).decode('ascii')}"
    return Raster(name, label, source, *box, key, shown)


def _hex(colour: Any) -> str:
    from matplotlib.colors import to_hex

    return str(to_hex(colour))


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


def _round_length(most_m: float) -> float:
    decade = 10 ** np.floor(np.log10(most_m))
    return float(max(step * decade for step in (1, 2, 5) if step * decade <= most_m))
