"""Full reports of the best sites: each a whole estimate, made where the sites are worked out."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import partial
from io import BytesIO
from pathlib import Path
from shutil import rmtree
from tempfile import TemporaryDirectory, mkdtemp
from typing import TYPE_CHECKING
from zipfile import ZIP_STORED, ZipFile

from reclaim.portfolio.drivers import site_seed
from reclaim.portfolio.mosaic import forget_after_run
from reclaim.portfolio.reader import file_digest, read_job
from reclaim.portfolio.sites import SiteJob, file_name
from reclaim.site import SiteError

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from reclaim.portfolio.engine import Engine
    from reclaim.portfolio.screen import ScreenPlan
    from reclaim.portfolio.store import Store

FOLDER = "reports"


@dataclass(frozen=True, slots=True)
class Report:
    """A report as a worker hands it back.

    Attributes
    ----------
    site_id
        Of the site.
    archive
        The results folder as a zip file; empty where it could not be made.
    problem
        Why not, in words.
    """

    site_id: str
    archive: bytes
    problem: str


def write_reports(
    jobs: Sequence[SiteJob],
    store: Store,
    engine: Engine,
    plan: ScreenPlan,
    *,
    progress: Callable[[int, int], None] | None = None,
) -> list[str]:
    """Write the report of each site that has none for its present data.

    Parameters
    ----------
    jobs
        The sites, each with a stored result.
    store, engine, plan
        Of the run.
    progress
        Told how many of how many reports are done.

    Returns
    -------
    list of str
        What went wrong, a sentence for each site.
    """
    missing = [job for job in jobs if not has_report(store, job.site_id)]
    problems = []
    made = engine.run(partial(make_report, plan), missing, len(missing), _lost)
    for number, report in enumerate(made, start=1):
        if report.problem:
            problems.append(report.problem)
        else:
            _unpack(report, store)
        if progress:
            progress(number, len(missing))
    return problems


def addresses(jobs: Sequence[SiteJob], store: Store) -> dict[str, str]:
    """Return the address of every report that is there, relative to the overview, by site."""
    return {
        job.site_id: f"{FOLDER}/{file_name(job.site_id)}/report.html"
        for job in jobs
        if has_report(store, job.site_id)
    }


def has_report(store: Store, site_id: str) -> bool:
    """Tell whether a site has a report made from its present data."""
    mark = _mark(store, site_id)
    return mark.is_file() and mark.read_text(encoding="ascii") == store.key_of(site_id)


def make_report(plan: ScreenPlan, job: SiteJob) -> Report:
    """Estimate a site in full and return its results folder; raises nothing."""
    import reclaim

    try:
        forget_after_run(plan.run_id, file_digest)
        found = read_job(job)
        site = replace(found.site, seed=site_seed(plan.seed, job.site_id))
        with TemporaryDirectory() as folder:
            out = Path(folder) / "report"
            reclaim.write_results(reclaim.estimate(site), out)
            archive = BytesIO()
            with ZipFile(archive, "w", ZIP_STORED) as packed:
                for path in sorted(out.rglob("*")):
                    if path.is_file():
                        packed.write(path, path.relative_to(out).as_posix())
        return Report(job.site_id, archive.getvalue(), "")
    except SiteError as error:
        return Report(job.site_id, b"", f"{job.where}: no report: {error.checks[0].what}")
    except Exception as error:  # noqa: BLE001 - one report must not stop the others
        return Report(job.site_id, b"", f"{job.where}: no report: {type(error).__name__}: {error}")


def _lost(job: SiteJob, why: str) -> Report:
    return Report(job.site_id, b"", f"{job.where}: no report: its workers died: {why}")


def _unpack(report: Report, store: Store) -> None:
    """Put a report in place whole, and then note which data it was made from."""
    home = store.folder / FOLDER
    home.mkdir(exist_ok=True)
    place = home / file_name(report.site_id)
    mark = _mark(store, report.site_id)
    fresh = Path(mkdtemp(prefix=".new-", dir=home))
    fresh.chmod(0o755)
    try:
        with ZipFile(BytesIO(report.archive)) as packed:
            packed.extractall(fresh)
        mark.unlink(missing_ok=True)
        rmtree(place, ignore_errors=True)
        fresh.rename(place)
    except OSError as error:
        rmtree(fresh, ignore_errors=True)
        raise store.refusal(place, error) from error
    except BaseException:
        rmtree(fresh, ignore_errors=True)
        raise
    with store.writing(mark) as draft:
        draft.write_text(store.key_of(report.site_id), encoding="ascii")


def _mark(store: Store, site_id: str) -> Path:
    return store.folder / FOLDER / f"{file_name(site_id)}.key"
