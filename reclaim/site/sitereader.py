"""Reads the parts of one site, each told apart and each with the site file's words for it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from reclaim.site.cores import CoreFiles, no_cores, read_cores
from reclaim.site.coresurface import CoreSurface, base_elevations, cover_thicknesses
from reclaim.site.crosschecks import (
    check_base,
    check_base_below_collars,
    check_collars,
    check_core_surface,
    note_cores_without_base,
)
from reclaim.site.footprint import FootprintRequest, check_on_grid, read_footprint
from reclaim.site.localfiles import LocalFiles, shown
from reclaim.site.logchecks import check_logs
from reclaim.site.model import Cores, Footprint, Grid, Site, Surface
from reclaim.site.problems import Check, Findings, SiteError
from reclaim.site.rasterfile import open_base, open_survey
from reclaim.site.sitefile import SiteFile, read_site_file
from reclaim.site.sitesections import (
    CoresSection,
    FootprintSection,
    PlantSection,
    SiteSection,
    SurfacesSection,
    WasteSection,
)
from reclaim.site.surfaces import ConstantSurface, RasterSurface, sample
from reclaim.site.units import METRES_PER_UNIT

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from reclaim.site.plantfile import LineFile


class SiteReader:
    """Reads one site; every method tells `findings` what is wrong and returns None then."""

    def __init__(self, path: Path, required: tuple[str, ...], findings: Findings) -> None:
        if not path.is_file():
            raise SiteError(
                [Check("error", path.name, "There is no such site file.", "Check the path.")]
            )
        self.findings = findings
        file = read_site_file(path, required, findings)
        if file is None:
            raise SiteError(findings.errors)
        self.file: SiteFile = file
        self.local = LocalFiles(path, findings)
        self.written = _file_keys(file)
        self._keys = {kind: key for kind, (key, _) in _named_files(file).items()}

    @property
    def section_site(self) -> SiteSection:
        """The section ``[site]``, which is there once errors have stopped the reading."""
        section = self.file.section(SiteSection)
        assert section is not None
        return section

    @property
    def _surfaces(self) -> SurfacesSection:
        section = self.file.section(SurfacesSection)
        assert section is not None
        return section

    def shown(self, kind: str) -> str:
        """Return the path of a file as messages show it."""
        return shown(self.written.get(kind, kind))

    def _unit_m(self) -> float:
        return METRES_PER_UNIT[self._vertical_unit()]

    def _vertical_unit(self) -> str:
        surfaces = self.file.section(SurfacesSection)
        return surfaces.vertical_unit if surfaces else "m"

    def require_prices_and_composition(self) -> None:
        """Check what only the full estimate needs."""
        name = self.file.path.name
        site = self.file.section(SiteSection)
        for key, example in (("currency", '"EUR"'), ("price_year", "2025")):
            if site is not None and getattr(site, key) is None:
                self.findings.error(
                    f"{name} [site] {key}",
                    f"The key '{key}' is missing.",
                    f"Add it, for example {key} = {example}.",
                )
        self._require_exchange_rate(site)
        waste, cores = self.file.section(WasteSection), self.file.section(CoresSection)
        if waste is not None and not waste.composition and (cores is None or not cores.samples):
            self.findings.error(
                name,
                "Nothing says what the waste is made of.",
                "Name a sample table under [cores] samples, or give [waste.composition].",
            )

    def _require_exchange_rate(self, site: SiteSection | None) -> None:
        """Refuse to add default money in EUR to money in another currency."""
        stated = self.file.assumptions
        if site is None or site.currency in (None, "EUR") or stated[EXCHANGE_RATE].given:
            return
        in_euros = [
            key for key, item in stated.items() if item.unit.startswith("EUR") and not item.given
        ]
        if in_euros:
            self.findings.error(
                f"{self.file.path.name} [money] currency_per_eur",
                f"The currency is {site.currency}, but {len(in_euros)} money defaults are in EUR, "
                f"{in_euros[0]} among them.",
                f"Give currency_per_eur, the {site.currency} that one EUR buys, or state every "
                "money value of the site.",
            )

    def require_samples(self) -> None:
        """Check what a summary of the cores needs."""
        cores = self.file.section(CoresSection)
        if cores is not None and not cores.samples:
            self.findings.error(
                f"{self.file.path.name} [cores] samples",
                "The key 'samples' is missing.",
                "Name the table of the sorted samples.",
            )

    def find_files(self, kinds: tuple[str, ...] | None = None) -> dict[str, Path]:
        """Return the path of every file named, by kind; missing ones are told."""
        found: dict[str, Path] = {}
        for kind, written in self.written.items():
            if kinds is None or kind in kinds:
                path = self.local.find(written, self._keys[kind])
                if path is not None:
                    found[kind] = path
        return found

    def open_survey(self, files: Mapping[str, Path]) -> tuple[Grid, RasterSurface] | None:
        """Return the common grid and today's ground."""
        return open_survey(
            files["survey"], self.shown("survey"), self._surfaces.crs, self._unit_m(), self.findings
        )

    def open_base(self, files: Mapping[str, Path], grid: Grid) -> Surface | None:
        """Return the base, None where it is to come from the cores or cannot be read."""
        elevation_m = self.file.settings["surfaces.base_elevation_m"].value
        if elevation_m is not None:
            return ConstantSurface(elevation_m, f"flat base at {elevation_m:g} m", grid)
        if "base" in files:
            unit_m = self._unit_m()
            return open_base(files["base"], self.shown("base"), grid, unit_m, self.findings)
        return None

    def read_footprint(
        self, files: Mapping[str, Path], grid: Grid, _survey: Surface
    ) -> Footprint | None:
        """Return the footprint in the grid's CRS, checked to lie on the grid."""
        request = self._footprint_request(files)
        footprint = read_footprint(request, grid.crs_wkt, grid.crs_unit_m, self.findings)
        if footprint is not None:
            check_on_grid(footprint, grid, request.written, self.findings)
        return footprint

    def _footprint_request(self, files: Mapping[str, Path]) -> FootprintRequest:
        section = self.file.section(FootprintSection)
        assert section is not None
        return FootprintRequest(
            path=files["footprint"],
            written=self.shown("footprint"),
            zone_field=section.zone_field,
            setback_m=self.file.number("footprint.setback_m"),
            exclusions=files.get("exclusions"),
            exclusions_written=self.shown("exclusions"),
        )

    def footprint_if_readable(self) -> tuple[Footprint | None, float]:
        """Return the footprint where there is a good one, and the length of a CRS unit [m]."""
        if self.file.section(FootprintSection) is None:
            return None, 1.0
        quiet = Findings()
        local = self.local
        self.local = LocalFiles(self.file.path, quiet)
        files = self.find_files(("footprint", "exclusions", "survey"))
        self.local, found = local, set(files)
        footprint, crs_unit_m = None, 1.0
        if "footprint" in found:
            crs_wkt, crs_unit_m = self._crs_for_cores(files, quiet)
            if crs_wkt:
                request = self._footprint_request(files)
                footprint = read_footprint(request, crs_wkt, crs_unit_m, quiet)
        if footprint is None:
            self.findings.note(
                self.shown("footprint"),
                "The footprint could not be laid under the cores, so they have no zones. "
                + " ".join(check.what for check in quiet.errors),
            )
        return footprint, crs_unit_m

    def _crs_for_cores(self, files: Mapping[str, Path], quiet: Findings) -> tuple[str, float]:
        """Return WKT and unit [m] of the survey's CRS or, without one, the footprint's."""
        import pyogrio
        from pyproj import CRS

        if "survey" in files:
            survey = open_survey(
                files["survey"], self.shown("survey"), self._surfaces.crs, 1.0, quiet
            )
            if survey is not None:
                return survey[0].crs_wkt, survey[0].crs_unit_m
        text = pyogrio.read_info(files["footprint"])["crs"]
        crs = CRS.from_user_input(text) if text else None
        if crs is None or not crs.is_projected:
            return "", 1.0
        return crs.to_wkt(), float(crs.axis_info[0].unit_conversion_factor)

    def read_cores(self, files: Mapping[str, Path]) -> Cores | None:
        """Return the core tables, checked against each other; empty where there are none."""
        if self.file.section(CoresSection) is None:
            return no_cores()
        waste = self.file.section(WasteSection)
        unit = self._vertical_unit()
        core_files = CoreFiles(
            paths={kind: files[kind] for kind in CORE_TABLES if kind in files},
            written={kind: self.shown(kind) for kind in CORE_TABLES},
            vertical_unit=unit,
            material_words=waste.names if waste else {},
        )
        if unit != "m":
            self.findings.note(
                f"{self.file.path.name} [surfaces] vertical_unit",
                f"Elevations and depths of surfaces and core tables were read as {unit}.",
            )
        before = len(self.findings.errors)
        cores = read_cores(core_files, self.findings)
        if cores is not None and len(self.findings.errors) == before:
            check_logs(cores, core_files, self.findings)
        return cores

    def core_surface(
        self, key: str, cores: Cores, grid: Grid, footprint: Footprint
    ) -> CoreSurface | None:
        """Return base or cover through the cores."""
        is_base = key == "base_from_cores"
        values = base_elevations(cores) if is_base else cover_thicknesses(cores)
        x_m, y_m = cores.collars["x_m"].to_numpy(), cores.collars["y_m"].to_numpy()
        known = int((values == values).sum())  # noqa: PLR0124  # NaN is unlike itself
        if known == 0:
            self.findings.error(
                f"{self.file.path.name} [surfaces] {key}",
                "No core reaches natural ground." if is_base else "No core has a log.",
                "Give the base or the cover in another way.",
            )
            return None
        label = f"{'base' if is_base else 'cover'} between {known} core logs"
        surface = CoreSurface.through(x_m, y_m, values, label, grid)
        check_core_surface(surface, footprint, key, self.findings)
        if is_base:
            note_cores_without_base(cores, self.shown("intervals"), self.findings)
        return surface

    def cover(self, cores: Cores, grid: Grid, footprint: Footprint) -> Surface | None:
        """Return the thickness of the cover."""
        if self._surfaces.cover_from_cores:
            return self.core_surface("cover_from_cores", cores, grid, footprint)
        thickness_m = self.file.number("surfaces.cover_m")
        return ConstantSurface(thickness_m, f"cover of {thickness_m:g} m throughout", grid)

    def check_cores_against(self, ground: Surface, base: Surface, cores: Cores, grid: Grid) -> None:
        """Check collars and logs against the surfaces."""
        if cores.collars.empty:
            return
        collars = self.shown("collars")
        tolerance_m = self.file.number("cores.collar_tolerance_m")
        places = cores.collars["x_m"].to_numpy(), cores.collars["y_m"].to_numpy()
        ground_m = sample(ground, grid, *places)
        agree = check_collars(cores, ground_m, tolerance_m, collars, self.findings)
        if agree and not isinstance(base, CoreSurface):
            base_sd_m = self.file.number("surfaces.base_sd_m")
            base_m = sample(base, grid, *places)
            check_base(cores, base_m, base_sd_m, self.shown("intervals"), self.findings)
            check_base_below_collars(cores, base_m, collars, self.findings)

    def site(
        self,
        line: LineFile,
        grid: Grid,
        footprint: Footprint,
        surfaces: tuple[Surface, Surface, Surface],
        cores: Cores,
    ) -> Site:
        """Return everything read as one record."""
        section, number = self.section_site, self.file.number
        assert section.currency is not None
        assert section.price_year is not None
        survey, base, cover = surfaces
        return Site(
            path=self.file.path,
            name=section.name,
            currency=section.currency,
            price_year=section.price_year,
            opened=section.opened,
            closed=section.closed,
            footprint=footprint,
            grid=grid,
            survey=survey,
            base=base,
            cover=cover,
            cover_sampled=isinstance(cover, CoreSurface),
            base_sampled=isinstance(base, CoreSurface),
            lift_m=number("excavation.lift_m"),
            side_slope=number("excavation.side_slope"),
            overdig_m=number("excavation.overdig_m"),
            survey_sd_m=number("surfaces.survey_sd_m"),
            base_sd_m=number("surfaces.base_sd_m"),
            error_range_m=number("surfaces.error_range_m"),
            cores=cores,
            line=line,
            assumptions=self.file.assumptions,
            composition=self.file.composition,
            draws=int(number("uncertainty.draws")),
            seed=int(number("uncertainty.seed")),
            inputs=self.local.inputs,
            checks=self.findings.checks,
            settings=self.file.settings,
            climate=(self.file.section(WasteSection) or WasteSection()).climate,
            fines_sieve_mm=number("waste.fines_sieve_mm"),
        )


EXCHANGE_RATE = "money.currency_per_eur"
CORE_TABLES = ("collars", "intervals", "samples", "lab", "gas")


def _named_files(file: SiteFile) -> dict[str, tuple[str, str]]:
    """Return key and path as written of every file the site file names, by kind."""
    named: dict[str, tuple[str, str | None]] = {}
    surfaces, cores = file.section(SurfacesSection), file.section(CoresSection)
    footprint, plant = file.section(FootprintSection), file.section(PlantSection)
    if footprint is not None:
        named["footprint"] = ("[footprint] file", footprint.file)
        named["exclusions"] = ("[footprint] exclusions", footprint.exclusions)
    if surfaces is not None:
        named["survey"] = ("[surfaces] survey", surfaces.survey)
        named["base"] = ("[surfaces] base", surfaces.base)
    if cores is not None:
        for kind in CORE_TABLES:
            named[kind] = (f"[cores] {kind}", getattr(cores, kind))
    if plant is not None:
        named["plant"] = ("[plant] file", plant.file)
    return {kind: (key, written) for kind, (key, written) in named.items() if written}


def _file_keys(file: SiteFile) -> dict[str, str]:
    return {kind: written for kind, (_, written) in _named_files(file).items()}
