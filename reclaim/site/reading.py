"""The whole site: site file, plant, footprint, surfaces and cores, read in that order."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from reclaim.site.cores import scaled, without_rows, zoned
from reclaim.site.crosschecks import (
    check_collar_places,
)
from reclaim.site.plantfile import read_line
from reclaim.site.problems import Check, Findings
from reclaim.site.sitereader import SiteReader

if TYPE_CHECKING:
    from collections.abc import Mapping

    from reclaim.assumptions import Assumption
    from reclaim.site.model import Cores, InputFile, Site


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
    reader = SiteReader(Path(path), ("site", "footprint", "surfaces"), findings)
    reader.require_prices_and_composition()
    files = reader.find_files()
    findings.stop_on_errors()

    line = read_line(files.get("plant"), reader.written.get("plant", ""), findings)
    survey = reader.open_survey(files)
    cores = reader.read_cores(files)
    footprint = reader.read_footprint(files, *survey) if survey else None
    base = reader.open_base(files, survey[0]) if survey else None
    if cores is not None and survey is not None:
        cores = scaled(cores, survey[0].crs_unit_m)
        check_collar_places(cores, survey[0], reader.shown("collars"), findings)
    findings.stop_on_errors()
    assert line is not None
    assert survey is not None
    assert footprint is not None
    assert cores is not None
    grid, ground = survey

    cores = zoned(cores, footprint, reader.shown("collars"), findings)
    base = base or reader.core_surface("base_from_cores", cores, grid, footprint)
    cover = reader.cover(cores, grid, footprint)
    findings.stop_on_errors()
    assert base is not None
    assert cover is not None
    reader.check_cores_against(ground, base, cores, grid)
    return reader.site(line, grid, footprint, (ground, base, cover), without_rows(cores))


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
    files = reader.find_files(("collars", "intervals", "samples", "lab", "gas"))
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
