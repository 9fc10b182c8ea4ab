"""Reads the parts of one site, each told apart and each with the site file's words for it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from reclaim.site.basefromcores import (
    CoreSurfaceRequest,
    core_residuals,
    corrected_to_cores,
    cover_through_cores,
    kriging_sd,
)
from reclaim.site.cores import CoreFiles, no_cores, read_cores
from reclaim.site.coresurface import CoreSurface
from reclaim.site.crosschecks import (
    check_base,
    check_base_below_collars,
    check_collars,
    check_cover,
)
from reclaim.site.drawplan import DrawPlan
from reclaim.site.footprint import FootprintRequest, check_on_grid, read_footprint
from reclaim.site.hazardfiles import read_local_limits, read_local_words
from reclaim.site.hazardinputs import HazardInputs
from reclaim.site.krigedsurface import KrigedSurface
from reclaim.site.localfiles import LocalFiles, shown
from reclaim.site.logchecks import check_logs
from reclaim.site.model import Cores, Footprint, Grid, Site, Surface
from reclaim.site.plantfile import read_line, shipped_lines
from reclaim.site.price_level import at_price_level, check_price_year
from reclaim.site.problems import Check, Findings, SiteError
from reclaim.site.receptors import read_receptors
from reclaim.site.samplingmethod import check_methods
from reclaim.site.sitefile import SiteFile, read_site_file
from reclaim.site.sitesections import (
    CORE_TABLES,
    CoresSection,
    ExcavationSection,
    FootprintSection,
    HazardsSection,
    MoneySection,
    OptionsSection,
    PlantSection,
    ScheduleSection,
    SiteSection,
    SurfacesSection,
    UncertaintySection,
    WasteSection,
)
from reclaim.site.spelling import suggestion
from reclaim.site.surfacechecks import check_surface
from reclaim.site.surfacefile import SurfaceRequest, open_base, open_survey
from reclaim.site.surfaces import ConstantSurface, sample
from reclaim.site.tablewords import TableWords, plain
from reclaim.site.units import METRES_PER_UNIT
from reclaim.site.vectorfile import read_vector

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from reclaim.site.plantfile import LineFile


class SiteReader:
    """Reads one site; every method tells `findings` what is wrong and returns None then.

    Parameters
    ----------
    path, required, findings
        The site file, the sections it must have, and where problems are told.
    document
        What the site file says, where that does not come from the file itself.
    local
        Finds the files named, where they do not lie beside the site file.
    """

    def __init__(
        self,
        path: Path,
        required: tuple[str, ...],
        findings: Findings,
        *,
        document: dict[str, Any] | None = None,
        local: LocalFiles | None = None,
    ) -> None:
        if document is None and not path.is_file():
            raise SiteError(
                [Check("error", path.name, "There is no such site file.", "Check the path.")]
            )
        self.findings = findings
        file = read_site_file(path, required, findings, document)
        if file is None:
            raise SiteError(findings.errors)
        self.file: SiteFile = file
        self.local = local or LocalFiles(path, findings)
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
        from_ags = kind in CORE_TABLES and kind not in self.written and "ags" in self.written
        own = "ags" if from_ags else kind
        return shown(self.written.get(own, own))

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
        if site is not None and site.price_year is not None:
            check_price_year(self.file.assumptions, site.price_year, name, self.findings)
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

    def read_line(self, files: dict[str, Path]) -> LineFile | None:
        """Read the line: the user's file, a shipped line by its name, or the default line."""
        section = self.file.section(PlantSection)
        name = section.line if section is not None else None
        where = f"{self.file.path.name} [plant] line"
        if name is None:
            return read_line(files.get("plant"), self.written.get("plant", ""), self.findings)
        if "plant" in files:
            self.findings.error(
                where, "Both 'line' and 'file' are given.", "Keep the one that counts."
            )
        elif name not in shipped_lines():
            self.findings.error(
                where, f"There is no line '{name}'.", suggestion(name, shipped_lines())
            )
        else:
            return read_line(shipped_lines()[name], f"line {name}", self.findings)
        return None

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

    def _surface_request(self, kind: str, files: Mapping[str, Path]) -> SurfaceRequest:
        """Return what the site file says of the survey, the base or the restored ground."""
        surfaces = self._surfaces
        is_survey = kind == "survey"
        return SurfaceRequest(
            path=files[kind],
            written=self.shown(kind),
            unit_m=self._unit_m(),
            point_class=int(self.file.number("surfaces.point_class")),
            cell_m=self.file.settings["surfaces.cell_m"].value,
            crs_text=surfaces.crs,
            elevation_field=surfaces.elevation_field,
            surface_name=surfaces.survey_surface if is_survey else surfaces.base_surface,
            tiles=tuple(
                (path, self.shown(name))
                for name, path in files.items()
                if is_survey and name.startswith("survey_tile_")
            ),
            breaklines=files.get(f"{kind}_breaklines"),
            breaklines_written=self.shown(f"{kind}_breaklines"),
            called="target of the restoration" if kind == "restoration" else kind,
            reach=self.local.reach,
        )

    def open_survey(self, files: Mapping[str, Path]) -> tuple[Grid, Surface] | None:
        """Return the common grid and today's ground."""
        return open_survey(self._surface_request("survey", files), self.findings)

    def open_base(self, files: Mapping[str, Path], grid: Grid) -> Surface | None:
        """Return the base, None where it is to come from the cores or cannot be read."""
        elevation_m = self.file.settings["surfaces.base_elevation_m"].value
        if elevation_m is not None:
            return ConstantSurface(elevation_m, f"flat base at {elevation_m:g} m", grid)
        if "base" in files:
            return open_base(self._surface_request("base", files), grid, self.findings)
        return None

    def open_restoration(self, files: Mapping[str, Path], grid: Grid) -> Surface | None:
        """Return the ground after restoration, None where no file gives it."""
        if "restoration" not in files:
            return None
        return open_base(self._surface_request("restoration", files), grid, self.findings)

    def check_excavation(self) -> None:
        """Check that the numbers of the dig's shape go together."""
        name, settings = self.file.path.name, self.file.settings
        for key, needs in (
            ("bench_width_m", "bench_height_m"),
            ("bench_height_m", "bench_width_m"),
            ("upper_slope", "upper_slope_depth_m"),
            ("upper_slope_depth_m", "upper_slope"),
        ):
            if settings[f"excavation.{key}"].value and not settings[f"excavation.{needs}"].value:
                self.findings.error(
                    f"{name} [excavation] {key}",
                    f"The key '{needs}' is missing or 0; it belongs to '{key}'.",
                    "Give both, or neither.",
                )
        dig = self.file.section(ExcavationSection) or ExcavationSection()
        if dig.restoration and dig.restoration_elevation_m is not None:
            self.findings.error(
                f"{name} [excavation] restoration_elevation_m",
                "The ground after restoration is given twice, as a file and as an elevation.",
                "Give one of them.",
            )

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
        if "survey" in files:
            survey = open_survey(self._surface_request("survey", files), quiet)
            if survey is not None:
                return survey[0].crs_wkt, survey[0].crs_unit_m
        frame = read_vector(files["footprint"], self.shown("footprint"), quiet)
        crs = None if frame is None else frame.crs
        if crs is None or not crs.is_projected:
            return "", 1.0
        return crs.to_wkt(), float(crs.axis_info[0].unit_conversion_factor)

    def _table_words(self) -> TableWords:
        cores = self.file.section(CoresSection) or CoresSection()
        return TableWords(
            columns={plain(header): column for header, column in cores.columns.items()},
            units=cores.units,
            layers={word.casefold(): layer for word, layer in cores.layers.items()},
            sheets=cores.sheets,
        )

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
            words=self._table_words(),
        )
        if unit != "m":
            self.findings.note(
                f"{self.file.path.name} [surfaces] vertical_unit",
                f"Elevations and depths of surfaces and core tables were read as {unit}.",
            )
        cores = read_cores(core_files, self.findings)
        if cores is not None:
            check_logs(cores, core_files, self.findings)
            check_methods(cores, core_files.name("collars"), self.findings)
        return cores

    def from_cores(self, cores: Cores, grid: Grid, footprint: Footprint) -> CoreSurfaceRequest:
        """Return what building a surface from the cores needs."""
        return CoreSurfaceRequest(
            cores=cores,
            grid=grid,
            footprint=footprint,
            sd_m=self.file.number("surfaces.base_sd_m"),
            range_m=self.file.number("surfaces.error_range_m"),
            intervals_written=self.shown("intervals"),
            site_written=f"{self.file.path.name} [surfaces]",
        )

    def corrected(self, base: Surface, request: CoreSurfaceRequest) -> Surface | None:
        """Return the base, moved to meet the cores where the site file asks for it."""
        if not self._surfaces.base_correct_to_cores:
            return base
        return corrected_to_cores(base, request, self.findings)

    def check_surfaces(
        self, grid: Grid, footprint: Footprint, survey: Surface, base: Surface
    ) -> None:
        """Check survey and base under the footprint."""
        check_surface(survey, grid, footprint, self.shown("survey"), self.findings)
        if "base" in self.written:
            check_surface(base, grid, footprint, self.shown("base"), self.findings)

    def cover(self, request: CoreSurfaceRequest) -> Surface | None:
        """Return the thickness of the cover."""
        if self._surfaces.cover_from_cores:
            return cover_through_cores(request, self.findings)
        thickness_m = self.file.number("surfaces.cover_m")
        if len(request.cores.collars):
            used_m = np.full(len(request.cores.collars), thickness_m)
            check_cover(request.cores, used_m, f"{request.site_written} cover_m", self.findings)
        label = f"cover of {thickness_m:g} m throughout"
        return ConstantSurface(thickness_m, label, request.grid)

    def check_cores_against(self, ground: Surface, base: Surface, cores: Cores, grid: Grid) -> None:
        """Check collars and logs against the surfaces."""
        if cores.collars.empty:
            return
        collars = self.shown("collars")
        tolerance_m = self.file.number("cores.collar_tolerance_m")
        places = cores.collars["x_m"].to_numpy(), cores.collars["y_m"].to_numpy()
        ground_m = sample(ground, grid, *places)
        agree = check_collars(cores, ground_m, tolerance_m, collars, self.findings)
        if agree and not isinstance(base, CoreSurface | KrigedSurface):
            base_sd_m = self.file.number("surfaces.base_sd_m")
            base_m = sample(base, grid, *places)
            check_base(cores, base_m, base_sd_m, self.shown("intervals"), self.findings)
            check_base_below_collars(cores, base_m, collars, self.findings)

    def read_hazards(self, files: Mapping[str, Path], grid: Grid) -> HazardInputs:
        """Return what the user adds to the hazards: limits, words and receptors."""
        section = self.file.section(HazardsSection) or HazardsSection()
        findings = self.findings
        return HazardInputs(
            profile=section.profile,
            limits=read_local_limits(files["local_limits"], self.shown("local_limits"), findings)
            if "local_limits" in files
            else (),
            words=read_local_words(files["words"], self.shown("words"), findings)
            if "words" in files
            else (),
            receptors=read_receptors(
                files["receptors"],
                self.shown("receptors"),
                grid.crs_wkt,
                grid.crs_unit_m,
                findings,
            )
            if "receptors" in files
            else (),
            receptors_given="receptors" in files,
        )

    def site(
        self,
        line: LineFile,
        grid: Grid,
        footprint: Footprint,
        surfaces: tuple[Surface, Surface, Surface],
        cores: Cores,
        hazards: HazardInputs,
        restoration: Surface | None,
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
            base_sampled=isinstance(base, CoreSurface | KrigedSurface),
            base_kriging_sd=kriging_sd(base),
            core_residuals=core_residuals(cores, base, cover, grid),
            lift_m=number("excavation.lift_m"),
            side_slope=number("excavation.side_slope"),
            overdig_m=number("excavation.overdig_m"),
            lifts_by=(self.file.section(ExcavationSection) or ExcavationSection()).lifts_by,
            restoration=restoration,
            survey_sd_m=number("surfaces.survey_sd_m"),
            base_sd_m=number("surfaces.base_sd_m"),
            error_range_m=number("surfaces.error_range_m"),
            cores=cores,
            line=line,
            assumptions=at_price_level(self.file.assumptions, section.price_year),
            composition=self.file.composition,
            draws=int(number("uncertainty.draws")),
            seed=int(number("uncertainty.seed")),
            inputs=self.local.inputs,
            checks=self.findings.checks,
            settings=self.file.settings,
            climate=(self.file.section(WasteSection) or WasteSection()).climate,
            courses=tuple((self.file.section(OptionsSection) or OptionsSection()).courses),
            closed_months=tuple(
                (self.file.section(ScheduleSection) or ScheduleSection()).closed_months
            ),
            discount_convention=(
                self.file.section(MoneySection) or MoneySection()
            ).discount_convention,
            fines_sieve_mm=number("waste.fines_sieve_mm"),
            hazards=hazards,
            files={kind: self.shown(kind) for kind in self.written},
            draw_plan=self._draw_plan(),
            scenarios=self.file.scenarios,
        )

    def _draw_plan(self) -> DrawPlan:
        asked = self.file.section(UncertaintySection) or UncertaintySection()
        return DrawPlan(
            sampling=asked.sampling,
            precision=self.file.settings["uncertainty.precision"].value,
            workers=int(self.file.number("uncertainty.workers")),
            drivers=asked.drivers,
            index_draws=int(self.file.number("uncertainty.index_draws")),
            correlations=self.file.correlations,
        )


EXCHANGE_RATE = "money.currency_per_eur"


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
        for number, tile in enumerate(surfaces.survey_tiles, start=1):
            named[f"survey_tile_{number}"] = (f"[surfaces] survey_tiles {number}", tile)
        for kind in ("base", "survey_breaklines", "base_breaklines"):
            named[kind] = (f"[surfaces] {kind}", getattr(surfaces, kind))
    dig = file.section(ExcavationSection)
    if dig is not None:
        named["restoration"] = ("[excavation] restoration", dig.restoration)
    if cores is not None:
        for kind in CORE_TABLES:
            named[kind] = (f"[cores] {kind}", getattr(cores, kind))
    hazards = file.section(HazardsSection)
    if hazards is not None:
        for kind in ("local_limits", "words", "receptors"):
            named[kind] = (f"[hazards] {kind}", getattr(hazards, kind))
    if plant is not None:
        named["plant"] = ("[plant] file", plant.file)
    return {kind: (key, written) for kind, (key, written) in named.items() if written}


def _file_keys(file: SiteFile) -> dict[str, str]:
    return {kind: written for kind, (_, written) in _named_files(file).items()}
