"""Survey and base in whatever form they come: raster, points, point cloud, lines or triangles."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from reclaim.site import rasterfile
from reclaim.site.ceilings import exceeds
from reclaim.site.coordinates import in_grid_metres, survey_crs
from reclaim.site.landxml import LandXmlSurface, read_landxml
from reclaim.site.lasfile import open_las_points
from reclaim.site.linefile import LineFile, read_lines
from reclaim.site.model import FloatArray, Grid, Surface
from reclaim.site.pointfile import PointSource, joined, open_text_points
from reclaim.site.points import CellPoints, GriddedSurface, surface_through
from reclaim.site.problems import Findings
from reclaim.site.reach import Reach
from reclaim.site.settings import limit, limits
from reclaim.site.tinsurface import TinSurface
from reclaim.site.vectorfile import has_vectors

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator
    from pathlib import Path

    from pyproj import CRS


_TEXT = frozenset({".xyz", ".csv", ".txt", ".pts"})
_CLOUDS = frozenset({".las", ".laz"})
_LINES = frozenset({".shp", ".geojson", ".json", ".dxf", ".gml", ".kml", ".fgb", ".gpkg"})
_XML = frozenset({".xml", ".landxml"})


@dataclass(frozen=True, slots=True)
class SurfaceRequest:
    """What the site file says about one surface: files found, words as written.

    Attributes
    ----------
    path, written
        The file, and its path as written in the site file.
    unit_m
        Length of its vertical unit [m]; LandXML states its own.
    point_class
        Class of a point cloud's points that are ground.
    cell_m
        Cell size stated for a survey that is no raster [m], or None.
    crs_text
        CRS stated for the survey, or None.
    elevation_field
        Field of contour lines with their elevation, or None.
    surface_name
        Surface of a LandXML file, or None.
    tiles
        Further files of the same points, each with its path as written.
    breaklines, breaklines_written
        File with lines that the surface must follow, or None.
    called
        What the surface is, in words that follow "the".
    reach
        What the file may name beyond itself.
    """

    path: Path
    written: str
    unit_m: float
    point_class: int = 2
    cell_m: float | None = None
    crs_text: str | None = None
    elevation_field: str | None = None
    surface_name: str | None = None
    tiles: tuple[tuple[Path, str], ...] = ()
    breaklines: Path | None = None
    breaklines_written: str = ""
    called: str = "base"
    reach: Reach = field(default_factory=lambda: Reach(()))

    @property
    def form(self) -> str:
        """Form of the file, told from its name: raster, text, cloud, lines or landxml."""
        suffix = self.path.suffix.lower()
        if suffix == ".gpkg" and not has_vectors(self.path):
            return "raster"
        forms = {"text": _TEXT, "cloud": _CLOUDS, "lines": _LINES, "landxml": _XML}
        return next((form for form, known in forms.items() if suffix in known), "raster")


def open_survey(request: SurfaceRequest, findings: Findings) -> tuple[Grid, Surface] | None:
    """Return the common grid and today's ground; None where the file cannot serve.

    A raster brings its own grid. For any other form the cells have the size stated, or follow
    the spacing of the points: twice as wide, so that most cells hold points, but no wider than
    ``limits.widest_cell_m`` unless there would be too many.
    """
    if not _breaklines_fit(request, findings) or not _tiles_fit(request, findings):
        return None
    if request.form == "raster":
        return rasterfile.open_survey(
            request.path,
            request.written,
            request.crs_text,
            request.unit_m,
            findings,
            request.reach,
        )
    source = _open(request, findings)
    if source is None:
        return None
    crs = survey_crs(source.crs, request.crs_text, request.written, findings)
    if crs is None:
        return None
    crs_unit_m = float(crs.axis_info[0].unit_conversion_factor)
    own_unit_m = source.unit_m if isinstance(source, LandXmlSurface) else crs_unit_m
    if not np.isclose(own_unit_m, crs_unit_m, rtol=1e-9):
        findings.warn(
            request.written,
            f"The file's unit is {own_unit_m:.7g} m long, that of its coordinate system "
            f"{crs_unit_m:.7g} m.",
            "Coordinates were converted; check that the surface lies where it should.",
        )
    grid = _grid_over(source, request, crs, own_unit_m, findings)
    if grid is None:
        return None
    # The survey's own CRS is the grid's, even where the site file overrules the file.
    surface = _surface(source, request, grid, None, findings)
    return None if surface is None else (grid, surface)


def open_base(request: SurfaceRequest, grid: Grid, findings: Findings) -> Surface | None:
    """Return the base, or another surface, on the survey's grid; None where it cannot serve."""
    from pyproj import CRS

    if not _breaklines_fit(request, findings):
        return None
    if request.form == "raster":
        return rasterfile.open_base(
            request.path,
            request.written,
            grid,
            request.unit_m,
            findings,
            request.reach,
            called=request.called,
        )
    source = _open(request, findings)
    if source is None:
        return None
    if source.crs is None:
        findings.note(
            request.written,
            "The file names no coordinate system; it was taken to be in the survey's, "
            f"{CRS.from_wkt(grid.crs_wkt).name}.",
        )
    return _surface(source, request, grid, source.crs, findings)


