"""The footprint: polygons in the survey's CRS, zones, setback and exclusions."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from reclaim.site.ceilings import exceeds
from reclaim.site.model import Footprint, Grid, Zone
from reclaim.site.settings import limit
from reclaim.site.spelling import suggestion
from reclaim.site.vectorfile import read_vector

if TYPE_CHECKING:
    from collections.abc import Iterator

    from geopandas import GeoDataFrame
    from shapely import MultiPolygon
    from shapely.geometry.base import BaseGeometry

    from reclaim.site.problems import Findings

WHOLE = "whole"
"""Name of the only zone where the footprint is not split."""
_RESERVED = "site"  # the row of tables that sums over all zones


@dataclass(frozen=True, slots=True)
class FootprintRequest:
    """What the site file says about the footprint: files found, words as written."""

    path: Path
    written: str
    zone_field: str | None
    setback_m: float
    exclusions: Path | None
    exclusions_written: str


def read_footprint(
    request: FootprintRequest, crs_wkt: str, crs_unit_m: float, findings: Findings
) -> Footprint | None:
    """Read the footprint into metres of a projected CRS.

    Parameters
    ----------
    request
        Files, zone field and setback.
    crs_wkt, crs_unit_m
        The CRS to bring it to, and the length of its unit [m].
    findings
        Takes every problem of the files.

    Returns
    -------
    Footprint or None
        None where the files have errors.
    """
    frame = _read_polygons(request.path, request.written, crs_wkt, crs_unit_m, findings)
    exclusions = _read_exclusions(request, crs_wkt, crs_unit_m, findings)
    if frame is None or exclusions is None:
        return None
    zones = _zones(frame, request, findings)
    if zones is None:
        return None
    return _dig_area(zones, exclusions, request, findings)


def footprint_of(
    shape: Any, written: str, setback_m: float, crs_unit_m: float, findings: Findings
) -> Footprint | None:
    """Return the footprint of one shape, unsplit and without exclusions.

    Parameters
    ----------
    shape
        Polygons in the survey's CRS.
    written, setback_m
        What messages call it, and the inward buffer [m].
    crs_unit_m
        Length of the CRS's unit [m].
    findings
        Takes every problem of the shape.
    """
    from shapely import MultiPolygon, force_2d

    polygons = _mended(None if shape is None else force_2d(shape), written, findings)
    if polygons.is_empty:
        findings.error(written, "There is no polygon.", "Draw the area as a polygon.")
        return None
    request = FootprintRequest(Path(written), written, None, setback_m, None, "")
    zones = {WHOLE: _in_metres(polygons, crs_unit_m)}
    return _dig_area(zones, MultiPolygon(), request, findings)


def check_on_grid(footprint: Footprint, grid: Grid, written: str, findings: Findings) -> None:
    """Check that the survey's grid reaches under the footprint."""
    from shapely import box

    survey = box(
        grid.west_m,
        grid.north_m - grid.rows * grid.cell_y_m,
        grid.west_m + grid.columns * grid.cell_x_m,
        grid.north_m,
    )
    window = grid.window_around(*footprint.outline.bounds)
    if exceeds("ground_cells", window.rows * window.columns, written, findings):
        return
    covered = footprint.outline.intersection(survey).area
    missing = footprint.outline.area - covered
    if covered == 0:
        x, y = footprint.outline.centroid.coords[0]
        centre = survey.centroid
        findings.error(
            written,
            f"The footprint (about {x:.0f}, {y:.0f} m) lies wholly off the survey "
            f"(about {centre.x:.0f}, {centre.y:.0f} m).",
            "Check the coordinate systems of both files.",
        )
    elif missing > 1e-9 * footprint.outline.area:
        findings.warn(
            written,
            f"{missing:.0f} m2 of the footprint lie off the survey and add no volume.",
            "Extend the survey or draw the footprint smaller.",
        )


