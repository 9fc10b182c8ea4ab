"""The whole site: site file, plant, footprint, surfaces and cores, read in that order."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from reclaim.site.basefromcores import base_through_cores
from reclaim.site.cores import scaled, without_rows, zoned
from reclaim.site.crosschecks import (
    check_collar_places,
)
from reclaim.site.problems import Check, Findings
from reclaim.site.sitereader import SiteReader
from reclaim.site.sitesections import CORE_TABLES

if TYPE_CHECKING:
    from collections.abc import Mapping

    from reclaim.assumptions import Assumption
    from reclaim.site.model import Cores, InputFile, Site


NEEDED = ("site", "footprint", "surfaces")
"""Sections that a whole site must have."""


@dataclass(frozen=True, slots=True)
class CoreSite:
    """The cores of a site, read and checked without its surfaces.

    Attributes
    ----------
    name, opened, closed
        From ``[site]``.
    cores
        The tables; zones are empty where no footprint could be laid under them.
    assumptions, draws, seed, inputs, checks
        As in `Site`.
    """

    name: str
    opened: int | None
    closed: int | None
    cores: Cores
    assumptions: Mapping[str, Assumption]
    draws: int
    seed: int
    inputs: tuple[InputFile, ...]
    checks: tuple[Check, ...]


def read_site(path: str | Path) -> Site:
    """Read a site file and everything it names, and check it.

    Parameters
    ----------
    path
        The site file (TOML); paths in it are relative to it.

    Returns
    -------
    Site
        In SI units on the survey's grid, with notes and warnings in `Site.checks`.

    Raises
    ------
    SiteError
        With every error found, each naming file, row or key and what to do.
    """
    findings = Findings()
    return read_with(SiteReader(Path(path), NEEDED, findings), findings)


def read_with(reader: SiteReader, findings: Findings) -> Site:
    """Read everything that a reader knows of, and check it.

    Parameters
    ----------
    reader, findings
        The reader of one site, and the findings that it tells.

    Raises
    ------
    SiteError
        With every error found.
    """
    reader.require_prices_and_composition()
    reader.check_excavation()
    files = reader.find_files()
    findings.stop_on_errors()

    line = reader.read_line(files)
    survey = reader.open_survey(files)
    cores = reader.read_cores(files)
    footprint = reader.read_footprint(files, *survey) if survey else None
    hazards = reader.read_hazards(files, survey[0]) if survey else None
    base = reader.open_base(files, survey[0]) if survey else None
    restoration = reader.open_restoration(files, survey[0]) if survey else None
    if cores is not None and survey is not None:
        cores = scaled(cores, survey[0].crs_unit_m)
        check_collar_places(cores, survey[0], reader.shown("collars"), findings)
    findings.stop_on_errors()
    assert line is not None
    assert survey is not None
    assert footprint is not None
    assert cores is not None
    assert hazards is not None
    grid, ground = survey

    cores = zoned(cores, footprint, reader.shown("collars"), findings)
    request = reader.from_cores(cores, grid, footprint)
    as_given = base or base_through_cores(request, findings)
    cover = reader.cover(request)
    findings.stop_on_errors()
    assert as_given is not None
    assert cover is not None
    reader.check_surfaces(grid, footprint, ground, as_given)
    reader.check_cores_against(ground, as_given, cores, grid)
    base = reader.corrected(as_given, request)
    findings.stop_on_errors()
    assert base is not None
    surfaces = ground, base, cover
    return reader.site(line, grid, footprint, surfaces, without_rows(cores), hazards, restoration)


def read_core_tables(path: str | Path) -> CoreSite:
    """Read only the cores of a site, for a summary before there is a survey.

    Parameters
    ----------
    path
        The site file; only ``[site]`` and ``[cores]`` with samples have to be there.

    Returns
    -------
    CoreSite
        Zones are given where the site file names a footprint that can be read; collars are then
        taken to be in the survey's CRS or, without a survey, in the footprint's.

    Raises
    ------
    SiteError
        With every error found in the site file and the core tables.
    """
    findings = Findings()
    reader = SiteReader(Path(path), ("site", "cores"), findings)
    reader.require_samples()
    files = reader.find_files(CORE_TABLES)
    findings.stop_on_errors()
    cores = reader.read_cores(files)
    findings.stop_on_errors()
    assert cores is not None
    footprint, crs_unit_m = reader.footprint_if_readable()
    cores = zoned(scaled(cores, crs_unit_m), footprint, reader.shown("collars"), findings)
    site = reader.section_site
    return CoreSite(
        name=site.name,
        opened=site.opened,
        closed=site.closed,
        cores=without_rows(cores),
        assumptions=reader.file.assumptions,
        draws=int(reader.file.number("uncertainty.draws")),
        seed=int(reader.file.number("uncertainty.seed")),
        inputs=reader.local.inputs,
        checks=findings.checks,
    )
