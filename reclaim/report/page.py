"""The report as one HTML file that needs nothing else: styles and figures are inside it."""

from __future__ import annotations

from base64 import b64encode
from dataclasses import dataclass
from hashlib import sha256
from importlib.resources import files
from math import isfinite
from pathlib import Path
from typing import TYPE_CHECKING, Any

from reclaim.hazards import DEFERENCE
from reclaim.reference import sources
from reclaim.report.headlines import CHANCE_LABEL, HEADLINES, answer, answers
from reclaim.report.layouts import layouts
from reclaim.report.sections import all_sections
from reclaim.report.sections.cores import core_sections
from reclaim.report.sections.evidence import data_checks
from reclaim.report.sections.value import NO_OFFER
from reclaim.report.sitemap import LAYERS, site_map
from reclaim.report.striplog import strips
from reclaim.report.traced import as_html, count, traced, unmarked
from reclaim.report.whatif import what_if
from reclaim.report.wording import (
    band_of,
    best_and_unit,
    counted,
    interval_of,
    likelihood,
    percent,
    whole,
)

if TYPE_CHECKING:
    from collections.abc import Mapping

    from jinja2 import Environment

    from reclaim.estimate import Estimate
    from reclaim.report.layouts import Layout
    from reclaim.report.results import Document
    from reclaim.site import CoreSite
    from reclaim.uncertainty.bands import Band
    from reclaim.waste import CoreSummary

LEVELS = {
    "stop": "Stop: the work named here, until a competent person has dealt with this",
    "act": "Act: controls are needed before work",
    "watch": "Watch: keep under observation",
}
"""The levels of cautions in words."""
_TURNING = dict.fromkeys([*range(0x202A, 0x202F), *range(0x2066, 0x206A)])
_BAR_WIDTH = 200.0
_REM_PER_INCH = 6.2
"""Type of 9 points in a figure then stands a little smaller than the text of the page."""


@dataclass(frozen=True, slots=True)
class Bar:
    """A range drawn small, from zero: places along a line of 200 units."""

    zero: float
    low: float
    high: float
    best: float


@dataclass(frozen=True, slots=True)
class Image:
    """A drawing inside the page: its data address and its natural width [rem]."""

    source: str
    width_rem: float


@dataclass(frozen=True, slots=True)
class Card:
    """One headline number as it stands on the page."""

    key: str
    label: str
    best: str
    unit: str
    interval: str
    value: float | None
    low: float | None
    high: float | None
    bar: Bar | None


def page(
    estimate: Estimate,
    document: Document,
    images: Mapping[str, Image],
    *,
    layout: str = "consultant",
    paper: str = "A4",
) -> str:
    """Return the report as HTML.

    Parameters
    ----------
    estimate, document
        The estimate and its results document.
    images
        Every figure by its name, from `as_image`.
    layout
        One of `layouts`: who reads it.
    paper
        ``A4`` or ``letter``, for printing.
    """
    chosen = layouts()[layout]
    found = traced(document)
    parts = core_sections(estimate.site.cores, estimate.core_summary, found)
    if layout != "geologist":
        parts = (*all_sections(estimate, found), *parts)
    drawn = strips(estimate.site.cores, document["cautions"])
    cautions = _cautions(found)
    return _render(
        chosen,
        paper,
        title=document["site"]["name"],
        facts=_facts(found, with_money=bool(chosen.cards)),
        first_id="answer" if chosen.cards else "cautions",
        answer=answer(found) if chosen.cards else "",
        answers=answers(found) if chosen.answers else (),
        no_offer=NO_OFFER,
        cards=[card for card in cards(found) if chosen.shows_card(card.key)],
        cautions=cautions,
        others=_others(found),
        not_assessed=document["not_assessed"],
        sections=chosen.of(parts),
        images=images,
        map=site_map(estimate, document, drawn) if chosen.interactive else None,
        panel=what_if(estimate) if chosen.interactive else None,
        strips=drawn,
        draws=whole(found["run"]["draws"]),
        made=(
            f"reclaim {document['run']['version']}, {document['run']['made_on']}, seed "
            f"{whole(found['run']['seed'])}, {whole(found['run']['draws'])} draws."
        ),
    )


def core_page(
    site: CoreSite,
    summary: CoreSummary,
    document: Document,
    images: Mapping[str, Image],
    *,
    paper: str = "A4",
) -> str:
    """Return the geologist's report as HTML, from core tables alone.

    Parameters
    ----------
    site, summary
        From `reclaim.estimate.summarise_site_cores`.
    document
        Their results document, from `corereport.core_document`.
    images
        The figures by name, from `as_image`.
    paper
        ``A4`` or ``letter``, for printing.
    """
    chosen = layouts()["geologist"]
    found = traced(document)
    about, run = found["site"], found["run"]
    return _render(
        chosen,
        paper,
        title=site.name,
        facts=[
            ("Tipping", _years(about["opened"], about["closed"])),
            ("Cores", whole(about["cores"])),
            ("Samples", whole(about["samples"])),
            ("Made on", run["made_on"]),
        ],
        first_id="cautions",
        answer="",
        answers=(),
        no_offer="",
        cards=[],
        cautions=None,
        others="",
        not_assessed=[],
        sections=(
            *chosen.of(core_sections(site.cores, summary, found)),
            data_checks(found),
        ),
        images=images,
        map=None,
        panel=None,
        strips=strips(site.cores),
        draws=whole(run["draws"]),
        made=(
            f"reclaim {run['version']}, {run['made_on']}, seed {whole(run['seed'])}, "
            f"{whole(run['draws'])} draws."
        ),
    )


