"""The overview of a portfolio as one HTML file that needs nothing else."""

from __future__ import annotations

from base64 import b64encode
from hashlib import sha256
from re import sub
from typing import TYPE_CHECKING, Any

import reclaim
from reclaim.portfolio.run import measure_words
from reclaim.report.page import templates
from reclaim.report.sections.blocks import Picture, Table
from reclaim.report.wording import counted, likelihood, listed, money_unit, number, percent

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import datetime

    from reclaim.portfolio.run import Portfolio
    from reclaim.report.page import Image

DEFERENCE = (
    "A screening looks for no hazard of a single site, and a site without a caution here is not "
    "thereby safe. Estimate a site by itself and read its cautions before anybody digs, cores or "
    "samples there: gas, asbestos and unstable ground are to be expected in every old dump. Local "
    "codes and licensed practice decide; where they ask for more, they hold."
)
_MOST_ROWS = 200
_MOST_CORES = 20
_MOST_PROBLEMS = 100
_NAMED = 5


def overview(
    portfolio: Portfolio,
    images: Mapping[str, Image],
    reports: Mapping[str, str],
    *,
    made_at: datetime,
    paper: str = "A4",
) -> str:
    """Return the overview as HTML.

    Parameters
    ----------
    portfolio
        From `run_portfolio`.
    images
        The map by the name ``map``; empty where nothing could be ranked.
    reports
        Address of each site's report, relative to the overview, by its id.
    made_at
        When it was made.
    paper
        ``A4`` or ``letter``, for printing.
    """
    from markupsafe import Markup

    page = templates()
    script = page.get_template("report.js").render()
    digest = b64encode(sha256(script.encode()).digest()).decode("ascii")
    rows, ordered = portfolio.rows, portfolio.ordered
    unit = rows[0]["currency"] if rows else ""
    return page.get_template("portfolio.html").render(
        paper=paper,
        script=Markup(script),  # noqa: S704 - our own file
        script_hash=f"sha256-{digest}",
        layer_names=(),
        title=f"{counted(len(rows), 'site')} ranked",
        facts=_facts(portfolio, made_at),
        answer=_answer(portfolio),
        cards=_cards(portfolio, unit),
        deference=DEFERENCE,
        measure=measure_words(ordered.rank_by),
        n=portfolio.ranking.n,
        images=images,
        picture=Picture(
            "map",
            f"Map of {counted(len(rows), 'site')}; the names of the best stand beside them, and "
            "the table below lists them all.",
            "Every site is a disc; its area grows with the tonnes of waste, its colour with the "
            f"chance to be among the best {portfolio.ranking.n}. The first ten have their rank "
            "and name beside them.",
        )
        if images
        else None,
        ranking=_ranking_table(portfolio, reports, unit) if rows else None,
        more=max(0, len(rows) - _MOST_ROWS),
        cores=_cores_table(portfolio, unit) if rows else None,
        cores_finding=_cores_finding(portfolio),
        guessed=_guessed(portfolio),
        problems=_problem_table(portfolio),
        problem_finding=_problem_finding(portfolio),
        made=(
            f"reclaim {reclaim.__version__}, {made_at.date().isoformat()}, seed "
            f"{portfolio.plan.seed}, {portfolio.plan.draws} draws of each site."
        ),
    )


def _facts(portfolio: Portfolio, made_at: datetime) -> list[tuple[str, str]]:
    rows = portfolio.rows
    money = f"{rows[0]['currency']}, {rows[0]['price_year']} prices" if rows else "none"
    return [
        ("Sites ranked", number(len(rows)) if len(rows) > 999 else str(len(rows))),
        ("Left out", str(len(portfolio.failed))),
        ("Ranked by", measure_words(portfolio.ordered.rank_by)),
        ("Money", money),
        ("Draws", str(portfolio.plan.draws)),
        ("Made on", made_at.date().isoformat()),
    ]


