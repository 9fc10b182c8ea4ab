"""Reads one site of a portfolio: what its file or its row says, completed by regional defaults."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from reclaim.portfolio.mosaic import (
    Mosaic,
    UnreadableError,
    read_window,
    shared_base,
    shared_survey,
)
from reclaim.portfolio.regional import (
    Filled,
    fill_in,
    portfolio_default,
    with_own_sources,
    with_rim,
)
from reclaim.portfolio.terrain import ArraySurface, base_from_rim, cropped, whole, window_around
from reclaim.site import Findings, InputFile, SiteError
from reclaim.site.footprint import check_on_grid, footprint_of
from reclaim.site.localfiles import LocalFiles, sha256
from reclaim.site.reading import NEEDED, read_with
from reclaim.site.sitereader import SiteReader
from reclaim.site.tomlfile import read_document

if TYPE_CHECKING:
    from collections.abc import Mapping

    from reclaim.portfolio.sites import SiteJob, Terrain
    from reclaim.site import Footprint, Grid, Site, Surface, Window


@dataclass(frozen=True, slots=True)
class ScreenedSite:
    """A site as it goes into a screening.

    Attributes
    ----------
    site
        Read, checked and completed.
    filled
        What was filled in.
    rim_sd_m
        How far the ground around is off the base drawn from it (1 sd) [m]; None where the base
        was given.
    """

    site: Site
    filled: Filled
    rim_sd_m: float | None


def read_job(job: SiteJob) -> ScreenedSite:
    """Read one site.

    Raises
    ------
    SiteError
        With every error found.
    """
    findings = Findings()
    document = _document(job, findings)
    filled = fill_in(document, job.where, findings)
    findings.stop_on_errors()
    assert filled is not None
    reader: ScreeningReader
    if job.terrain is None:
        reader = ScreeningReader(Path(job.path), findings, document, filled)
    else:
        reader = RowReader(job, findings, document, filled)
    site = with_own_sources(read_with(reader, findings), reader.filled)
    if reader.rim_sd_m is not None:
        # Taken anew, since a hole in the shared base is found only while reading.
        stated, range_m = (
            site.settings[f"surfaces.{key}"].value for key in ("base_sd_m", "error_range_m")
        )
        assert stated is not None
        assert range_m is not None
        sd_m = float(np.hypot(stated, reader.rim_sd_m))
        site = replace(site, base_sd_m=sd_m, error_range_m=range_m)
    return ScreenedSite(site, reader.filled, reader.rim_sd_m)


def check_shared(document: Mapping[str, Any], path: Path, terrain: Terrain) -> Mosaic:
    """Check what all rows share, before any row is read, and return the survey.

    Parameters
    ----------
    document
        Sections of the shared file.
    path
        The file, which messages name.
    terrain
        Shared survey and base.

    Returns
    -------
    Mosaic
        The survey; its checks are those of both rasters.

    Raises
    ------
    SiteError
        With every error found.
    """
    findings = Findings()
    whole_site = _deep_copy(document)
    for section, key in (("site", "name"), ("footprint", "file"), ("surfaces", "survey")):
        part = whole_site.setdefault(section, {})
        if isinstance(part, dict):
            part.setdefault(key, "shared")
    filled = fill_in(whole_site, path.name, findings)
    findings.stop_on_errors()
    assert filled is not None
    reader = ScreeningReader(path, findings, whole_site, filled)
    reader.require_prices_and_composition()
    reader.check_excavation()
    own = ("footprint", "survey", "base")
    reader.find_files(tuple(kind for kind in reader.written if kind not in own))
    findings.stop_on_errors()
    survey = reader.shared_survey(terrain)
    if terrain.base is None:
        return survey
    base = shared_base(terrain.base, survey.grid, reader.unit_m)
    return replace(survey, checks=(*survey.checks, *base.checks))


def _document(job: SiteJob, findings: Findings) -> dict[str, Any]:
    if job.document is not None:
        return _deep_copy(job.document)
    path = Path(job.path)
    if not path.is_file():
        findings.error(job.where, "There is no such site file.", "Check the path.")
    else:
        document = read_document(path, job.where, findings)
        if document is not None:
            return document
    raise SiteError(findings.errors)


def _deep_copy(document: Mapping[str, Any]) -> dict[str, Any]:
    return {
        name: _deep_copy(part) if isinstance(part, dict) else part
        for name, part in document.items()
    }


class ScreeningReader(SiteReader):
    """Reads a site file that may say nothing of the base.

    Attributes
    ----------
    filled
        What was filled in.
    rim_sd_m
        See `ScreenedSite`.
    """

    def __init__(
        self,
        path: Path,
        findings: Findings,
        document: dict[str, Any],
        filled: Filled,
        local: LocalFiles | None = None,
    ) -> None:
        local = local or LocalFiles(path, findings, digest=_digest)
        super().__init__(path, NEEDED, findings, document=document, local=local)
        self.filled = filled
        self.rim_sd_m: float | None = None
        self._survey: Surface | None = None
        self._outline: Footprint | None = None

    @property
    def unit_m(self) -> float:
        """Length of the vertical unit of the surfaces [m]."""
        return self._unit_m()

    def shared_survey(self, terrain: Terrain) -> Mosaic:
        """Return the shared survey, in the coordinate system and the unit that are stated."""
        return shared_survey(terrain.survey, self._surfaces.crs, self.unit_m)

    def find_files(self, kinds: tuple[str, ...] | None = None) -> dict[str, Path]:
        """Return the path of every file named; the ground around the outline is none."""
        kinds = tuple(self.written) if kinds is None else kinds
        if self.filled.base_from_rim:
            kinds = tuple(kind for kind in kinds if kind != "base")
        return super().find_files(kinds)

    def read_footprint(
        self, files: Mapping[str, Path], grid: Grid, survey: Surface
    ) -> Footprint | None:
        """Return the footprint, and remember it for the base."""
        self._survey = survey
        self._outline = super().read_footprint(files, grid, survey)
        return self._outline

    def open_base(self, files: Mapping[str, Path], grid: Grid) -> Surface | None:
        """Return the base given, or the one that the ground around suggests."""
        if not self.filled.base_from_rim:
            return super().open_base(files, grid)
        return self._rim_base(grid)

    def _rim_base(self, grid: Grid) -> Surface | None:
        if self._outline is None or self._survey is None:
            return None
        where = f"{self.file.path.name} [surfaces]"
        found = base_from_rim(
            self._survey,
            grid,
            self._outline.as_given,
            self.filled.depth_below_rim_m,
            where,
            self.findings,
        )
        if found is None:
            return None
        self.rim_sd_m = found.residual_sd_m
        self.findings.note(
            where,
            f"The base is not known; it was {found.surface.label}, "
            f"{self.filled.depth_below_rim_m:g} m below it. That ground is "
            f"{found.residual_sd_m:.2f} m off the surface drawn through it (1 sd).",
        )
        return found.surface


class RowReader(ScreeningReader):
    """Reads one row of a layer over shared terrain."""

    def __init__(
        self, job: SiteJob, findings: Findings, document: dict[str, Any], filled: Filled
    ) -> None:
        assert job.terrain is not None
        shared = Path(job.path)
        local = LocalFiles(shared, findings, digest=_digest)
        super().__init__(Path(job.where), findings, document, filled, local)
        self._job = job
        self._terrain: Terrain = job.terrain
        self._window: Window | None = None

    def find_files(self, _kinds: tuple[str, ...] | None = None) -> dict[str, Path]:
        """Return the path of every file that the shared assumptions name."""
        own = ("footprint", "survey", "base")
        return super().find_files(tuple(kind for kind in self.written if kind not in own))

    def open_survey(self, _files: Mapping[str, Path]) -> tuple[Grid, Surface] | None:
        """Return the terrain around the outline, read once and held in memory."""
        from shapely import from_wkb

        if self._job.shape is None:
            self.findings.error(
                self._job.where,
                "The row has no shape that can be brought to the survey's coordinate system.",
                "Draw the site as a polygon.",
            )
            return None
        mosaic = self.shared_survey(self._terrain)
        grid = mosaic.grid
        number = self.file.number("footprint.setback_m")
        shape = from_wkb(self._job.shape)
        outline = footprint_of(shape, self._job.where, number, grid.crs_unit_m, self.findings)
        if outline is None:
            return None
        window = window_around(grid, outline.as_given, portfolio_default("rim_offset_m"))
        if window.rows == 0 or window.columns == 0:
            self.findings.error(
                self._job.where,
                "The site lies wholly off the survey.",
                "Check the coordinate systems, or extend the survey.",
            )
            return None
        if window.rows * window.columns > portfolio_default("most_cells"):
            self.findings.error(
                self._job.where,
                f"The site has {window.rows * window.columns:,} cells of terrain around it, more "
                "than a screening takes into memory.",
                "Estimate it by itself with reclaim estimate, or use a coarser survey.",
            )
            return None
        values = self._read(mosaic, window, "survey")
        if values is None:
            return None
        own = cropped(grid, window)
        held = ArraySurface(values, f"raster {self.shown('survey')}", own, whole(own))
        if not np.isfinite(values).any():
            self.findings.error(
                self._job.where,
                "The survey has a hole here: nothing is known of the ground.",
                "Fill the mosaic, or take the site out.",
            )
            return None
        self._survey, self._outline, self._window = held, outline, window
        self.local.add(InputFile(self.shown("survey"), held.digest()))
        return own, held

    def read_footprint(
        self, _files: Mapping[str, Path], grid: Grid, _survey: Surface
    ) -> Footprint | None:
        """Return the outline of the row."""
        if self._outline is not None:
            check_on_grid(self._outline, grid, self._job.where, self.findings)
        return self._outline

    def open_base(self, files: Mapping[str, Path], grid: Grid) -> Surface | None:
        """Return the shared base, or where it has a hole the one that the ground suggests."""
        if self._terrain.base is None or self.filled.base_from_rim or "base" not in self.written:
            return super().open_base(files, grid)
        assert self._window is not None
        survey = self.shared_survey(self._terrain)
        mosaic = shared_base(self._terrain.base, survey.grid, self.unit_m)
        values = self._read(mosaic, self._window, "base")
        if values is None:
            return None
        if self._any_inside(values, grid):
            held = ArraySurface(values, mosaic.surface.label, grid, whole(grid))
            self.local.add(InputFile(self.shown("base"), held.digest()))
            return held
        self.findings.warn(
            self._job.where,
            f"The shared base {self.shown('base')} has a hole here.",
            "The base was drawn from the ground around instead; fill the hole.",
        )
        self.filled = with_rim(self.filled, self.file.settings)
        return self._rim_base(grid)

    def _read(self, mosaic: Mosaic, window: Window, called: str) -> Any:
        """Return a window of a shared raster [m]; None, with an error, where it cannot be read."""
        try:
            return read_window(mosaic.surface, window)
        except UnreadableError as error:
            self.findings.error(
                self._job.where,
                f"The {called} cannot be read here: {error}.",
                "Mend the tile or the connection and run again; the other sites are kept.",
            )
            return None

    def _any_inside(self, values: Any, grid: Grid) -> bool:
        """Tell whether a base is known anywhere inside the outline."""
        import shapely

        assert self._outline is not None
        row, column = np.nonzero(np.isfinite(values))
        return bool(
            row.size
            and shapely.intersects_xy(
                self._outline.outline,
                grid.west_m + (column + 0.5) * grid.cell_x_m,
                grid.north_m - (row + 0.5) * grid.cell_y_m,
            ).any()
        )

    def check_surfaces(
        self, grid: Grid, footprint: Footprint, survey: Surface, base: Surface
    ) -> None:
        """Leave out the search for spikes and seams, which costs as much as measuring the site."""


def _digest(path: Path) -> str:
    """Return the SHA-256 of a file, which is read anew only where size or time have changed."""
    found = path.stat()
    return file_digest(str(path), found.st_size, found.st_mtime_ns)


@lru_cache(maxsize=4096)
def file_digest(path: str, _size: int, _changed: int) -> str:
    """Return the SHA-256 of a file, remembered."""
    return sha256(Path(path))


def inputs_of(job: SiteJob) -> tuple[InputFile, ...]:
    """Return the files that a site file names, with their digests, without reading them whole.

    Raises
    ------
    SiteError
        Where the site file or a file it names cannot be used.
    """
    findings = Findings()
    document = _document(job, findings)
    filled = fill_in(document, job.where, findings)
    findings.stop_on_errors()
    assert filled is not None
    reader = ScreeningReader(Path(job.path), findings, document, filled)
    reader.find_files()
    findings.stop_on_errors()
    return reader.local.inputs