def _breaklines_fit(request: SurfaceRequest, findings: Findings) -> bool:
    if request.breaklines is None or request.form in {"text", "cloud", "lines"}:
        return True
    findings.error(
        request.breaklines_written,
        "Breaklines go with points or contour lines only.",
        f"Take them out: '{request.written}' is a surface already.",
    )
    return False


def _tiles_fit(request: SurfaceRequest, findings: Findings) -> bool:
    if not request.tiles or request.form in {"text", "cloud"}:
        return True
    findings.error(
        request.tiles[0][1],
        "Tiles are joined here for points and point clouds only.",
        "Join the files into one first; for rasters gdalbuildvrt and gdal_translate do it.",
    )
    return False


def _open(
    request: SurfaceRequest, findings: Findings
) -> PointSource | LineFile | LandXmlSurface | None:
    if request.form in {"text", "cloud"}:
        files = ((request.path, request.written), *request.tiles)
        return joined([_open_points(request, *file, findings) for file in files], findings)
    if request.form == "lines":
        return read_lines(request.path, request.written, request.elevation_field, findings)
    return read_landxml(request.path, request.written, request.surface_name, findings)


def _open_points(
    request: SurfaceRequest, path: Path, written: str, findings: Findings
) -> PointSource | None:
    if request.form == "text":
        return open_text_points(path, written, findings)
    return open_las_points(path, written, request.point_class, findings)


def _raw(
    source: PointSource | LineFile | LandXmlSurface, step: float | None = None
) -> Iterable[FloatArray]:
    """Return a source's points in pieces, in its own units."""
    if isinstance(source, PointSource):
        return source.chunks()
    if isinstance(source, LineFile):
        return [source.points(step)]
    return [source.corners.reshape(-1, 3)]


def _grid_over(
    source: PointSource | LineFile | LandXmlSurface,
    request: SurfaceRequest,
    crs: CRS,
    own_unit_m: float,
    findings: Findings,
) -> Grid | None:
    """Return a grid over all points of a survey, the first cell centred on its corner."""
    count, lowest, highest = _extent(source, request.unit_m)
    width, height = (highest - lowest) * own_unit_m
    if count < 3 or not min(width, height) > 0:
        findings.error(
            request.written,
            f"{count} points with an elevation make no surface."
            if count < 3
            else "All points lie on one line.",
            "Give at least three points around the site.",
        )
        return None
    cell_m = request.cell_m or _cell_m(width * height, count)
    west, north = lowest[0] * own_unit_m - cell_m / 2, highest[1] * own_unit_m + cell_m / 2
    rows, columns = int(np.ceil(height / cell_m)) + 1, int(np.ceil(width / cell_m)) + 1
    if rows * columns > limit("grid_cells"):
        findings.error(
            request.written,
            f"Cells of {cell_m:g} m over {width:.0f} by {height:.0f} m are {rows * columns:,} "
            "cells, too many.",
            "Give larger cells with [surfaces] cell_m, or look for points far off the site.",
        )
        return None
    if request.cell_m is None:
        findings.note(
            request.written,
            f"The grid has cells of {cell_m:g} m, from the spacing of the points "
            f"({np.sqrt(width * height / count):.2g} m); [surfaces] cell_m sets another size.",
        )
    return Grid(
        west_m=float(west),
        north_m=float(north),
        cell_x_m=cell_m,
        cell_y_m=cell_m,
        rows=rows,
        columns=columns,
        crs_wkt=crs.to_wkt(),
        crs_unit_m=float(crs.axis_info[0].unit_conversion_factor),
    )


def _extent(
    source: PointSource | LineFile | LandXmlSurface, unit_m: float
) -> tuple[int, FloatArray, FloatArray]:
    """Return the number of points with an elevation, and their lowest and highest places."""
    if isinstance(source, PointSource) and source.extent is not None:
        return source.extent
    count, lowest, highest = 0, np.full(2, np.inf), np.full(2, -np.inf)
    for chunk in _raw(source):
        real = chunk[_is_real(chunk, unit_m)]
        if len(real):
            count += len(real)
            lowest = np.minimum(lowest, real[:, :2].min(axis=0))
            highest = np.maximum(highest, real[:, :2].max(axis=0))
    return count, lowest, highest


def _cell_m(area_m2: float, count: int) -> float:
    """Return the cell size that follows the spacing of points, rounded to 1, 2 or 5 [m]."""
    wanted = min(2 * np.sqrt(area_m2 / count), limit("widest_cell_m"))
    wanted = max(wanted, np.sqrt(area_m2 / limit("default_grid_cells")))
    power = 10.0 ** np.floor(np.log10(wanted))
    return float(next(step * power for step in (1, 2, 5, 10) if step * power >= wanted * 0.999))


