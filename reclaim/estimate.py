"""The main job: the rooms in order, once for the best estimate and once for the draws.

Comes in: a `Site`. Goes out: an `Estimate`. Imports nothing heavy until it runs.
"""

from __future__ import annotations

from dataclasses import dataclass
from time import perf_counter
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from reclaim.appraisal import Appraisal
    from reclaim.assumptions import Draws
    from reclaim.ground import DugVolumes, Excavation, Section, ThicknessMap
    from reclaim.hazards import Caution
    from reclaim.plant import Products
    from reclaim.site import Check, CoreSite, Site
    from reclaim.waste import CoreComposites, CoreSummary, Feed


@dataclass(frozen=True, slots=True)
class Outcome:
    """One run of the model: the same functions for one central draw or for many draws.

    Attributes
    ----------
    volumes, feed, products, appraisal
        What each room made of it; arrays have a leading axis of ``n_draws``.
    """

    volumes: DugVolumes
    feed: Feed
    products: Products
    appraisal: Appraisal


@dataclass(frozen=True, slots=True)
class Estimate:
    """Everything the main job found out about one site.

    Attributes
    ----------
    site
        The input.
    excavation, thickness_map, sections
        Geometry, without draws.
    core_summary
        The geologist's summary; None where the composition was given in the site file.
    best, draws
        The model at central values (one draw), and over all draws.
    cautions
        The most urgent first.
    not_assessed
        Hazards that could not be assessed, each a sentence naming the missing input.
    checks
        Findings about the inputs and the result, those of the site included.
    seconds
        Wall time by stage [s].
    """

    site: Site
    excavation: Excavation
    thickness_map: ThicknessMap
    sections: tuple[Section, ...]
    core_summary: CoreSummary | None
    best: Outcome
    draws: Outcome
    cautions: tuple[Caution, ...]
    not_assessed: tuple[str, ...]
    checks: tuple[Check, ...]
    seconds: dict[str, float]


def estimate(site: Site, *, progress: Callable[[str], None] | None = None) -> Estimate:
    """Run the main job on one site.

    Parameters
    ----------
    site
        From `reclaim.read_site`.
    progress
        Called with the name of each stage as it begins.

    Returns
    -------
    Estimate

    Raises
    ------
    reclaim.SiteError
        Where the inputs, each readable, make no estimate together: no waste above the base, no
        composition, or a dig that would take centuries.
    """
    from reclaim.assumptions import Draws
    from reclaim.hazards import assess
    from reclaim.waste import core_composites, summarise_cores

    clock = _Clock(progress)
    clock.start("measuring the ground")
    excavation, thickness_map, sections = _measure(site)
    _refuse_empty(site, excavation)
    clock.start("summarising the cores")
    composites = core_composites(site.cores)
    summary = summarise_cores(composites, site.assumptions, site.seed) if len(composites) else None
    clock.start("best estimate")
    best = _run(site, excavation, composites, Draws.best_estimate())
    clock.start("drawing the range")
    draws = _run(site, excavation, composites, Draws(site.draws, site.seed))
    clock.start("cautions")
    cautions, not_assessed = assess(
        site, excavation, summary, best.feed, best.products, _still_rotting(site, best.feed)
    )
    return Estimate(
        site=site,
        excavation=excavation,
        thickness_map=thickness_map,
        sections=sections,
        core_summary=summary,
        best=best,
        draws=draws,
        cautions=cautions,
        not_assessed=not_assessed,
        checks=(*site.checks, *result_checks(site, excavation, composites, best)),
        seconds=clock.stop(),
    )


def measure_site(site: Site) -> Excavation:
    """Measure the dig of a site with the numbers of its own site file."""
    from reclaim.ground import measure

    return measure(
        site.footprint,
        site.grid,
        site.survey,
        site.base,
        site.cover,
        side_slope=site.side_slope,
        overdig_m=site.overdig_m,
        lift_m=site.lift_m,
        survey_sd_m=site.survey_sd_m,
        base_sd_m=site.base_sd_m,
        error_range_m=site.error_range_m,
    )


def check_site(path: Path) -> tuple[Site, Excavation, tuple[Check, ...]]:
    """Read a site and measure its ground, to find what is wrong or suspect in the inputs.

    Raises
    ------
    reclaim.SiteError
        With every error found.
    """
    from reclaim.site import read_site
    from reclaim.waste import core_composites

    site = read_site(path)
    excavation = measure_site(site)
    _refuse_empty(site, excavation)
    found = result_checks(site, excavation, core_composites(site.cores))
    return site, excavation, (*site.checks, *found)


def summarise_site_cores(path: Path) -> tuple[CoreSite, CoreSummary]:
    """Read only the core tables of a site and summarise them.

    Raises
    ------
    reclaim.SiteError
        With every error found, or where no core has a sample in waste.
    """
    from reclaim.site import Check, SiteError, read_core_tables
    from reclaim.waste import core_composites, summarise_cores

    site = read_core_tables(path)
    composites = core_composites(site.cores)
    if not len(composites):
        message = Check(
            "error",
            f"{path.name} [cores]",
            "No core has a sample inside a logged waste interval.",
            "Give samples, and log the waste with the layer word 'waste'.",
        )
        raise SiteError([message])
    return site, summarise_cores(composites, site.assumptions, site.seed)