def templates() -> Environment:
    """Return the templates of the pages: every value escaped, and none that is missing let pass."""
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    made = Environment(
        loader=FileSystemLoader(_templates_folder()),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        finalize=_without_turning,
    )
    made.filters["unmarked"] = unmarked
    return made


def _templates_folder() -> Path:
    return Path(str(files("reclaim.report").joinpath("templates")))


def _render(layout: Layout, paper: str, **view: Any) -> str:
    from markupsafe import Markup

    script = (_templates_folder() / "report.js").read_text(encoding="utf-8")
    digest = b64encode(sha256(script.encode()).digest()).decode("ascii")
    return (
        templates()
        .get_template("report.html")
        .render(
            layout=layout,
            paper=paper,
            levels=LEVELS,
            deference=DEFERENCE,
            layer_names=[*LAYERS, *(raster.name for raster in view["map"].rasters)]
            if view["map"]
            else (),
            script=Markup(script),  # noqa: S704 - our own file
            script_hash=f"sha256-{digest}",
            **view,
        )
    )


def _without_turning(value: Any) -> Any:
    """Return text without the marks that turn the direction of what follows them.

    They are U+202A to U+202E and U+2066 to U+2069 (Unicode Standard Annex 9); right-to-left names
    are shown rightly without them.
    """
    from markupsafe import Markup

    if not isinstance(value, str) or isinstance(value, Markup):
        return value
    return as_html(value.translate(_TURNING))


def _cautions(document: Document) -> list[dict[str, Any]]:
    """Return the cautions with the full reference of each, and no field left out."""
    known = sources()
    return [
        {
            "rule": "",
            "unknown": "",
            **caution,
            "reference": known[caution["source"]].reference
            if caution["source"] in known
            else caution["source"],
        }
        for caution in document["cautions"]
    ]


def _others(document: Document) -> str:
    """Return in a sentence what the cautions below `stop` are about."""
    acts, watched = (count(document, "cautions", level=level) for level in ("act", "watch"))
    topics = dict.fromkeys(c["topic"] for c in document["cautions"] if c["level"] == "act")
    parts = []
    if acts:
        parts.append(
            f"{counted(acts, 'caution')} ({', '.join(topics)}) {'asks' if acts == 1 else 'ask'} "
            "for controls before work"
        )
    if watched:
        what = "other" if acts else "caution"
        parts.append(f"{counted(watched, what)} {'is' if watched == 1 else 'are'} to be watched")
    if not parts:
        return ""
    return f"{' and '.join(parts)}: the full report has {'it' if acts + watched == 1 else 'them'}."


def _facts(document: Document, *, with_money: bool) -> list[tuple[str, str]]:
    site, run = document["site"], document["run"]
    prices = f"{site['currency']}, {whole(site['price_year'])} prices"
    money = [("Money", prices)] if with_money else []
    return [
        ("Tipping", _years(site["opened"], site["closed"])),
        ("Cores", whole(site["cores"])),
        *money,
        ("Draws", whole(run["draws"])),
        ("Made on", run["made_on"]),
    ]


def _years(opened: int | None, closed: int | None) -> str:
    return f"{whole(opened)} to {whole(closed)}" if opened and closed else "years not known"


def cards(document: Document) -> list[Card]:
    """Return the headline cards, the chance that it pays last."""
    shown = []
    for headline in HEADLINES:
        raw = document["headlines"][headline.key]
        band = band_of(raw)
        shown.append(
            Card(
                headline.key, headline.label, *best_and_unit(band), interval_of(band),
                raw["value"], raw["low"], raw["high"], range_bar(band),
            )
        )  # fmt: skip
    chance = document["headlines"]["chance_npv_positive"]
    shown.append(
        Card(
            "chance_npv_positive", CHANCE_LABEL, percent(chance), "", likelihood(chance),
            chance, None, None, None,
        )
    )  # fmt: skip
    return shown


def range_bar(band: Band) -> Bar | None:
    """Return where zero, P10, P90 and the best estimate lie, or None where there is no range."""
    marks = (band.low, band.high, band.value)
    if not all(isfinite(mark) for mark in marks):
        return None
    left, right = min(0.0, *marks), max(0.0, *marks)
    if left == right:
        return None

    def place(mark: float) -> float:
        return round(_BAR_WIDTH * (mark - left) / (right - left), 1)

    return Bar(place(0.0), place(band.low), place(band.high), place(band.value))


def as_image(png: bytes, width_in: float) -> Image:
    """Return a picture file as it goes into the page.

    Parameters
    ----------
    png
        The file, from `figures.rendering.packed`.
    width_in
        Width of the drawing [inches], which sets how large its type is on the page.
    """
    encoded = b64encode(png).decode("ascii")
    return Image(f"data:image/png;base64,{encoded}", round(_REM_PER_INCH * width_in, 1))
