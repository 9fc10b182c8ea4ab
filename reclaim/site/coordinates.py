"""The coordinate system of a survey: found in its file or stated, and fit for lengths."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pyproj import CRS

    from reclaim.site.model import FloatArray, Grid
    from reclaim.site.problems import Findings


def survey_crs(
    found: CRS | None, crs_text: str | None, written: str, findings: Findings
) -> CRS | None:
    """Return the projected CRS of a survey; None, with an error, where there is none.

    Parameters
    ----------
    found
        The CRS that the survey's file names, or None.
    crs_text
        The CRS the user gave, such as ``EPSG:32633``, or None; it goes before the file's.
    written, findings
        Path of the survey as written, and where to tell.
    """
    stated = _stated_crs(crs_text, findings)
    if crs_text is not None and stated is None:
        return None
    crs = stated or found
    if crs is None:
        findings.error(
            written,
            "The survey does not say which coordinate system it is in.",
            'Give it in the site file: [surfaces] crs = "EPSG:...".',
        )
        return None
    if stated is not None and found is not None and stated != found:
        findings.warn(
            written,
            f"The survey says {found.name}, the site file says {stated.name}.",
            "The site file was followed; take out [surfaces] crs if the survey is right.",
        )
    return crs if _is_usable_crs(crs, written, findings) else None


def in_grid_metres(
    points: FloatArray, crs: CRS | None, unit_m: float | None, grid: Grid
) -> FloatArray:
    """Return east and north in metres of the grid's CRS; elevations stay as they are.

    Parameters
    ----------
    points
        East, north and elevation, shape ``(n, 3)``.
    crs
        Their CRS where it may differ from the grid's, else None.
    unit_m
        Length of their horizontal unit [m]; None for that of their CRS.
    grid
        The common grid.
    """
    import numpy as np
    from pyproj import CRS, Transformer

    common = CRS.from_wkt(grid.crs_wkt)
    if crs is not None and crs.to_2d() != common.to_2d():
        own_unit_m = float(crs.axis_info[0].unit_conversion_factor) if crs.is_projected else 1.0
        scale = 1.0 if unit_m is None else unit_m / own_unit_m
        transformer = Transformer.from_crs(crs.to_2d(), common.to_2d(), always_xy=True)
        east, north = transformer.transform(points[:, 0] * scale, points[:, 1] * scale)
        return np.column_stack([east * grid.crs_unit_m, north * grid.crs_unit_m, points[:, 2]])
    unit_m = grid.crs_unit_m if unit_m is None else unit_m
    return np.column_stack([points[:, 0] * unit_m, points[:, 1] * unit_m, points[:, 2]])


def _stated_crs(text: str | None, findings: Findings) -> CRS | None:
    from pyproj import CRS
    from pyproj.exceptions import CRSError

    if text is None:
        return None
    try:
        return CRS.from_user_input(text)
    except CRSError:
        findings.error(
            "[surfaces] crs",
            f"'{text}' is not a coordinate system that is known.",
            'Use an EPSG code, such as "EPSG:32633".',
        )
        return None


def _is_usable_crs(crs: CRS, written: str, findings: Findings) -> bool:
    if crs.is_geographic:
        findings.error(
            written,
            f"The survey is in degrees ({crs.name}), so areas cannot be taken from it.",
            "Warp it to a projected system in metres, such as the UTM zone of the site.",
        )
        return False
    if not crs.is_projected:
        findings.error(
            written,
            f"The survey's coordinate system ({crs.name}) is not a projected one.",
            'Give the right one in the site file: [surfaces] crs = "EPSG:...".',
        )
        return False
    return True