def _measure(site: Site) -> tuple[Excavation, ThicknessMap, tuple[Section, ...]]:
    from reclaim.ground import default_sections, thickness_map

    excavation = measure_site(site)
    surfaces = (site.footprint, site.grid, site.survey, site.base)
    picture = thickness_map(*surfaces, side_slope=site.side_slope)
    cuts = default_sections(*surfaces, site.cover, picture, side_slope=site.side_slope)
    return excavation, picture, tuple(cuts)


def _run(site: Site, excavation: Excavation, composites: CoreComposites, draws: Draws) -> Outcome:
    """Run the rooms in order: the one model, for one central draw or for many draws."""
    from reclaim.appraisal import appraise
    from reclaim.ground import volume_draws
    from reclaim.plant import run_line
    from reclaim.site import Check, SiteError
    from reclaim.waste import (
        composition_from_cores,
        composition_stated,
        feed_from_volumes,
        properties_of_site,
    )

    volumes = volume_draws(excavation, draws)
    composition = (
        composition_stated(site.composition, excavation.zones, draws)
        if site.composition
        else composition_from_cores(composites, excavation.zones, draws)
    )
    try:
        properties = properties_of_site(
            site.opened, site.closed, site.price_year, site.climate, site.assumptions, draws
        )
        feed = feed_from_volumes(volumes, composition, properties, site.assumptions, draws)
        products = run_line(feed, site.line, site.assumptions, draws)
        appraisal = appraise(
            volumes, feed, products, float(excavation.area_m2.sum()), site.assumptions, draws
        )
    except ValueError as error:
        message = Check("error", site.path.name, str(error), "Correct the number named.")
        raise SiteError([message]) from error
    return Outcome(volumes, feed, products, appraisal)


def _still_rotting(site: Site, feed: Feed) -> float | None:
    """Share of what could rot when tipped that still can, or None where the years are unknown."""
    from reclaim.assumptions import Draws
    from reclaim.waste import decay_rates, site_age, still_rotting_share

    if site.opened is None or site.closed is None:
        return None
    best = Draws.best_estimate()
    rates = decay_rates(site.climate, best, best.of(site.assumptions["waste.decay_rate_factor"]))
    age = site_age(
        site.opened, site.closed, site.price_year, best.of(site.assumptions["waste.age_years"])
    )
    share = float(still_rotting_share(feed.dry_t, feed.properties, age, rates)[0])
    return share if share == share else None  # noqa: PLR0124 - not a number where nothing rots


def _refuse_empty(site: Site, excavation: Excavation) -> None:
    from reclaim.site import Check, SiteError

    if excavation.waste_m3.sum() <= 0:
        raise SiteError(
            [
                Check(
                    "error",
                    f"{site.path.name} [surfaces]",
                    "There is no waste to dig: inside the footprint the survey is never above "
                    "the base by more than the cover, or only under the side slopes.",
                    "Check that survey and base are in the same vertical unit and datum, and "
                    "that cover_m and side_slope fit the site.",
                )
            ]
        )


def result_checks(
    site: Site, excavation: Excavation, composites: CoreComposites, best: Outcome | None = None
) -> tuple[Check, ...]:
    """Return what the measured ground and the result say about the inputs."""
    from reclaim.reference import constant
    from reclaim.site import Findings

    findings = Findings()
    total_m2 = float(excavation.area_m2.sum())
    surfaces = f"{site.path.name} [surfaces]"
    if excavation.unknown_area_m2 > 0:
        findings.warn(
            surfaces,
            f"Survey or base is unknown on {excavation.unknown_area_m2:,.0f} m2 "
            f"({excavation.unknown_area_m2 / total_m2:.1%}) of the footprint; "
            "nothing is counted there.",
            "Fill the holes or take that area out of the footprint.",
        )
    if excavation.inverted_area_m2 > 0:
        findings.warn(
            surfaces,
            f"The base lies above the survey on {excavation.inverted_area_m2:,.0f} m2 "
            f"({excavation.inverted_area_m2 / total_m2:.1%}) of the footprint; "
            "nothing is counted there.",
            "Check that both are in the same vertical unit and datum, and the edge of the base.",
        )
    few = [
        zone
        for zone in excavation.zones
        if not site.composition and composites.zones.count(zone) < constant("fewest_cores")
    ]
    if few:
        findings.warn(
            f"{site.path.name} [cores]",
            f"Too few sampled cores in zone {', '.join(few)}; "
            "the zone takes the composition of all cores.",
            f"Core each zone at least {constant('fewest_cores'):.0f} times.",
        )
    if best is not None and best.appraisal.irr_roots[0] > 1:
        findings.note(
            "appraisal",
            "The cash flow changes sign more than once and has several rates of return; "
            "none is given.",
            "Judge by the net present value.",
        )
    return findings.checks


class _Clock:
    """Wall time by stage, told to a listener as each begins."""

    def __init__(self, progress: Callable[[str], None] | None) -> None:
        self._progress = progress
        self._seconds: dict[str, float] = {}
        self._stage: str | None = None
        self._began = 0.0

    def start(self, stage: str) -> None:
        """End the stage before and begin the next."""
        self.stop()
        self._stage, self._began = stage, perf_counter()
        if self._progress:
            self._progress(stage)

    def stop(self) -> dict[str, float]:
        """End the last stage and return the seconds of all."""
        if self._stage is not None:
            self._seconds[self._stage] = perf_counter() - self._began
            self._stage = None
        return self._seconds
