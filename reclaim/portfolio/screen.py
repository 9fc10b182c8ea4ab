"""Screening of one site: the model of a whole estimate on what little is known."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass, replace
from functools import cache
from hashlib import sha256
from time import perf_counter
from typing import TYPE_CHECKING, Any

import numpy as np

import reclaim
from reclaim.portfolio.drivers import PortfolioDraws, site_seed
from reclaim.portfolio.mosaic import forget_after_run
from reclaim.portfolio.reader import file_digest, inputs_of, read_job
from reclaim.portfolio.store import as_stored
from reclaim.site import Check, SiteError

if TYPE_CHECKING:
    from reclaim.appraisal import Appraisal
    from reclaim.dig import Dig, Drawn
    from reclaim.portfolio.reader import ScreenedSite
    from reclaim.portfolio.sites import SiteJob
    from reclaim.site import Site

FORMAT = 2
"""Of the stored result; another one is worked out anew."""

MEASURES = {
    "npv": "Net present value of mining",
    "npv_per_t": "Net present value of mining per tonne of waste",
    "beside_leaving": "Worth of mining beside leaving the site",
    "best_course": "Worth of the best course beside leaving the site",
    "airspace_m3": "Space won",
}
"""What sites can be ranked by; more is better."""

PLANT = "plant_capital"
"""The line of the cash flow that builds the plant."""

_SHOWN_DIGITS = 9


@dataclass(frozen=True, slots=True)
class ScreenPlan:
    """What is the same for all sites of a run.

    Attributes
    ----------
    draws, seed
        Draws of each site, and the seed of the run.
    run_id
        Tells runs apart, so that rasters are read anew; no result hangs on it.
    """

    draws: int
    seed: int
    run_id: str = ""


@dataclass(frozen=True, slots=True)
class SiteResult:
    """What a worker hands back for one site.

    Attributes
    ----------
    site_id, where
        Of the job.
    key
        Hash of everything the result hangs on; empty where reading failed.
    stored
        What is stored, as JSON; empty where the stored result still holds, and where the site
        failed.
    problems
        Why the site failed; empty otherwise.
    ours
        True where the failure is ours, not the input's.
    own_seconds
        Wall time of reading the site and running the model [s].
    seconds
        Wall time of everything the worker did for the site [s].
    """

    site_id: str
    where: str
    key: str
    stored: str = ""
    problems: tuple[Check, ...] = ()
    ours: bool = False
    own_seconds: float = 0.0
    seconds: float = 0.0

    @property
    def failed(self) -> bool:
        """True where there is no result."""
        return bool(self.problems)


def screen_site(job: SiteJob, plan: ScreenPlan, stored_key: str) -> SiteResult:
    """Screen one site; nothing that goes wrong with it is raised.

    Parameters
    ----------
    job, plan
        The site, and what is the same for all.
    stored_key
        Key of the result that is there already; empty without one.
    """
    began = perf_counter()
    try:
        found = _screened(job, plan, stored_key)
    except SiteError as error:
        problems = tuple(replace(check, where=_named(check.where, job)) for check in error.checks)
        found = SiteResult(job.site_id, job.where, "", problems=problems)
    except Exception as error:  # noqa: BLE001 - one site must not stop the others
        what = f"The program failed on this site: {type(error).__name__}: {error}"
        check = Check("error", job.where, what, "Please report it; the other sites are complete.")
        found = SiteResult(job.site_id, job.where, "", problems=(check,), ours=True)
    return replace(found, seconds=perf_counter() - began)


def _named(where: str, job: SiteJob) -> str:
    """Return the place of a problem so that it names the site."""
    short = job.where.rsplit("/", 1)[-1]
    return where.replace(short, job.where, 1) if short in where else f"{job.where}: {where}"


def _screened(job: SiteJob, plan: ScreenPlan, stored_key: str) -> SiteResult:
    forget_after_run(plan.run_id, file_digest)
    key = ""
    if job.terrain is None:
        inputs = inputs_of(job)
        key = _key(job, plan, [asdict(file) for file in inputs])
        if key == stored_key:
            return SiteResult(job.site_id, job.where, key)
    began = perf_counter()
    found = read_job(job)
    read = perf_counter()
    if job.terrain is not None:
        key = _key(job, plan, [asdict(file) for file in found.site.inputs])
        if key == stored_key:
            return SiteResult(job.site_id, job.where, key)
    keyed = perf_counter()
    row, draws, checks = _run(found, job, plan)
    own = read - began + perf_counter() - keyed
    document = {
        "format": FORMAT,
        "key": key,
        "site_id": job.site_id,
        "where": job.where,
        "row": row,
        "outline": found.site.footprint.as_given.wkb_hex,
        "crs": found.site.grid.crs_wkt,
        "crs_unit_m": found.site.grid.crs_unit_m,
        "checks": checks,
        "draws": draws,
    }
    return SiteResult(job.site_id, job.where, key, as_stored(document), own_seconds=own)


@cache
def _reference_digest() -> str:
    """Return the SHA-256 of all reference data, on which every result hangs."""
    from reclaim.reference import data_path

    found = sha256()
    for path in sorted(data_path("sources.csv").parent.rglob("*")):
        if path.suffix in {".csv", ".toml"}:
            found.update(path.name.encode() + path.read_bytes())
    return found.hexdigest()


def _key(job: SiteJob, plan: ScreenPlan, inputs: list[dict[str, str]]) -> str:
    """Return the hash of everything that the result of a site hangs on.

    That is the content of every file, of the row and its shape, and of the terrain in its window
    (not the mosaic's name or time, so that a change elsewhere touches no other site), the reference
    data, this version, and the plan.
    """
    parts = [
        FORMAT,
        reclaim.__version__,
        _reference_digest(),
        plan.draws,
        plan.seed,
        job.site_id,
        job.document,
        None if job.shape is None else job.shape.hex(),
        inputs,
    ]
    return sha256(json.dumps(parts, sort_keys=True, ensure_ascii=True).encode()).hexdigest()


def _run(
    found: ScreenedSite, job: SiteJob, plan: ScreenPlan
) -> tuple[dict[str, Any], dict[str, list[float | None]], list[dict[str, str]]]:
    """Run the model on a site; return its row of the table, its draws and its checks."""
    from reclaim.assumptions import Draws
    from reclaim.estimate import dig_of, result_checks

    site = replace(found.site, draws=plan.draws, seed=site_seed(plan.seed, job.site_id))
    dig = dig_of(site)
    best = dig.drawn(Draws.best_estimate())
    source = PortfolioDraws(
        plan.draws,
        site.seed,
        correlations=site.draw_plan.correlations,
        common_seed=plan.seed,
    )
    drawn = dig.drawn(source)
    found_courses = dig.course_draws(best, drawn, source)
    courses = {course.name: course.npv_beside_leaving for course in found_courses}
    outcome = drawn.outcome
    waste_t = outcome.feed.total_wet_t
    npv = outcome.appraisal.npv
    arrays = {
        "npv": npv,
        "npv_per_t": np.divide(npv, waste_t, out=np.zeros_like(npv), where=waste_t > 0),
        "beside_leaving": courses.get("mine", npv),
        "best_course": np.max([np.zeros_like(npv), *courses.values()], axis=0)
        if courses
        else np.maximum(npv, 0),
        "airspace_m3": outcome.appraisal.airspace.reclaimed_m3,
    }
    checks = [
        *site.checks,
        *result_checks(site, dig.excavation, dig.composites, best.outcome),
    ]
    row = _row(found, site, dig, best, drawn, job)
    row |= _best_course(found_courses)
    row |= _worth_of_cores(found, site, source, drawn, found_courses)
    row["warnings"] = sum(check.level == "warning" for check in checks)
    stored = {name: [_short(value) for value in values] for name, values in arrays.items()}
    return row, stored, [asdict(check) for check in checks]


def _row(
    found: ScreenedSite, site: Site, dig: Dig, best: Drawn, drawn: Drawn, job: SiteJob
) -> dict[str, Any]:
    from reclaim.uncertainty import band, chance_above

    filled, outline = found.filled, site.footprint.as_given
    one, many = best.outcome, drawn.outcome

    def spread(name: str, value: Any, draws: Any) -> dict[str, float | None]:
        found_band = band(value, draws, "")
        return {
            name: _short(found_band.value),
            f"{name}_p10": _short(found_band.low),
            f"{name}_p90": _short(found_band.high),
        }

    def fuel(outcome: Any) -> Any:
        products = outcome.products
        has = "fuel" in products.names
        return products.wet_t("fuel") if has else np.zeros(outcome.appraisal.npv.size)

    area_m2 = float(dig.excavation.area_m2.sum())
    return {
        "name": site.name,
        "opened": site.opened,
        "closed": site.closed,
        "area_m2": _short(area_m2),
        "outline_m2": _short(outline.area),
        "mean_depth_m": _short(float(one.volumes.waste_m3[0]) / area_m2),
        **spread("waste_m3", one.volumes.waste_m3, many.volumes.waste_m3),
        **spread("waste_t", one.feed.total_wet_t, many.feed.total_wet_t),
        **spread("fuel_t", fuel(one), fuel(many)),
        **spread(
            "airspace_m3",
            one.appraisal.airspace.reclaimed_m3,
            many.appraisal.airspace.reclaimed_m3,
        ),
        **spread("npv", one.appraisal.npv, many.appraisal.npv),
        "npv_mean": _short(many.appraisal.npv.mean()),
        "chance_npv_positive": chance_above(many.appraisal.npv, 0.0),
        "works_years": _short(one.appraisal.time.duration_years[0]),
        "plant_capital": _short(_plant_capital(one.appraisal)),
        "currency": site.currency,
        "price_year": site.price_year,
        "base_from": _base_words(found),
        "base_sd_m": _short(site.base_sd_m),
        "composition_from": f"default: {filled.region}, {filled.era}"
        if filled.era
        else ("cores" if len(dig.composites) else "stated"),
        "cores": len(site.cores.collars),
        "site_file": job.where,
    }


def _plant_capital(appraisal: Appraisal) -> float:
    """Return what building the plant costs, best estimate [currency]."""
    return -sum(float(item.flow[0].sum()) for item in appraisal.items if item.name == PLANT)


def _base_words(found: ScreenedSite) -> str:
    if found.rim_sd_m is not None:
        return "the ground around"
    return "cores" if found.site.base_sampled else "given"


def _best_course(courses: Any) -> dict[str, Any]:
    """Return the course with the highest mean, leaving the site among them."""
    from reclaim.uncertainty import best_on_mean

    if not courses:
        return {"best_course": "Leave it"}
    worth = {course.label: course.npv_beside_leaving for course in courses}
    if all(course.name != "leave" for course in courses):
        worth = {"Leave it": np.zeros_like(next(iter(worth.values()))), **worth}
    return {"best_course": best_on_mean(worth)}


def _worth_of_cores(
    found: ScreenedSite, site: Site, source: PortfolioDraws, drawn: Drawn, courses: Any
) -> dict[str, Any]:
    """Return what a first campaign of cores would be worth before choosing a course, and its cost.

    Cores tell of composition, moisture and density; where the base is only drawn from the ground
    around, those that go through the waste tell of it too: its error is then one shift of the
    whole base, seen by each core with the scatter of a rough base.
    """
    from reclaim.assumptions import Draws
    from reclaim.site.settings import setting_defaults
    from reclaim.uncertainty import KnownNow, plans
    from reclaim.uncertainty.ranks import normal_scores
    from reclaim.uncertainty.worth_of_knowing import Learning

    central = Draws.best_estimate()
    money = ("money.currency_per_eur", "money.price_index")
    now = KnownNow(
        cores=len(site.cores.collars),
        density_cores=0,
        survey_sd_m=site.survey_sd_m,
        base_sd_m=site.base_sd_m,
        money_per_eur=float(np.prod([central.of(site.assumptions[key])[0] for key in money])),
    )
    plan = next((item for item in plans(site.assumptions, now) if item.key == "cores"), None)
    if plan is None or not courses:
        return {"cores_worth": 0.0, "cores_cost": 0.0, "cores_net": 0.0, "cores_change": 0.0}
    known = dict.fromkeys(plan.informs, plan.known)
    if found.rim_sd_m is not None:
        scatter_m = setting_defaults()["surfaces.base_sd_m"].value
        assert scatter_m is not None
        number = site.assumptions["investigations.cores"].central
        share = site.base_sd_m**2 / (site.base_sd_m**2 + scatter_m**2 / number)
        known |= {"ground.correlated": share}
    feed = drawn.outcome.feed
    shares = {f"drawn share {m}": feed.wet_fraction[:, i] for i, m in enumerate(feed.materials)}
    values = {**shares, "drawn moisture": feed.moisture, "drawn density": feed.bulk_density_t_m3}
    scores = {name: normal_scores(found) for name, found in values.items() if np.ptp(found) > 0}
    if "ground.correlated" in known:
        scores["ground.correlated"] = source.normal("ground.correlated")
    worth = Learning(
        np.stack([course.npv_beside_leaving for course in courses], axis=1), scores
    ).sample(known)
    return {
        "cores_worth": _short(worth.value),
        "cores_cost": _short(plan.cost),
        "cores_net": _short(worth.value - plan.cost),
        "cores_change": _short(worth.changes_choice),
    }


def _short(value: Any) -> float | None:
    """Return a number in as many digits as anybody reads, so that stored results stay small."""
    number = float(value)
    return float(f"{number:.{_SHOWN_DIGITS}g}") if np.isfinite(number) else None
