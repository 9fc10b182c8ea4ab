"""The main job: the rooms in order, once for the best estimate and once for the draws.

Comes in: a `Site`. Goes out: an `Estimate`. Imports nothing heavy until it runs.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from time import perf_counter
from typing import TYPE_CHECKING

from reclaim.confidence import draw_range, how_sure
from reclaim.dig import Dig, Outcome

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from reclaim.appraisal import Comparison
    from reclaim.assumptions import Draws
    from reclaim.ground import Excavation, GroundStudy, Section, ThicknessMap
    from reclaim.hazards import Caution, HazardAssessment, ModelRun
    from reclaim.site import Check, CoreSite, Site
    from reclaim.uncertainty import Confidence
    from reclaim.waste import CoreComposites, CoreStudy, CoreSummary, Feed, LabFit


@dataclass(frozen=True, slots=True)
class Estimate:
    """Everything the main job found out about one site.

    Attributes
    ----------
    site
        The input.
    excavation, thickness_map, sections
        Geometry, without draws.
    ground
        What is known of the ground beside its volumes: blocks, second opinion, soil balance.
    core_summary
        The geologist's summary; None where the composition was given in the site file.
    best, draws
        The model at central values (one draw), and over all draws. Of more than one chunk of draws
        arrays of several axes are in single precision, money by year is its sum alone, and belts,
        machine loads and most properties of the materials are left out.
    comparison
        Courses of action on one basis, carbon, the outside view, the schedule, the stage gate.
    hazards
        What could hurt someone: cautions, what was not assessed, and the numbers behind them.
    confidence
        How sure the net present value is, what drives it, and what to find out next.
    checks
        Findings about the inputs and the result, those of the site included.
    seconds
        Wall time by stage [s].
    laboratory
        The laboratory's bulk values beside what the materials say; empty where too few cores
        were tested.
    """

    site: Site
    excavation: Excavation
    thickness_map: ThicknessMap
    sections: tuple[Section, ...]
    core_summary: CoreSummary | None
    best: Outcome
    draws: Outcome
    comparison: Comparison
    hazards: HazardAssessment
    confidence: Confidence
    checks: tuple[Check, ...]
    seconds: dict[str, float]
    ground: GroundStudy | None = None
    laboratory: tuple[LabFit, ...] = ()

    @property
    def core_study(self) -> CoreStudy | None:
        """Statistics, pattern in space and next cores; None where there are no samples."""
        return None if self.core_summary is None else self.core_summary.study

    @property
    def cautions(self) -> tuple[Caution, ...]:
        """The cautions, the most urgent first."""
        return self.hazards.cautions

    @property
    def not_assessed(self) -> tuple[str, ...]:
        """Hazards that could not be assessed, each a sentence naming the missing input."""
        return self.hazards.not_assessed


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
    from reclaim.appraisal import appraisal_checks
    from reclaim.assumptions import Draws
    from reclaim.ground import ground_checks
    from reclaim.hazards import assess
    from reclaim.waste import core_composites, laboratory_means, summarise_cores

    clock = _Clock(progress)
    clock.start("measuring the ground")
    excavation, thickness_map, sections = _measure(site)
    _refuse_empty(site, excavation)
    clock.start("summarising the cores")
    composites = core_composites(site.cores)
    if not site.composition:
        _refuse_no_sample(site.path, composites)
    study = _study(site, thickness_map, composites) if len(composites) else None
    summary = (
        replace(summarise_cores(composites, site.assumptions, site.seed), study=study)
        if len(composites)
        else None
    )
    clock.start("best estimate")
    dig = Dig(site, excavation, composites, study, laboratory_means(site.cores, composites))
    best = dig.drawn(Draws.best_estimate())
    _refuse_idle_dryer(site, best.outcome)
    clock.start("drawing the range")
    source, drawn = draw_range(dig, progress)
    clock.start("looking closer at the ground")
    ground = _study_ground(site, best.outcome, drawn.outcome, source)
    clock.start("comparing courses of action")
    comparison = dig.compare(best, drawn, source)
    clock.start("what drives it, and what to find out next")
    confidence = how_sure(dig, source, best, drawn, comparison)
    clock.start("cautions")
    hazards = assess(
        site,
        excavation,
        thickness_map,
        summary,
        _model_run(best.outcome, Draws.best_estimate()),
        _model_run(drawn.outcome, source),
        _still_rotting(site, best.outcome.feed),
    )
    laboratory = dig.laboratory_fits()
    return Estimate(
        site=site,
        excavation=excavation,
        thickness_map=thickness_map,
        sections=sections,
        core_summary=summary,
        best=best.outcome,
        draws=drawn.outcome,
        comparison=comparison,
        hazards=hazards,
        confidence=confidence,
        checks=(
            *site.checks,
            *result_checks(site, excavation, composites, best.outcome, laboratory),
            *ground_checks(site, excavation, ground),
            *appraisal_checks(
                best.outcome.appraisal,
                comparison,
                float(best.outcome.feed.total_wet_t[0]),
                site.assumptions,
            ),
        ),
        seconds=clock.stop(),
        ground=ground,
        laboratory=laboratory,
    )


def dig_of(site: Site) -> Dig:
    """Return the dig of a site as a model, without the rest of a whole estimate.

    Left out are its pictures, the study of its ground, and break-even values.

    Parameters
    ----------
    site
        From `reclaim.read_site`.

    Raises
    ------
    reclaim.SiteError
        Where there is no waste above the base, or no composition.
    """
    from reclaim.ground import side_slope_of, thickness_map
    from reclaim.waste import core_composites, laboratory_means

    excavation = measure_site(site)
    _refuse_empty(site, excavation)
    composites = core_composites(site.cores)
    if not site.composition:
        _refuse_no_sample(site.path, composites)
    study = None
    if len(composites):
        surfaces = (site.footprint, site.grid, site.survey, site.base)
        picture = thickness_map(*surfaces, side_slope=side_slope_of(site))
        study = _study(site, picture, composites)
    laboratory = laboratory_means(site.cores, composites)
    return Dig(site, excavation, composites, study, laboratory, find_breakevens=False)


def measure_site(site: Site) -> Excavation:
    """Measure the dig of a site with the numbers of its own site file."""
    from reclaim.ground import measure, side_slope_of

    return measure(
        site.footprint,
        site.grid,
        site.survey,
        site.base,
        site.cover,
        side_slope=side_slope_of(site),
        overdig_m=site.overdig_m,
        lift_m=site.lift_m,
        lifts_by=site.lifts_by,
        survey_sd_m=site.survey_sd_m,
        base_sd_m=site.base_sd_m,
        base_sd=site.base_kriging_sd,
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
    composites = core_composites(site.cores)
    if not site.composition:
        _refuse_no_sample(path, composites)
    found = result_checks(site, excavation, composites)
    return site, excavation, (*site.checks, *found)


def _study(site: Site, thickness_map: ThicknessMap, composites: CoreComposites) -> CoreStudy:
    from reclaim.waste import dug_blocks, study_cores

    return study_cores(
        site.cores,
        composites,
        seed=site.seed,
        lift_m=site.lift_m,
        years=None if site.opened is None or site.closed is None else (site.opened, site.closed),
        outline=site.footprint.outline,
        blocks=dug_blocks(site.footprint, thickness_map),
        zones=[zone.name for zone in site.footprint.zones],
    )


def summarise_site_cores(path: Path) -> tuple[CoreSite, CoreSummary]:
    """Read only the core tables of a site and summarise them.

    Raises
    ------
    reclaim.SiteError
        With every error found, or where no core has a sample in waste.
    """
    from reclaim.site import Check, read_core_tables
    from reclaim.site.settings import setting_defaults
    from reclaim.waste import bore_notes, core_composites, study_cores, summarise_cores

    site = read_core_tables(path)
    composites = core_composites(site.cores)
    _refuse_no_sample(path, composites)
    lift_m = setting_defaults()["excavation.lift_m"].value
    assert lift_m is not None, "settings.csv states a height of lifts"
    study = study_cores(
        site.cores,
        composites,
        seed=site.seed,
        lift_m=lift_m,
        years=None if site.opened is None or site.closed is None else (site.opened, site.closed),
    )
    where = f"{path.name} [cores] collars"
    notes = [Check("note", where, text, "") for text in bore_notes(composites, site.assumptions)]
    site = replace(site, checks=(*site.checks, *notes))
    return site, replace(summarise_cores(composites, site.assumptions, site.seed), study=study)


def _measure(site: Site) -> tuple[Excavation, ThicknessMap, tuple[Section, ...]]:
    from reclaim.ground import default_sections, side_slope_of, thickness_map

    excavation, slope = measure_site(site), side_slope_of(site)
    surfaces = (site.footprint, site.grid, site.survey, site.base)
    picture = thickness_map(*surfaces, side_slope=slope)
    cuts = default_sections(*surfaces, site.cover, picture, side_slope=slope)
    return excavation, picture, tuple(cuts)


def _study_ground(site: Site, best: Outcome, drawn: Outcome, draws: Draws) -> GroundStudy:
    from reclaim.assumptions import Draws
    from reclaim.ground import study_ground

    return study_ground(site, best.volumes, drawn.volumes, Draws.best_estimate(), draws)


def _model_run(outcome: Outcome, draws: Draws) -> ModelRun:
    from reclaim.hazards import ModelRun

    return ModelRun(outcome.volumes, outcome.feed, outcome.products, draws)


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


def _refuse_no_sample(path: Path, composites: CoreComposites) -> None:
    from reclaim.site import Check, SiteError

    if not len(composites):
        message = Check(
            "error",
            f"{path.name} [cores]",
            "No core has a sample inside a logged waste interval.",
            "Give samples, and log the waste with the layer word 'waste'.",
        )
        raise SiteError([message])


def _refuse_idle_dryer(site: Site, best: Outcome) -> None:
    """Refuse a target moisture that the user stated and that the waste is already below."""
    from reclaim.plant import idle_dryer
    from reclaim.site import Check, SiteError

    target = site.assumptions["plant.target_moisture"]
    wrong = idle_dryer(best.products.drying, target.central)
    if wrong and target.given:
        where = f"{site.path.name} [plant] target_moisture"
        raise SiteError([Check("error", where, wrong, "Lower it, or take a line without a dryer.")])


def result_checks(
    site: Site,
    excavation: Excavation,
    composites: CoreComposites,
    best: Outcome | None = None,
    laboratory: tuple[LabFit, ...] = (),
) -> tuple[Check, ...]:
    """Return what the measured ground and the result say about the inputs."""
    from reclaim.plant import idle_dryer
    from reclaim.reference import constant
    from reclaim.site import Findings
    from reclaim.waste import QUANTITY_WORDS, bore_notes

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
    if not site.composition:
        for note in bore_notes(composites, site.assumptions):
            findings.note(f"{site.path.name} [cores] collars", note)
    for fit in laboratory:
        warned_of = fit.measured.quantity in {"ncv_dry_mj_kg", "ash"}  # traces differ more
        if warned_of and abs(fit.misfit) > constant("ncv_misfit_share"):
            findings.warn(
                f"{site.path.name} [cores] lab",
                f"The laboratory's mean of {QUANTITY_WORDS[fit.measured.quantity]} is "
                f"{fit.measured.mean:.3g}, the materials' reference values give "
                f"{fit.of_materials:.3g}.",
                "Check units and basis, and whether stones and metal were taken out before the "
                "test; [waste] laboratory_weight = 0 keeps the reference values.",
            )
    target = site.assumptions["plant.target_moisture"].central
    if best is not None and (idle := idle_dryer(best.products.drying, target)):
        findings.warn("plant", idle, "Take a line without a dryer, or check the moisture given.")
    if best is not None and best.appraisal.rates_of_return()[1][0] > 1:
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
