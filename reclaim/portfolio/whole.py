"""The whole of a portfolio's run: sites in, ranked files out."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

from reclaim.portfolio.engine import Engine, need_dask, usual_workers
from reclaim.portfolio.files import numbers, write_portfolio
from reclaim.portfolio.mosaic import forget_after_run
from reclaim.portfolio.regional import portfolio_default
from reclaim.portfolio.reports import addresses, write_reports
from reclaim.portfolio.run import Ordered, Portfolio, default_plan, measure_words, run_portfolio
from reclaim.portfolio.sites import SiteJob, Terrain, jobs_from_files, jobs_from_layer
from reclaim.portfolio.store import Store
from reclaim.site import Check, Findings, SiteError

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence
    from pathlib import Path

_SHOWN = 10


@dataclass(frozen=True, slots=True)
class Wanted:
    """What is asked of a run; None takes the default.

    Attributes
    ----------
    rank_by, best_n
        How to order the sites.
    reports
        Number of best sites that get a full report, or ``all``.
    draws, seed
        Draws of each site and seed of the run.
    workers, scheduler
        Where to work; see `Engine`.
    excel
        True for the tables as a workbook too.
    """

    rank_by: str = "npv"
    best_n: int | None = None
    reports: str = "0"
    draws: int | None = None
    seed: int | None = None
    workers: int | None = None
    scheduler: str | None = None
    excel: bool = False

    def refuse_missing(self) -> None:
        """Check that what was asked for can be made, so that a long run does not fail at its end.

        Raises
        ------
        SiteError
            Where an optional package is missing.
        """
        from reclaim.report.workbook import need_writer

        need_dask()
        if self.excel:
            need_writer()


def portfolio_of_files(paths: Sequence[Path]) -> tuple[list[SiteJob], Findings]:
    """Return the sites of site files and folders, and what is suspect about them as a whole.

    Raises
    ------
    SiteError
        Where there is no site file, or a file that is none.
    """
    findings = Findings()
    others = [path for path in paths if not path.is_dir() and path.suffix.lower() != ".toml"]
    if others:
        raise SiteError(
            [
                Check(
                    "error",
                    path.name,
                    "This is no site file (.toml).",
                    "A layer with a row per site needs --survey, the terrain of all rows.",
                )
                for path in others
            ]
        )
    jobs = jobs_from_files(paths, findings)
    if not jobs:
        where = ", ".join(path.name for path in paths)
        raise SiteError([Check("error", where, "There is no site file.", "Check the path.")])
    return jobs, findings


def portfolio_of_layer(
    layer: Path,
    survey: str,
    base: str | None,
    shared: Path | None,
    mapping: Mapping[str, str],
    id_column: str | None,
) -> tuple[list[SiteJob], Findings]:
    """Return the sites of a layer, and what is suspect about it as a whole.

    Raises
    ------
    SiteError
        Where the layer, the terrain, the shared file or the mapping cannot be used at all.
    """
    findings = Findings()
    jobs = jobs_from_layer(
        layer,
        Terrain(survey, base),
        shared=shared,
        mapping=mapping,
        id_column=id_column,
        findings=findings,
    )
    return jobs, findings


def screen_portfolio(
    jobs: Sequence[SiteJob],
    findings: Findings,
    out: Path,
    wanted: Wanted,
    *,
    progress: Callable[[str, int, int], None] | None = None,
) -> tuple[Portfolio, dict[str, Any]]:
    """Screen, rank and write many sites.

    Parameters
    ----------
    jobs, findings
        From `portfolio_of_files` or `portfolio_of_layer`.
    out
        Folder of the results; what is there and still holds is kept.
    wanted
        What is asked for.
    progress
        Told what is being done, and how many of how many are done.

    Returns
    -------
    The portfolio, and its numbers as a document.

    Raises
    ------
    SiteError
        Where the folder, the scheduler or the disk refuses, or another run writes there.
    """
    store = Store(out)
    engine = Engine(wanted.workers or usual_workers(), wanted.scheduler)
    plan = default_plan(wanted.draws, wanted.seed)
    best_n = wanted.best_n or int(portfolio_default("best_n"))
    tell = progress or (lambda _what, _done, _of: None)
    with store.held():
        ranked = run_portfolio(
            jobs,
            store,
            engine,
            plan,
            Ordered(wanted.rank_by, best_n),
            findings=findings,
            progress=lambda done, of: tell("screening", done, of),
        )
        by_id = {job.site_id: job for job in jobs}
        number = len(ranked.rows) if wanted.reports == "all" else int(wanted.reports)
        chosen = [by_id[row["site_id"]] for row in ranked.rows[:number]]
        troubles = write_reports(
            chosen, store, engine, ranked.plan, progress=lambda done, of: tell("reports", done, of)
        )
        forget_after_run("")
        ranked = ranked.with_problems(troubles)
        write_portfolio(ranked, store, addresses(jobs, store), excel=wanted.excel)
    return ranked, numbers(ranked, datetime.now(tz=UTC))


def portfolio_text(portfolio: Portfolio) -> str:
    """Return the ranking for a terminal."""
    from reclaim.report.wording import number, percent, plain

    rows = portfolio.rows
    if not rows:
        return "No site could be ranked."
    n = portfolio.ranking.n
    lines = [
        (
            f"{len(rows)} sites by {measure_words(portfolio.ordered.rank_by).lower()}, "
            f"{portfolio.done} screened now, {portfolio.kept} kept from before."
        ),
        "",
        f"{'rank':>5}  {'mean':>12}  {'best ' + str(n):>8}  {'waste t':>10}  site",
    ]
    lines += [
        f"{row['rank']:>5}  {number(row['measure_mean']):>12}  "
        f"{percent(row['chance_best_n']):>8}  {number(row['waste_t']):>10}  {row['name']}"
        for row in rows[:_SHOWN]
    ]
    if len(rows) > _SHOWN:
        lines.append(f"  ... and {len(rows) - _SHOWN} more")
    return plain("\n".join(lines))