def _read_exclusions(
    request: FootprintRequest, crs_wkt: str, crs_unit_m: float, findings: Findings
) -> MultiPolygon | None:
    from shapely import MultiPolygon, union_all

    if request.exclusions is None:
        return MultiPolygon()
    frame = _read_polygons(
        request.exclusions, request.exclusions_written, crs_wkt, crs_unit_m, findings
    )
    return None if frame is None else _polygons_of(union_all(frame.geometry.to_numpy()))


def _read_polygons(
    path: Path, written: str, crs_wkt: str, crs_unit_m: float, findings: Findings
) -> GeoDataFrame | None:
    """Read a vector file as valid polygons in metres of the CRS given."""
    from shapely import force_2d

    frame = read_vector(path, written, findings, layers_of="Polygon")
    if frame is None:
        return None
    if (frame.geometry.isna() | frame.geometry.is_empty).all():
        findings.error(written, "All shapes in the file are empty.", "Draw the area as polygons.")
        return None
    frame = in_crs(frame, written, crs_wkt, findings)
    if frame is None:
        return None
    shapes = [
        _mended(None if shape is None else force_2d(shape), f"{written} feature {number}", findings)
        for number, shape in enumerate(frame.geometry, start=1)
    ]
    frame = frame.set_geometry([_in_metres(shape, crs_unit_m) for shape in shapes])
    frame = frame[~frame.geometry.is_empty]
    if frame.empty:
        findings.error(written, "The file has no polygons.", "Draw the area as polygons.")
        return None
    return frame


def in_crs(
    frame: GeoDataFrame, written: str, crs_wkt: str, findings: Findings
) -> GeoDataFrame | None:
    """Return a layer in the CRS given, None after saying why it cannot be."""
    west, south, east, north = frame.total_bounds
    looks_like_degrees = west >= -180 and east <= 180 and south >= -90 and north <= 90
    if frame.crs is None:
        if looks_like_degrees:
            findings.error(
                written,
                "The coordinates look like degrees, and the file names no coordinate system.",
                "Write the coordinate system into the file (EPSG:4326 for GPS degrees).",
            )
            return None
        findings.warn(
            written,
            "The file does not say which coordinate system it is in.",
            "It was taken to be in the survey's; write it into the file.",
        )
        return frame.set_crs(crs_wkt)
    if frame.crs.is_geographic and not looks_like_degrees:
        findings.error(
            written,
            f"The file says its coordinates are degrees ({frame.crs.name}), but they reach "
            f"{max(abs(west), abs(east), abs(south), abs(north)):.0f}.",
            "Save it with the coordinate system it is really in; GeoJSON without one means "
            "degrees.",
        )
        return None
    frame = frame.to_crs(crs_wkt)
    if not np.isfinite(frame.total_bounds).all():
        findings.error(
            written,
            "Its coordinates cannot be brought to the survey's coordinate system.",
            "Check the coordinate system of the file.",
        )
        return None
    return frame


def _mended(shape: Any, where: str, findings: Findings) -> MultiPolygon:
    """Return the polygons of a shape, made valid where its rings cross."""
    from shapely import MultiPolygon, is_valid_reason, make_valid

    if shape is None or shape.is_empty:
        findings.warn(where, "The feature is empty.", "It was left out.")
        return MultiPolygon()
    if shape.geom_type not in ("Polygon", "MultiPolygon", "GeometryCollection"):
        findings.warn(
            where, f"The feature is a {shape.geom_type}, not a polygon.", "It was left out."
        )
        return MultiPolygon()
    if not shape.is_valid:
        reason = is_valid_reason(shape)
        shape = make_valid(shape)
        findings.warn(
            where,
            f"The polygon is not valid ({reason}).",
            "It was repaired; check its outline on the map of the report.",
        )
    polygons = _polygons_of(shape)
    for part in polygons.geoms:
        width = 2 * part.area / part.length
        if width < limit("sliver_m"):
            findings.warn(
                where,
                f"A part of {part.area:.3g} square units is a sliver, {width:.2g} units wide.",
                "It counts; if it was left by drawing, redraw or remove it.",
            )
    return polygons


def _polygons_of(shape: BaseGeometry) -> MultiPolygon:
    """Return the polygon parts of any shape; lines and points left by an overlay drop out."""
    from shapely import MultiPolygon

    return MultiPolygon(list(_polygon_parts(shape)))


