"""Outlines of all sites in one coordinate system: for the map, the vector files, and overlaps."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from reclaim.portfolio.regional import portfolio_default
from reclaim.site import Check

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from geopandas import GeoSeries

LONGITUDE_LATITUDE = "EPSG:4326"
"""The common coordinate system of sites that do not share one."""


def outlines_of(outlines: Sequence[str], crs: Sequence[tuple[str, float]]) -> GeoSeries:
    """Return the outlines in the coordinate system that all share, else in degrees.

    Parameters
    ----------
    outlines
        Well-known binary in hexadecimal, in metres of each site's own coordinate system.
    crs
        That system (WKT), and the length of its unit [m].
    """
    import geopandas
    import shapely
    from shapely.affinity import scale

    shapes = shapely.from_wkb(list(outlines))
    shapes = [
        shape if unit == 1 else scale(shape, 1 / unit, 1 / unit, origin=(0, 0))
        for shape, (_, unit) in zip(shapes, crs, strict=True)
    ]
    systems = list(dict.fromkeys(wkt for wkt, _ in crs))
    if len(systems) == 1:
        return geopandas.GeoSeries(shapes, crs=systems[0])
    together = np.empty(len(shapes), dtype=object)
    for system in systems:
        own = [place for place, (wkt, _) in enumerate(crs) if wkt == system]
        part = geopandas.GeoSeries([shapes[place] for place in own], crs=system)
        together[own] = part.to_crs(LONGITUDE_LATITUDE).to_numpy()
    return geopandas.GeoSeries(together, crs=LONGITUDE_LATITUDE)


def overlaps(
    shapes: GeoSeries, names: Sequence[str], places: Sequence[str]
) -> Iterator[tuple[int, Check]]:
    """Yield a warning for each pair of sites that overlap, with the place of the first.

    Parameters
    ----------
    shapes, names, places
        Outlines in one coordinate system, names, and what messages call each site.
    """
    found = shapes.to_numpy()
    one, other = shapes.sindex.query(shapes, predicate="intersects")
    for first, second in zip(*(side[one < other] for side in (one, other)), strict=True):
        shared = found[first].intersection(found[second]).area
        share = shared / min(found[first].area, found[second].area)
        if share > portfolio_default("overlap_share"):
            yield (
                int(first),
                Check(
                    "warning",
                    places[first],
                    f"It overlaps '{names[second]}' ({places[second]}) on {share:.0%} of the "
                    "smaller of the two, which counts twice.",
                    "Redraw their common boundary, or take one of them out.",
                ),
            )
