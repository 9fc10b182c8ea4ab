"""The files of a portfolio: ranked table in four forms, problems, map, numbers, overview."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

import reclaim
from reclaim.portfolio.outlines import outlines_of
from reclaim.portfolio.run import measure_words
from reclaim.portfolio.store import MARK

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from geopandas import GeoDataFrame

    from reclaim.portfolio.run import Portfolio
    from reclaim.portfolio.store import Store

PROBLEM_COLUMNS = ("site", "level", "where", "what", "what_to_do", "whose")
FIRST_COLUMNS = (
    "rank", "name", "chance_best_n", "measure_mean", "measure_p10", "measure_p90", "rank_p10",
    "rank_p90", "cores_rank", "cores_net",
)  # fmt: skip
"""Columns that stand first in the ranked table; the others follow."""


def write_portfolio(
    portfolio: Portfolio, store: Store, reports: Mapping[str, str], *, excel: bool
) -> list[Path]:
    """Write everything people look at beside the stored results; each file appears whole.

    Parameters
    ----------
    portfolio
        From `run_portfolio`.
    store
        Where to.
    reports
        Address of the report of a site, relative to the overview, by its id.
    excel
        True for the tables as a workbook too; needs its optional package.

    Returns
    -------
    list of pathlib.Path
        The files, in the order a reader should open them.

    Raises
    ------
    SiteError
        Where a file cannot be written.
    """
    from reclaim.portfolio.figure import portfolio_map
    from reclaim.portfolio.overview import overview
    from reclaim.report.figures import rendering
    from reclaim.report.page import as_image
    from reclaim.report.tables import write_table

    folder = store.folder
    made_at = datetime.now(tz=UTC)
    rows = [_ordered(row, reports) for row in portfolio.rows]
    problems = [dict(row) for row in portfolio.problems]
    written = [folder / name for name in ("overview.html", "ranking.csv", "problems.csv", MARK)]
    with store.writing(folder / "problems.csv") as draft:
        write_table(draft, problems, PROBLEM_COLUMNS)
    with store.writing(folder / "ranking.csv") as draft:
        write_table(draft, rows, FIRST_COLUMNS)
    shapes, images = None, {}
    if rows:
        shapes = outlines_of(portfolio.outlines, portfolio.crs)
        frame = _frame(rows, shapes)
        with store.writing(folder / "ranking.gpkg") as draft:
            frame.to_file(draft, layer="sites", driver="GPKG")
        with store.writing(folder / "ranking.parquet") as draft:
            frame.to_parquet(draft)
        figure = portfolio_map(portfolio, shapes)
        png = rendering.packed(rendering.drawn(figure))
        with store.writing(folder / "map.png") as draft:
            draft.write_bytes(png)
        images["map"] = as_image(png, float(figure.get_size_inches()[0]))
        written += [folder / name for name in ("ranking.gpkg", "ranking.parquet", "map.png")]
        if excel:
            with store.writing(folder / "ranking.xlsx") as draft:
                _write_workbook(draft, portfolio, rows, problems, made_at)
            written.append(folder / "ranking.xlsx")
    with store.writing(folder / "overview.html") as draft:
        text = overview(portfolio, images, reports, made_at=made_at)
        draft.write_text(text, encoding="utf-8")
    with store.writing(folder / MARK) as draft:
        text = json.dumps(numbers(portfolio, made_at), indent=2, sort_keys=True, ensure_ascii=False)
        draft.write_text(text + "\n", encoding="utf-8")
    return written


def numbers(portfolio: Portfolio, made_at: datetime) -> dict[str, Any]:
    """Return the run as a document; the sites themselves stand in the ranked table."""
    return {
        "sites": {
            "ranked": len(portfolio.rows),
            "failed": list(portfolio.failed),
            "screened_now": portfolio.done,
            "kept_from_before": portfolio.kept,
        },
        "rank_by": portfolio.ordered.rank_by,
        "rank_by_words": measure_words(portfolio.ordered.rank_by),
        "best_n": portfolio.ranking.n,
        "run": {
            "version": reclaim.__version__,
            "draws": portfolio.plan.draws,
            "seed": portfolio.plan.seed,
            "made_on": made_at.date().isoformat(),
            "screening_seconds": round(portfolio.screening_seconds, 3),
            "worker_seconds": round(portfolio.seconds, 3),
            "site_seconds": round(portfolio.own_seconds, 3),
            "site_seconds_median": round(portfolio.median_seconds, 5),
        },
    }


def _ordered(row: Mapping[str, Any], reports: Mapping[str, str]) -> dict[str, Any]:
    """Return a row with the columns that are read first in front, and the address of its report."""
    rest = {name: cell for name, cell in row.items() if name not in FIRST_COLUMNS}
    first = {name: row[name] for name in FIRST_COLUMNS}
    return {**first, **rest, "report": reports.get(row["site_id"], "")}


def _frame(rows: list[dict[str, Any]], shapes: Any) -> GeoDataFrame:
    import geopandas
    import pandas as pd

    frame = pd.DataFrame(rows)
    for name in ("opened", "closed"):
        frame[name] = frame[name].astype("Int64")
    return geopandas.GeoDataFrame(frame, geometry=shapes.to_numpy(), crs=shapes.crs)


def _write_workbook(
    path: Path,
    portfolio: Portfolio,
    rows: list[dict[str, Any]],
    problems: list[dict[str, str]],
    made_at: datetime,
) -> None:
    from reclaim.report.workbook import write_plain_workbook

    money = portfolio.rows[0]["currency"], portfolio.rows[0]["price_year"]
    lines = (
        (
            f"Made with reclaim {reclaim.__version__} on {made_at.date()}, seed "
            f"{portfolio.plan.seed}, {portfolio.plan.draws} draws. Money in {money[0]}, prices of "
            f"{money[1]}."
        ),
        f"Ranked by: {measure_words(portfolio.ordered.rank_by)}, the highest mean first.",
        f"chance_best_n is the chance to be among the best {portfolio.ranking.n}.",
        "A column with _p10 or _p90 is the range that eight of ten draws fall in.",
        "This is a screening on little data: no site is to be dug on its strength.",
    )
    write_plain_workbook(
        path,
        {"ranking": rows, "problems": problems},
        "Ranked sites",
        money[0],
        lines,
        made_at=made_at,
    )