def _polygon_parts(shape: Any) -> Iterator[Any]:
    if shape.geom_type == "Polygon":
        if not shape.is_empty:
            yield shape
    else:
        for part in getattr(shape, "geoms", ()):
            yield from _polygon_parts(part)


def _in_metres(shape: MultiPolygon, crs_unit_m: float) -> MultiPolygon:
    from shapely.affinity import scale

    if crs_unit_m == 1:
        return shape
    return scale(shape, crs_unit_m, crs_unit_m, origin=(0, 0))


def _zones(
    frame: GeoDataFrame, request: FootprintRequest, findings: Findings
) -> dict[str, MultiPolygon] | None:
    """Return the shapes by zone name, dissolved, before setback and exclusions."""
    from shapely import union_all

    field = request.zone_field
    if field is None:
        return {WHOLE: _polygons_of(union_all(frame.geometry.to_numpy()))}
    columns = [str(column) for column in frame.columns if column != frame.geometry.name]
    if field not in columns:
        findings.error(
            f"{request.written} field '{field}'",
            "The footprint has no such field, but the site file names it as zone_field.",
            suggestion(field, columns),
        )
        return None
    shapes: dict[str, list[MultiPolygon]] = {}
    usable = True
    for index, name, shape in zip(
        frame.index, frame[field].astype(object), frame.geometry, strict=True
    ):
        text = "" if name is None or name != name else str(name).strip()  # noqa: PLR0124  # NaN
        if text in ("", _RESERVED):
            usable = False
            findings.error(
                f"{request.written} feature {index + 1} field '{field}'",
                "The zone has no name." if not text else f"'{text}' names all zones together.",
                "Give the zone a name of its own.",
            )
        shapes.setdefault(text, []).append(shape)
    zones = {name: _polygons_of(union_all(parts)) for name, parts in shapes.items()}
    return zones if usable and _are_apart(zones, request.written, findings) else None


def _are_apart(zones: dict[str, MultiPolygon], written: str, findings: Findings) -> bool:
    apart = True
    for (name, shape), (other_name, other) in combinations(zones.items(), 2):
        overlap = shape.intersection(other).area
        if overlap > limit("zone_overlap") * min(shape.area, other.area):
            apart = False
            findings.error(
                f"{written} zones '{name}' and '{other_name}'",
                f"The zones overlap on {overlap:.1f} m2, which would count twice.",
                "Redraw their common boundary.",
            )
    return apart


def _dig_area(
    zones: dict[str, MultiPolygon],
    exclusions: MultiPolygon,
    request: FootprintRequest,
    findings: Findings,
) -> Footprint | None:
    """Take setback and exclusions off the zones."""
    from shapely import union_all

    as_given = _polygons_of(union_all(list(zones.values())))
    allowed = as_given.buffer(-request.setback_m) if request.setback_m else as_given
    allowed = allowed.difference(exclusions)
    taken: list[MultiPolygon] = []
    parts: list[Zone] = []
    for name, shape in zones.items():
        part = shape.intersection(allowed)
        if taken:  # slivers of overlap that were let pass must not count twice
            part = part.difference(union_all(taken))
        polygon = _polygons_of(part)
        taken.append(polygon)
        if polygon.area > 0:
            parts.append(Zone(name, polygon))
        elif len(zones) > 1:
            findings.warn(
                f"{request.written} zone '{name}'",
                "Setback and exclusions leave nothing of this zone.",
                "It was left out.",
            )
    if not parts:
        findings.error(
            request.written,
            f"A setback of {request.setback_m:g} m and the exclusions leave nothing to dig "
            f"of {as_given.area:.0f} m2.",
            "Lower [footprint] setback_m or correct the exclusions.",
        )
        return None
    return Footprint(
        zones=tuple(parts),
        outline=_polygons_of(union_all([zone.polygon for zone in parts])),
        as_given=as_given,
        exclusions=exclusions,
        setback_m=request.setback_m,
    )
