"""Contour lines, breaklines and spot heights from vector files, as points along the lines."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from reclaim.site.spelling import suggestion
from reclaim.site.vectorfile import read_vector

if TYPE_CHECKING:
    from pathlib import Path

    from pyproj import CRS

    from reclaim.site.model import FloatArray
    from reclaim.site.problems import Findings

# How contour files most often call their elevations.
_ELEVATION_FIELDS = ("elevation", "elev", "elevation_m", "z", "height", "level", "contour")
_KINDS = {"Point", "MultiPoint", "LineString", "MultiLineString", "LinearRing"}


@dataclass(frozen=True, slots=True)
class LineFile:
    """Lines and points with elevations.

    Attributes
    ----------
    lines
        East, north and elevation along each line, in the file's own units, each ``(n, 3)``;
        a single point is a line of one.
    crs
        Coordinate system that the file names, None where it names none.
    """

    lines: tuple[FloatArray, ...]
    crs: CRS | None

    def count(self, step: float) -> float:
        """Return how many points `points` would give."""
        return len(self.lines) + sum(
            float(_pieces(line, step).sum()) for line in self.lines if len(line) > 1
        )

    def longest(self) -> float:
        """Return the longest distance of neighbouring vertices, in the file's unit."""
        stretches = [np.hypot(*np.diff(line[:, :2], axis=0).T) for line in self.lines]
        return float(max((each.max() for each in stretches if len(each)), default=0.0))

    def points(self, step: float | None) -> FloatArray:
        """Return the corners of the lines, and points between them at most `step` apart.

        With points no further apart than a cell, Delaunay triangles follow the lines to within
        a cell, so that no constrained triangulation is needed. `step` is in the file's unit.
        """
        if step is None:
            return np.concatenate(self.lines)
        return np.concatenate([_densified(line, step) for line in self.lines])


def _pieces(line: FloatArray, step: float) -> FloatArray:
    """Return how many pieces of at most `step` each stretch of a line is cut into."""
    lengths = np.hypot(*np.diff(line[:, :2], axis=0).T)
    pieces: FloatArray = np.maximum(np.ceil(lengths / step), 1)
    return pieces


def read_lines(
    path: Path, written: str, elevation_field: str | None, findings: Findings
) -> LineFile | None:
    """Read lines and points whose elevation stands in a field or in their third coordinate.

    Parameters
    ----------
    path, written
        The vector file, and its path as written in the site file.
    elevation_field
        Field with the elevation; None to look for one of the usual names, then for a third
        coordinate.
    findings
        Takes every problem of the file.

    Returns
    -------
    LineFile or None
        None where the file cannot be read or has no elevations.
    """
    frame = read_vector(path, written, findings, wanted="lines or points")
    if frame is None:
        return None
    fields = [str(name) for name in frame.columns if name != frame.geometry.name]
    field = _field(fields, elevation_field)
    if elevation_field is not None and field is None:
        findings.error(
            f"{written} field '{elevation_field}'",
            "The file has no such field, but the site file names it as elevation_field.",
            suggestion(elevation_field, fields),
        )
        return None
    has_z = bool(frame.geometry.has_z.any())
    if field is None and not has_z:
        findings.error(
            written,
            "The lines have neither a field with their elevation nor a third coordinate.",
            f"Name the field with [surfaces] elevation_field; there are: {', '.join(fields)}.",
        )
        return None
    use_field = field is not None and (elevation_field is not None or not has_z)
    levels = frame[field] if use_field else [np.nan] * len(frame)
    lines = _with_elevations(frame.geometry, levels, use_field, written, findings)
    if not lines:
        findings.error(
            written,
            "No line or point has an elevation.",
            "Check the field or the third coordinates.",
        )
        return None
    return LineFile(tuple(lines), frame.crs)


def _field(fields: list[str], wanted: str | None) -> str | None:
    if wanted is not None:
        return wanted if wanted in fields else None
    by_name = {name.casefold(): name for name in fields}
    return next((by_name[name] for name in _ELEVATION_FIELDS if name in by_name), None)


def _with_elevations(
    shapes: Any, levels: Any, use_field: bool, written: str, findings: Findings
) -> list[FloatArray]:
    import pandas as pd
    import shapely

    lines: list[FloatArray] = []
    left_out: list[int] = []
    for number, (shape, level) in enumerate(zip(shapes, levels, strict=True), start=1):
        if shape is None or shape.is_empty or shape.geom_type not in _KINDS:
            left_out.append(number)
            continue
        is_one = use_field and isinstance(
            level, str | int | float | np.generic
        )  # GeoJSON can hold a list in a field
        height = pd.to_numeric(level, errors="coerce") if is_one else np.nan
        for part in shapely.get_parts(shape):
            line = shapely.get_coordinates(part, include_z=True)
            if use_field:
                line[:, 2] = height
            if np.isfinite(line).all():
                lines.append(line)
            elif not left_out or left_out[-1] != number:
                left_out.append(number)
    if left_out:
        shown = ", ".join(str(number) for number in left_out[:5])
        findings.warn(
            f"{written} features {shown}" + (" and more" if len(left_out) > 5 else ""),
            f"{len(left_out)} features are no lines or points with an elevation.",
            "They were left out; give them an elevation if they matter.",
        )
    return lines


def _densified(line: FloatArray, step: float) -> FloatArray:
    if len(line) < 2:
        return line
    pieces = _pieces(line, step).astype(np.int64)
    along = np.concatenate([[0.0], np.cumsum(pieces)])
    places = np.arange(int(along[-1]) + 1)
    return np.column_stack([np.interp(places, along, line[:, axis]) for axis in range(3)])
