"""Rasters as handed over: does their header allow them to be a survey or a base."""

from __future__ import annotations

import warnings
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from reclaim.site.coordinates import survey_crs
from reclaim.site.model import Grid
from reclaim.site.rasteraccess import is_block_too_large, may_be_opened, opened
from reclaim.site.surfaces import RasterSurface, affine_of

if TYPE_CHECKING:
    from pathlib import Path

    from pyproj import CRS

    from reclaim.site.problems import Findings
    from reclaim.site.reach import Reach

RASTER_FORMS = "GeoTIFF, ASCII grid or another raster of files (not a service or a web map)"
_ALIGNED_CELLS = 1e-6


@dataclass(frozen=True, slots=True)
class _RasterHeader:
    crs: CRS | None
    transform: Any
    rows: int
    columns: int


def open_survey(
    path: Path,
    written: str,
    crs_text: str | None,
    unit_m: float,
    findings: Findings,
    reach: Reach,
) -> tuple[Grid, RasterSurface] | None:
    """Read the header of the survey; its grid becomes the common grid.

    Parameters
    ----------
    path, written
        The raster, and its path as written in the site file.
    crs_text
        The CRS the user gave, such as ``EPSG:32633``, or None.
    unit_m
        Length of its vertical unit [m].
    findings
        Takes every problem of the file.
    reach
        What the raster may name beyond itself.

    Returns
    -------
    tuple or None
        None where the file cannot serve as a survey.
    """
    header = _read_header(path, written, findings, reach)
    if header is None:
        return None
    crs = survey_crs(header.crs, crs_text, written, findings)
    if crs is None:
        return None
    _compare_heights(crs, unit_m, "survey", written, findings)
    crs_unit_m = float(crs.axis_info[0].unit_conversion_factor)
    transform = header.transform
    grid = Grid(
        west_m=transform.c * crs_unit_m,
        north_m=transform.f * crs_unit_m,
        cell_x_m=transform.a * crs_unit_m,
        cell_y_m=-transform.e * crs_unit_m,
        rows=header.rows,
        columns=header.columns,
        crs_wkt=crs.to_wkt(),
        crs_unit_m=crs_unit_m,
    )
    label = f"raster {written}"
    return grid, RasterSurface(path, label, grid, crs.to_wkt(), unit_m, (0, 0), reach.remote)


def open_base(
    path: Path,
    written: str,
    grid: Grid,
    unit_m: float,
    findings: Findings,
    reach: Reach,
    *,
    called: str = "base",
) -> RasterSurface | None:
    """Read the header of a base raster and place it on the grid; None where it cannot serve.

    A raster without a CRS is taken to be in the survey's, with a warning. Messages say what the
    surface is `called`.
    """
    from pyproj import CRS

    header = _read_header(path, written, findings, reach)
    if header is None:
        return None
    survey_crs = CRS.from_wkt(grid.crs_wkt)
    if header.crs is None:
        findings.warn(
            written,
            f"The {called} does not say which coordinate system it is in.",
            f"It was taken to be in the survey's, {survey_crs.name}; write it into the file.",
        )
    crs = header.crs or survey_crs
    _compare_heights(crs, unit_m, called, written, findings)
    offset = _offset(header, grid) if crs == survey_crs else None
    surface = RasterSurface(
        path, f"raster {written}", grid, crs.to_wkt(), unit_m, offset, reach.remote
    )
    if not _meets(header, crs, grid):
        findings.error(
            written,
            f"The {called} lies wholly outside the survey.",
            "Check the coordinate systems of both files.",
        )
        return None
    return surface


def _compare_heights(
    crs: CRS, unit_m: float, called: str, written: str, findings: Findings
) -> None:
    """Warn where a CRS has heights in another unit than the site file states."""
    heights = crs.axis_info[2:]
    if heights and not np.isclose(heights[0].unit_conversion_factor, unit_m, rtol=1e-3):
        findings.warn(
            written,
            f"The {called}'s coordinate system has heights in {heights[0].unit_name}, the "
            "site file says otherwise.",
            "The site file was followed; correct [surfaces] vertical_unit if the file is right.",
        )


def _read_header(
    path: Path, written: str, findings: Findings, reach: Reach
) -> _RasterHeader | None:
    from pyproj import CRS
    from rasterio.errors import NotGeoreferencedWarning, RasterioIOError

    if not may_be_opened(path, written, reach, findings):
        return None
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", NotGeoreferencedWarning)
            with opened(path, remote=reach.remote) as dataset:
                if is_block_too_large(dataset, written, findings):
                    return None
                crs = CRS.from_wkt(dataset.crs.to_wkt()) if dataset.crs else None
                header = _RasterHeader(crs, dataset.transform, dataset.height, dataset.width)
                bands = dataset.count
                unlocated = dataset.transform.is_identity
    except RasterioIOError:
        findings.error(
            written,
            "The file cannot be read as a raster.",
            f"Give a {RASTER_FORMS}.",
        )
        return None
    if bands > 1:
        findings.warn(
            written,
            f"The raster has {bands} bands.",
            "The first was taken as elevation; check that the file is not an image.",
        )
    transform = header.transform
    if unlocated:
        findings.error(
            written,
            "The raster does not say where it lies.",
            "Save it with its georeference (GeoTIFF tags or a world file).",
        )
    elif transform.b or transform.d:
        findings.error(
            written,
            "The raster's grid is rotated.",
            "Warp it to a north-up grid first, for example with gdalwarp.",
        )
    elif transform.e > 0 or transform.a < 0:
        findings.error(
            written,
            "The raster is stored south-up or mirrored.",
            "Warp it to a north-up grid first, for example with gdalwarp.",
        )
    else:
        return header
    return None


def _offset(header: _RasterHeader, grid: Grid) -> tuple[int, int] | None:
    """Return row and column of a raster's first cell where its cells fall on the grid's."""
    own, common = header.transform, affine_of(grid)
    same_size = np.allclose(
        [own.a * header.columns / common.a, own.e * header.rows / common.e],
        [header.columns, header.rows],
        rtol=0,
        atol=_ALIGNED_CELLS,
    )
    row, column = (own.f - common.f) / common.e, (own.c - common.c) / common.a
    whole = max(abs(row - round(row)), abs(column - round(column))) < _ALIGNED_CELLS
    return (round(row), round(column)) if same_size and whole else None


def _meets(header: _RasterHeader, crs: CRS, grid: Grid) -> bool:
    """Tell whether the boxes of a raster and of the grid overlap, in the grid's CRS."""
    from rasterio.warp import transform_bounds

    own, common = header.transform, affine_of(grid)
    box = (own.c, own.f + header.rows * own.e, own.c + header.columns * own.a, own.f)
    west, south, east, north = transform_bounds(crs.to_wkt(), grid.crs_wkt, *box)
    return bool(
        west < common.c + grid.columns * common.a
        and east > common.c
        and south < common.f
        and north > common.f + grid.rows * common.e
    )
