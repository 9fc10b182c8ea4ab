"""The main job over many sites: what is missing or changed is screened, then all are ranked."""

from __future__ import annotations

from array import array
from collections import Counter
from dataclasses import dataclass, replace
from functools import partial
from time import perf_counter
from typing import TYPE_CHECKING, Any
from uuid import uuid4

import numpy as np

from reclaim.portfolio.rank import Ranking, rank_sites
from reclaim.portfolio.regional import portfolio_default
from reclaim.portfolio.screen import MEASURES, ScreenPlan, SiteResult, screen_site
from reclaim.site import Check, Findings

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping, Sequence

    from numpy.typing import NDArray

    from reclaim.portfolio.engine import Engine
    from reclaim.portfolio.sites import SiteJob
    from reclaim.portfolio.store import Store


@dataclass(frozen=True, slots=True)
class Ordered:
    """How the sites are to be ordered.

    Attributes
    ----------
    rank_by
        A name of `MEASURES`.
    best_n
        Sites that count as the best.
    """

    rank_by: str = "npv"
    best_n: int = 10


@dataclass(frozen=True, slots=True)
class Portfolio:
    """Everything a run found out about many sites.

    Attributes
    ----------
    rows
        One row for each site that could be ranked, the best first.
    outlines, crs
        Outline of each row as well-known binary in hexadecimal, and its coordinate system (WKT)
        with the length of its unit [m].
    ranking
        In the order of `rows`.
    ordered, plan
        How they were ordered and drawn.
    problems
        What is wrong or suspect, each with the site it belongs to.
    failed
        Sites that could not be ranked, by what messages call them.
    done, kept
        Sites screened in this run, and those whose stored result still held.
    screening_seconds
        From the first site handed out, or the start of workers for it, to the last one back [s].
    seconds, own_seconds, median_seconds
        Wall time of the workers [s], the part that the sites screened now need by themselves, and
        that of the median site.
    """

    rows: tuple[dict[str, Any], ...]
    outlines: tuple[str, ...]
    crs: tuple[tuple[str, float], ...]
    ranking: Ranking
    ordered: Ordered
    plan: ScreenPlan
    problems: tuple[Mapping[str, str], ...]
    failed: tuple[str, ...]
    done: int
    kept: int
    screening_seconds: float
    seconds: float
    own_seconds: float
    median_seconds: float

    def with_problems(self, sentences: Sequence[str]) -> Portfolio:
        """Return the portfolio with more warnings, each a sentence."""
        checks = [Check("warning", "reports", sentence, "Run again.") for sentence in sentences]
        return replace(self, problems=(*self.problems, *(_problem(c, "") for c in checks)))


def run_portfolio(
    jobs: Sequence[SiteJob],
    store: Store,
    engine: Engine,
    plan: ScreenPlan,
    ordered: Ordered,
    *,
    findings: Findings,
    progress: Callable[[int, int], None] | None = None,
) -> Portfolio:
    """Screen and rank sites.

    Parameters
    ----------
    jobs
        The sites.
    store
        Where results are kept; those that still hold are not worked out again.
    engine, plan, ordered
        Where to work, how to draw, how to order.
    findings
        What was found about the sites as a whole, for the list of problems.
    progress
        Told how many of how many sites are done.

    Raises
    ------
    SiteError
        Where nothing can be ranked, the scheduler cannot be used, or a result cannot be written.
    """
    plan = replace(plan, run_id=uuid4().hex)
    where = {job.site_id: job for job in jobs}
    store.forget_others(where)
    problems = [_problem(check, "") for check in findings.checks]
    began = perf_counter()
    failed, own, kept, seconds = [], array("d"), 0, 0.0
    tasks: Iterator[tuple[SiteJob, str]] = ((job, store.key_of(job.site_id)) for job in jobs)
    results = engine.run(partial(_task, plan), tasks, len(jobs), _lost)
    for number, found in enumerate(results, start=1):
        seconds += found.seconds
        if found.failed:
            failed.append(found)
            store.forget(found.site_id)
        elif not found.stored:
            kept += 1
        else:
            own.append(found.own_seconds)
            store.write(found.site_id, found.stored)
        if progress:
            progress(number, len(jobs))
    screening_seconds = perf_counter() - began
    order = {site_id: place for place, site_id in enumerate(where)}
    failed.sort(key=lambda found: order[found.site_id])
    for found in failed:
        name = where[found.site_id].name or found.where
        problems.extend(_problem(check, name, ours=found.ours) for check in found.problems)
    stored = list(_stored(jobs, store, ordered.rank_by, problems))
    unlike = () if ordered.rank_by == "airspace_m3" else _unlike_money(stored, problems)
    sites, ranking = _in_order([one for one in stored if one not in unlike], ordered)
    _tell_names([one.row for one in sites], problems)
    problems.extend(_about_plants([one.row for one in sites], ordered.rank_by))
    rows = tuple(one.row for one in sites)
    outlines, crs = tuple(one.outline for one in sites), tuple(one.crs for one in sites)
    problems.extend(_about_outlines(rows, outlines, crs))
    return Portfolio(
        rows,
        outlines,
        crs,
        ranking,
        ordered,
        plan,
        tuple(problems),
        (*(found.where for found in failed), *(one.row["site_file"] for one in unlike)),
        len(own),
        kept,
        screening_seconds,
        seconds,
        sum(own),
        float(np.median(own)) if own else 0.0,
    )


