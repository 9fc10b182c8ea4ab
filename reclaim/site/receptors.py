"""The neighbours that work on the dump could harm: points, lines or polygons with names."""

from __future__ import annotations

from typing import TYPE_CHECKING

from reclaim.site.footprint import in_crs
from reclaim.site.hazardinputs import Receptor
from reclaim.site.vectorfile import read_vector

if TYPE_CHECKING:
    from pathlib import Path

    from reclaim.site.problems import Findings


def read_receptors(
    path: Path, written: str, crs_wkt: str, crs_unit_m: float, findings: Findings
) -> tuple[Receptor, ...]:
    """Read a vector layer of receptors into metres of a projected CRS.

    Parameters
    ----------
    path, written
        The file, and its path as written in the site file.
    crs_wkt, crs_unit_m
        The CRS to bring it to, and the length of its unit [m].
    findings
        Takes every problem of the file.
    """
    from shapely import force_2d
    from shapely.affinity import scale

    frame = read_vector(path, written, findings, wanted="receptors, or none at all")
    if frame is None:
        return ()
    located = in_crs(frame, written, crs_wkt, findings)
    if located is None:
        return ()
    if "name" not in located.columns:
        findings.warn(
            written, "The layer has no field 'name'.", "Receptors are numbered; name them."
        )
    receptors = []
    names = located["name"] if "name" in located.columns else [None] * len(located)
    for number, (shape, name) in enumerate(zip(located.geometry, names, strict=True), start=1):
        if shape is None or shape.is_empty:
            findings.warn(f"{written} feature {number}", "The feature is empty.", "It is left out.")
            continue
        known = isinstance(name, str) and name.strip()
        receptors.append(
            Receptor(
                name=name.strip() if known else f"receptor {number}",
                shape=scale(force_2d(shape), crs_unit_m, crs_unit_m, origin=(0, 0)),
            )
        )
    return tuple(receptors)