def _answer(portfolio: Portfolio) -> str:
    rows = portfolio.rows
    if not rows:
        return "No site could be ranked; the problems below say why."
    sure = [row for row in rows if row["chance_best_n"] >= 0.9]
    likely = sum(row["chance_npv_positive"] > 0.5 for row in rows)
    first = rows[0]
    if len(rows) == portfolio.ranking.n:
        place = f"All {len(rows)} are among the best {portfolio.ranking.n}."
    elif sure:
        names = listed([row["name"] for row in sure[:_NAMED]])
        others = f" and {len(sure) - _NAMED} more" if len(sure) > _NAMED else ""
        place = (
            f"Very likely among the best {portfolio.ranking.n} "
            f"{'is' if len(sure) == 1 else 'are'} {names}{others}."
        )
    else:
        place = f"No site is very likely among the best {portfolio.ranking.n}: the data are thin."
    pays = (
        "no site is more likely than not to pay for its mining by itself"
        if likely == 0
        else f"{counted(likely, 'site')} {'is' if likely == 1 else 'are'} more likely than not to "
        "pay for the mining"
    )
    return f"{first['name']} comes first of {counted(len(rows), 'site')}. {place} Of all, {pays}."


def _cards(portfolio: Portfolio, currency: str) -> list[tuple[str, str, str, str]]:
    """Return label, number, unit and a line below of each headline."""
    rows = portfolio.rows
    if not rows:
        return []
    waste = sum(row["waste_t"] or 0.0 for row in rows)
    area = sum(row["area_m2"] for row in rows)
    known = sum(row["composition_from"] in {"cores", "stated"} for row in rows)
    cores = sum((row["cores_net"] or 0) > 0 for row in rows)
    pays = sum(row["chance_npv_positive"] > 0.5 for row in rows)
    best = rows[0]
    return [
        ("Waste in all sites", *_large(waste, "t"), "sum of best estimates"),
        ("Ground they take", number(area / 1e4), "ha", "inside the outlines"),
        (
            "Likely to pay",
            str(pays),
            "",
            f"net present value above zero is more likely than not, in {currency}",
        ),
        ("With data on the waste", str(known), "", f"of {len(rows)}; the others take defaults"),
        ("Cores worth their price", str(cores), "", "by the worth of what they would tell"),
        (
            f"{best['name']} among the best {portfolio.ranking.n}",
            percent(best["chance_best_n"]),
            "",
            likelihood(best["chance_best_n"]),
        ),
    ]


def _ranking_table(portfolio: Portfolio, reports: Mapping[str, str], currency: str) -> Table:
    rows = portfolio.rows[:_MOST_ROWS]
    scale, unit = _measure_unit(portfolio, currency)
    cells = []
    for row in rows:
        mean, low, high = (
            _number(row[f"measure_{name}"], scale) for name in ("mean", "p10", "p90")
        )
        cells.append(
            (
                str(row["rank"]),
                _linked(row["name"], reports.get(row["site_id"])),
                mean,
                f"{low}\u00a0to\u00a0{high}",
                percent(row["chance_best_n"]),
                f"{row['rank_p10']:.0f}\u00a0to\u00a0{row['rank_p90']:.0f}",
                percent(row["chance_npv_positive"]),
                number(row["waste_t"]),
                number(row["area_m2"] / 1e4),
                row["base_from"],
                _era_words(row["composition_from"]),
                row["best_course"],
            )
        )
    return Table(
        f"Sites by {measure_words(portfolio.ordered.rank_by).lower()}, the highest mean first",
        (
            "Rank",
            "Site",
            f"Mean [{unit}]",
            f"P10 to P90 [{unit}]",
            f"Among the best {portfolio.ranking.n}",
            "Rank, P10 to P90",
            "Pays",
            "Waste [t]",
            "Area [ha]",
            "Base from",
            "Composition from",
            "Best course on the mean",
        ),
        tuple(cells),
        (1, 9, 10, 11),
    )


def _era_words(composition_from: str) -> str:
    """Return where a composition comes from without the underlines of its key."""
    return sub(r"(\d)_(\d)", "\\1\u2013\\2", composition_from).replace("_", " ")