def _task(plan: ScreenPlan, task: tuple[SiteJob, str]) -> SiteResult:
    return screen_site(task[0], plan, task[1])


def _lost(task: tuple[SiteJob, str], why: str) -> SiteResult:
    job = task[0]
    check = Check(
        "error",
        job.where,
        f"The workers died on this site each time: {why}",
        "Give the workers more memory, or look at the size of the site; run again to go on.",
    )
    return SiteResult(job.site_id, job.where, "", problems=(check,), ours=True)


def _problem(check: Check, name: str, *, ours: bool = False) -> dict[str, str]:
    return {
        "site": name,
        "level": check.level,
        "where": check.where,
        "what": check.what,
        "what_to_do": check.what_to_do,
        "whose": "the program's" if ours else "the input's",
    }


@dataclass(frozen=True, slots=True, eq=False)
class _Found:
    """One stored result, as ranking needs it."""

    row: dict[str, Any]
    outline: str
    crs: tuple[str, float]
    draws: NDArray[np.float64]


def _stored(
    jobs: Sequence[SiteJob], store: Store, rank_by: str, problems: list[dict[str, str]]
) -> Iterator[_Found]:
    """Yield every stored result, after telling what is suspect about it."""
    for job in jobs:
        found = store.read(job.site_id)
        if found is None:
            continue
        problems.extend(
            _problem(Check(**check), found["row"]["name"])
            for check in found["checks"]
            if check["level"] != "note"
        )
        yield _Found(
            {"site_id": job.site_id, **found["row"]},
            found["outline"],
            (found["crs"], float(found["crs_unit_m"])),
            np.array(found["draws"][rank_by], dtype=np.float64),
        )


def _in_order(found: Sequence[_Found], ordered: Ordered) -> tuple[list[_Found], Ranking]:
    """Return the sites with their rows completed, the best first, and their ranking."""
    draws = np.stack([one.draws for one in found]) if found else np.zeros((0, 1))
    ranking = rank_sites(draws, ordered.best_n)
    order = np.argsort(ranking.rank, kind="stable")
    ranking = ranking.at(order)
    sites = [found[place] for place in order]
    # Where cores are worth the same, first where the place among the best is least settled.
    net = np.array([one.row["cores_net"] or 0.0 for one in sites])
    settled = np.abs(ranking.chance_best_n - 0.5)
    cores_rank = 1 + np.argsort(np.lexsort((settled, -net)))
    for place, one in enumerate(sites):
        one.row.update(
            rank=int(ranking.rank[place]),
            rank_by=ordered.rank_by,
            measure_mean=float(ranking.mean[place]),
            measure_p10=float(ranking.p10[place]),
            measure_p90=float(ranking.p90[place]),
            chance_best_n=float(ranking.chance_best_n[place]),
            rank_p10=float(ranking.rank_p10[place]),
            rank_p90=float(ranking.rank_p90[place]),
            cores_rank=int(cores_rank[place]),
        )
    return sites, ranking