def _is_real(points: FloatArray, unit_m: float) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    lowest, highest = limits("elevation_m")
    heights = points[:, 2] * unit_m
    whole = np.isfinite(points.sum(axis=1))
    return np.asarray(whole & (heights >= lowest) & (heights <= highest))


def _surface(
    source: PointSource | LineFile | LandXmlSurface,
    request: SurfaceRequest,
    grid: Grid,
    crs: CRS | None,
    findings: Findings,
) -> Surface | None:
    """Return a source's surface in metres on the grid."""
    if isinstance(source, LandXmlSurface):
        return _triangles(source, request, grid, crs, findings)
    form = {"text": "points", "cloud": "point cloud", "lines": "lines"}[request.form]
    points = CellPoints.of(_in_metres(source, request, request.written, grid, crs, findings), grid)
    if request.breaklines is not None:
        lines = read_lines(
            request.breaklines, request.breaklines_written, request.elevation_field, findings
        )
        if lines is None:
            return None
        own = lines.crs if crs is not None else None
        told = request.breaklines_written
        points = points.with_priority(
            CellPoints.of(_in_metres(lines, request, told, grid, own, findings), grid)
        )
    if not _on_grid(points.points_m, grid):
        findings.error(
            request.written,
            "The points lie wholly outside the survey.",
            "Check the coordinate systems of both files.",
        )
        return None
    read = int(points.counts.sum())
    thinned = (
        f"{read:,} points were thinned to {len(points.keys):,}: in each cell of the grid their "
        "mean place and elevation"
    )
    if read > len(points.keys):
        findings.note(request.written, f"{thinned}.")
    try:
        return surface_through(points, f"{form} {request.written}", grid)
    except ValueError as error:
        findings.error(request.written, f"{error}", "Give at least three points around the site.")
        return None


def _in_metres(
    source: PointSource | LineFile,
    request: SurfaceRequest,
    written: str,
    grid: Grid,
    crs: CRS | None,
    findings: Findings,
) -> Iterator[FloatArray]:
    """Yield points in metres of the grid's CRS; lines with points in every cell they cross."""
    unreal = 0
    step = min(grid.cell_x_m, grid.cell_y_m) / grid.crs_unit_m
    problems = Findings()
    if isinstance(source, LineFile) and (crs is None or crs.is_projected):
        exceeds("stretch_m", source.longest() * grid.crs_unit_m, written, problems)
        exceeds("vector_vertices", source.count(step), written, problems)
    problems.stop_on_errors()
    for chunk in _raw(source, step if crs is None or crs.is_projected else None):
        real = _is_real(chunk, request.unit_m)
        unreal += int((~real).sum())
        points = in_grid_metres(chunk[real], crs, None, grid)
        points[:, 2] *= request.unit_m
        yield points
    if unreal:
        findings.warn(
            written,
            f"{unreal:,} points have no real elevation (such as -9999).",
            "They were left out; check what they stand for.",
        )


def _triangles(
    source: LandXmlSurface,
    request: SurfaceRequest,
    grid: Grid,
    crs: CRS | None,
    findings: Findings,
) -> TinSurface | None:
    points = in_grid_metres(source.corners.reshape(-1, 3), crs, source.unit_m, grid)
    points[:, 2] *= source.unit_m
    surface = TinSurface(
        points.reshape(-1, 3, 3), f"triangles '{source.name}' of {request.written}", grid
    )
    if not _on_grid(points, grid):
        findings.error(
            request.written,
            "The triangles lie wholly outside the survey.",
            "Check the coordinate systems of both files.",
        )
        return None
    if not np.isclose(source.unit_m, request.unit_m, rtol=1e-9):
        findings.note(
            request.written,
            f"Its elevations were read in the file's own unit of {source.unit_m:.7g} m.",
        )
    overlap_m2 = surface.overlap_m2()
    if overlap_m2 > 0:
        findings.error(
            request.written,
            f"Triangles lie over each other at different elevations on {overlap_m2:.1f} m2.",
            "Clean the surface in the survey program, or export one surface only.",
        )
        return None
    return surface


def _on_grid(points_m: FloatArray, grid: Grid) -> bool:
    """Tell whether the box around points meets the grid."""
    if len(points_m) == 0:
        return False
    west, south = points_m[:, :2].min(axis=0)
    east, north = points_m[:, :2].max(axis=0)
    return bool(
        west < grid.west_m + grid.columns * grid.cell_x_m
        and east > grid.west_m
        and south < grid.north_m
        and north > grid.north_m - grid.rows * grid.cell_y_m
    )


def interpolated(surface: Surface) -> TinSurface | None:
    """Return the triangles that carry a surface where it has no points of its own, or None."""
    if isinstance(surface, TinSurface):
        return surface
    return surface.gaps if isinstance(surface, GriddedSurface) else None