def _cores_table(portfolio: Portfolio, currency: str) -> Table:
    rows = sorted(portfolio.rows, key=lambda row: row["cores_rank"])[:_MOST_CORES]
    scale, unit = _money_scale([row["cores_cost"] for row in rows], currency)
    return Table(
        "Sites by what a first campaign of cores would be worth, less its cost",
        (
            "Order",
            "Site",
            f"Worth of what they tell [{unit}]",
            f"Their cost [{unit}]",
            f"Net [{unit}]",
            "Would change the choice",
            "Rank of the site",
            "Cores now",
        ),
        tuple(
            (
                str(row["cores_rank"]),
                row["name"],
                _number(row["cores_worth"], scale),
                _number(row["cores_cost"], scale),
                _number(row["cores_net"], scale),
                percent(row["cores_change"]),
                str(row["rank"]),
                str(row["cores"]),
            )
            for row in rows
        ),
        (1,),
    )


def _cores_finding(portfolio: Portfolio) -> str:
    rows = sorted(portfolio.rows, key=lambda row: row["cores_rank"])
    worth = [row for row in rows if (row["cores_net"] or 0) > 0]
    if not rows:
        return "No site could be ranked."
    if not worth:
        return (
            "At no site are cores worth their price by this reckoning: whatever they would say "
            "within the range taken, the best course of action stays the same. The table then "
            "begins where it is least settled whether a site is among the best "
            f"{portfolio.ranking.n}. Where a site must be dealt with anyway, core it all the same "
            "before any digging."
        )
    return f"{counted(len(worth), 'site')} would repay cores, {worth[0]['name']} first."


def _guessed(portfolio: Portfolio) -> str:
    rows = portfolio.rows
    base = sum(row["base_from"] == "the ground around" for row in rows)
    waste = sum(row["composition_from"].startswith("default") for row in rows)
    return (
        f"At {base} of {len(rows)} the base of the waste was drawn from the ground around, and at "
        f"{waste} the waste was taken as usual for its region and years. Such sites have wide "
        "ranges, and their ranks carry them."
    )


def _problem_table(portfolio: Portfolio) -> Table | None:
    order = {"error": 0, "warning": 1, "note": 2}
    found = sorted(portfolio.problems, key=lambda row: order[row["level"]])[:_MOST_PROBLEMS]
    if not found:
        return None
    left = len(portfolio.problems) - len(found)
    more = f"; {left} more stand in problems.csv" if left else ""
    return Table(
        f"What is wrong or suspect, site by site{more}",
        ("Level", "Site", "Where", "What", "What to do"),
        tuple(
            (row["level"], row["site"] or "all", row["where"], row["what"], row["what_to_do"])
            for row in found
        ),
        (0, 1, 2, 3, 4),
    )


def _problem_finding(portfolio: Portfolio) -> str:
    errors = len(portfolio.failed)
    warnings = sum(row["level"] == "warning" for row in portfolio.problems)
    if not errors and not warnings:
        return "Nothing was found wrong or suspect."
    left_out = (
        f"{counted(errors, 'site')} could not be estimated and {'is' if errors == 1 else 'are'} "
        "left out"
        if errors
        else "No site had to be left out"
    )
    return f"{left_out}; {counted(warnings, 'warning')} on the others."


def _measure_unit(portfolio: Portfolio, currency: str) -> tuple[float, str]:
    if portfolio.ordered.rank_by == "airspace_m3":
        return 1.0, "m³"
    values = [row["measure_mean"] for row in portfolio.rows]
    scale, unit = _money_scale(values, currency)
    return scale, f"{unit}/t" if portfolio.ordered.rank_by == "npv_per_t" else unit


def _money_scale(values: list[Any], currency: str) -> tuple[float, str]:
    return money_unit(max((abs(value) for value in values if value is not None), default=0.0),
                      currency)  # fmt: skip


def _large(value: float, unit: str) -> tuple[str, str]:
    return (number(value / 1e6), f"million {unit}") if value >= 1e6 else (number(value), unit)


def _number(value: float | None, scale: float) -> str:
    return number(None if value is None else scale * value)


def _linked(name: str, address: str | None) -> str:
    """Return a name as a link to its report, where there is one."""
    from markupsafe import Markup

    if address is None:
        return name
    return Markup('<a href="{}">{}</a>').format(address, name)