def _about_outlines(
    rows: Sequence[Mapping[str, Any]],
    outlines: Sequence[str],
    crs: Sequence[tuple[str, float]],
) -> Iterator[dict[str, str]]:
    """Yield what is to be told of sites that overlap, or lie in another coordinate system."""
    from pyproj import CRS

    from reclaim.portfolio.outlines import outlines_of, overlaps

    if not rows:
        return
    counts = Counter(crs)
    (most, _), *_ = counts.most_common(1)
    for row, own in zip(rows, crs, strict=True):
        if own != most:
            check = Check(
                "note",
                row["site_file"],
                f"Its coordinate system is {CRS.from_wkt(own[0]).name}, that of most sites "
                f"{CRS.from_wkt(most[0]).name}.",
                "Each was measured in its own; the map and the vector files are in degrees.",
            )
            yield _problem(check, row["name"])
    names, places = [row["name"] for row in rows], [row["site_file"] for row in rows]
    for place, check in overlaps(outlines_of(outlines, crs), names, places):
        yield _problem(check, names[place])


def _unlike_money(found: Sequence[_Found], problems: list[dict[str, str]]) -> list[_Found]:
    """Return the sites whose money is not that of most, after telling of each."""
    counts = Counter((one.row["currency"], one.row["price_year"]) for one in found)
    if len(counts) < 2:
        return []
    (most, _), *_ = counts.most_common(1)
    unlike = [one for one in found if (one.row["currency"], one.row["price_year"]) != most]
    for one in unlike:
        check = Check(
            "error",
            one.row["site_file"],
            f"Its money is {one.row['currency']} of {one.row['price_year']}, that of most sites "
            f"{most[0]} of {most[1]}; it was not ranked.",
            "State all sites in one currency and price year, or rank by airspace_m3.",
        )
        problems.append(_problem(check, one.row["name"]))
    return unlike


def _tell_names(rows: Sequence[Mapping[str, Any]], problems: list[dict[str, str]]) -> None:
    """Warn of names that several sites have."""
    counts = Counter(row["name"] for row in rows)
    for row in rows:
        if counts[row["name"]] > 1:
            check = Check(
                "warning",
                row["site_file"],
                f"{counts[row['name']]} sites are called '{row['name']}'.",
                "They are told apart by site_id; give each a name of its own.",
            )
            problems.append(_problem(check, row["name"]))


def _about_plants(rows: Sequence[Mapping[str, Any]], rank_by: str) -> Iterator[dict[str, str]]:
    """Yield a warning where at most sites a plant is built for a few months."""
    short = [
        row
        for row in rows
        if row["plant_capital"] > 0 and row["works_years"] < portfolio_default("short_works_years")
    ]
    if rank_by != "airspace_m3" and 2 * len(short) > len(rows):
        middle = float(np.median([row["plant_capital"] for row in short]))
        check = Check(
            "warning",
            "[plant]",
            f"At {len(short)} of {len(rows)} sites the plant would run for less than a year, and "
            f"each site bears all of its capital, {middle:,.0f} {short[0]['currency']} at the "
            "middle one.",
            "For machines that go from site to site, state their plant.line, plant.capacity_t_y "
            "and money.capital_per_annual_t, or money.plant_cost_per_h where they are hired.",
        )
        yield _problem(check, "")


def measure_words(rank_by: str) -> str:
    """Return what sites are ranked by, in words."""
    return MEASURES[rank_by]


def default_plan(draws: int | None, seed: int | None) -> ScreenPlan:
    """Return the plan with the defaults of ``portfolio.csv`` where nothing is asked for."""
    return ScreenPlan(
        int(portfolio_default("draws")) if draws is None else draws,
        int(portfolio_default("seed")) if seed is None else seed,
    )
