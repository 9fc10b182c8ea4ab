"""Triangulated surfaces in LandXML, the open exchange standard of surveyors."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING
from xml.etree.ElementTree import ParseError, iterparse  # see has_doctype
from xml.parsers import expat

import numpy as np

from reclaim.site.ceilings import is_too_large
from reclaim.site.spelling import suggestion
from reclaim.site.units import METRES_PER_UNIT
from reclaim.site.xmlhead import has_doctype

if TYPE_CHECKING:
    from pathlib import Path
    from xml.etree.ElementTree import Element

    from pyproj import CRS

    from reclaim.site.model import FloatArray
    from reclaim.site.problems import Findings

# Values of linearUnit in the schema LandXML-1.2 (elements Metric and Imperial), in metres.
_LINEAR_UNITS_M = {
    "millimeter": 0.001,
    "centimeter": 0.01,
    "meter": 1.0,
    "kilometer": 1000.0,
    "foot": METRES_PER_UNIT["ft"],
    "USSurveyFoot": METRES_PER_UNIT["us-ft"],
    "inch": METRES_PER_UNIT["ft"] / 12,
    "mile": METRES_PER_UNIT["ft"] * 5280,
}


_FARTHEST = 1e11  # no coordinate on Earth is so large, in millimetres


@dataclass(frozen=True, slots=True)
class LandXmlSurface:
    """One surface of a LandXML file.

    Attributes
    ----------
    name
        As in the file.
    corners
        East, north and elevation of the corners of its visible triangles, in the file's unit,
        shape ``(n_triangles, 3, 3)``.
    unit_m
        Length of the file's linear unit [m].
    crs
        Coordinate system that the file names by EPSG code, None where it names none.
    """

    name: str
    corners: FloatArray
    unit_m: float
    crs: CRS | None


def read_landxml(
    path: Path, written: str, wanted: str | None, findings: Findings
) -> LandXmlSurface | None:
    """Read one triangulated surface.

    Parameters
    ----------
    path, written
        The file, and its path as written in the site file.
    wanted
        Name of the surface; None for the only one, or the first one, with a warning.
    findings
        Takes every problem of the file.

    Returns
    -------
    LandXmlSurface or None
        None where the file has no such surface or is damaged.

    Notes
    -----
    LandXML-1.2 schema: points ``P`` are northing, easting, elevation; faces ``F`` name three
    points; faces with ``i="1"`` are invisible. A file with a document type declaration is
    refused, so that no entity is expanded and nothing is fetched.
    """
    if is_too_large("landxml_mb", path, written, findings):
        return None
    try:
        if has_doctype(path):
            findings.error(
                written,
                "The file has a document type declaration, which LandXML does not use.",
                "Save it again from the survey program; entities are not expanded here.",
            )
            return None
        surfaces, unit, crs_code = _parse(path)
    except (ParseError, expat.ExpatError) as error:
        findings.error(written, f"The file is no whole XML: {error}.", "Export it again.")
        return None
    except ValueError as error:
        findings.error(written, f"{error}", "Export the surface again.")
        return None
    name = _chosen(list(surfaces), wanted, written, findings)
    if name is None:
        return None
    if unit not in _LINEAR_UNITS_M:
        findings.error(
            written,
            f"The file does not say in which unit it is ({unit or 'no Units element'}).",
            "Export it with the element Units, metric or imperial.",
        )
        return None
    surface = surfaces[name]
    if not surface.faces:
        findings.error(
            written,
            f"The surface '{name}' has no triangles.",
            "Export it as a triangulated surface (Definition surfType TIN with Pnts and Faces).",
        )
        return None
    unknown = sorted({index for index in surface.faces if index not in surface.points})
    if unknown:
        findings.error(
            written,
            f"Triangles of the surface '{name}' name points that are not there, {unknown[0]} "
            "among them.",
            "Export the surface again.",
        )
        return None
    place = {index: number for number, index in enumerate(surface.points)}
    points = np.array(list(surface.points.values()))[:, [1, 0, 2]]
    faces = np.fromiter((place[index] for index in surface.faces), dtype=np.int64)
    return LandXmlSurface(
        name, points[faces.reshape(-1, 3)], _LINEAR_UNITS_M[unit], _crs_of(crs_code)
    )


class _Surface:
    """Points by id, and the ids of the corners of the faces in one row."""

    def __init__(self) -> None:
        self.points: dict[str, tuple[float, float, float]] = {}
        self.faces: list[str] = []


def _parse(path: Path) -> tuple[dict[str, _Surface], str, str]:
    """Return surfaces by name, the linear unit, and the EPSG code."""
    surfaces: dict[str, _Surface] = {}
    unit = crs_code = ""
    current = _Surface()
    parents: list[Element] = []
    for event, element in iterparse(path, events=("start", "end")):  # noqa: S314  # no DTD
        tag = element.tag.rpartition("}")[2]
        if event == "start":
            parents.append(element)
            if tag == "Surface":
                current = _Surface()
                surfaces[element.get("name") or f"surface {len(surfaces) + 1}"] = current
            elif tag in {"Metric", "Imperial"}:
                unit = element.get("linearUnit", "")
            elif tag == "CoordinateSystem":
                crs_code = element.get("epsgCode", "")
            continue
        parents.pop()
        if tag == "P":
            current.points[element.get("id", "")] = _numbers(element)
        elif tag == "F" and element.get("i") != "1":
            corners = (element.text or "").split()
            if len(corners) != 3:
                raise ValueError(f"A face has {len(corners)} corners instead of three.")
            current.faces += corners
        if tag in {"P", "F"} and parents:
            parents[-1].remove(element)
    return surfaces, unit, crs_code


def _numbers(element: Element) -> tuple[float, float, float]:
    try:
        north, east, height = (float(text) for text in (element.text or "").split())
    except ValueError:
        raise ValueError(
            f"Point '{element.get('id')}' is not northing, easting and elevation: "
            f"'{(element.text or '').strip()}'."
        ) from None
    if not max(abs(north), abs(east), abs(height)) <= _FARTHEST:
        raise ValueError(f"Point '{element.get('id')}' lies off the Earth.")
    return north, east, height


def _chosen(names: list[str], wanted: str | None, written: str, findings: Findings) -> str | None:
    if not names:
        findings.error(
            written, "The file has no surface.", "Export the ground as a LandXML surface."
        )
        return None
    if wanted is not None:
        if wanted in names:
            return wanted
        findings.error(written, f"The file has no surface '{wanted}'.", suggestion(wanted, names))
        return None
    if len(names) > 1:
        findings.warn(
            written,
            f"The file has {len(names)} surfaces ({', '.join(names)}); '{names[0]}' was read.",
            "Name the one wanted with [surfaces] survey_surface or base_surface.",
        )
    return names[0]


def _crs_of(code: str) -> CRS | None:
    from pyproj import CRS
    from pyproj.exceptions import CRSError

    if not code:
        return None
    try:
        return CRS.from_epsg(int(code))
    except (CRSError, ValueError):
        return None
