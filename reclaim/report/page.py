"""The report as one HTML file that needs nothing else: styles and figures are inside it."""

from __future__ import annotations

from base64 import b64encode
from dataclasses import dataclass
from importlib.resources import files
from io import BytesIO
from math import isfinite
from pathlib import Path
from typing import TYPE_CHECKING

from reclaim.hazards import DEFERENCE
from reclaim.reference import sources
from reclaim.report.headlines import CHANCE_LABEL, HEADLINES, answer
from reclaim.report.sections import all_sections
from reclaim.report.sections.value import NO_OFFER
from reclaim.report.wording import band_of, best_and_unit, interval_of, likelihood, percent

if TYPE_CHECKING:
    from collections.abc import Mapping

    from matplotlib.figure import Figure

    from reclaim.estimate import Estimate
    from reclaim.report.results import Document
    from reclaim.uncertainty.bands import Band

_LEVELS = {
    "stop": "Stop: no work until a competent person has dealt with this",
    "act": "Act: controls are needed before work",
    "watch": "Watch: keep under observation",
}
_RASTER_DPI = 150
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


def page(estimate: Estimate, document: Document, figures: Mapping[str, Figure]) -> str:
    """Return the report as HTML.

    Parameters
    ----------
    estimate, document
        The estimate and its results document.
    figures
        From `figures.draw_all`; each is put into the page as a vector drawing.
    """
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    folder = Path(str(files("reclaim.report").joinpath("templates")))
    environment = Environment(
        loader=FileSystemLoader(folder),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    known = sources()
    cautions = [
        {
            **caution,
            "level_words": _LEVELS[caution["level"]],
            "reference": known[caution["source"]].reference
            if caution["source"] in known
            else caution["source"],
        }
        for caution in document["cautions"]
    ]
    return environment.get_template("report.html").render(
        document=document,
        answer=answer(document),
        no_offer=NO_OFFER,
        cards=cards(document),
        cautions=cautions,
        deference=DEFERENCE,
        sections=all_sections(estimate, document),
        images={name: as_image(figure) for name, figure in figures.items()},
    )


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


def as_image(figure: Figure) -> Image:
    """Return a figure as a vector drawing that fits into the page."""
    from matplotlib import rc_context

    from reclaim.report.figures.style import STYLE

    buffer = BytesIO()
    with rc_context(STYLE):
        figure.savefig(
            buffer, format="svg", dpi=_RASTER_DPI, metadata={"Date": None, "Creator": None}
        )
    encoded = b64encode(buffer.getvalue()).decode("ascii")
    width_in = float(figure.get_size_inches()[0])
    return Image(f"data:image/svg+xml;base64,{encoded}", round(_REM_PER_INCH * width_in, 1))
