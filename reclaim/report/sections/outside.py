"""The outside view: published ranges, published cases, and the conservative reading."""

from __future__ import annotations

from typing import TYPE_CHECKING

from reclaim.reference import sources
from reclaim.report.sections.blocks import Block, Picture, Section, Table, Words
from reclaim.report.traced import count
from reclaim.report.wording import (
    band_of,
    best_of,
    best_with_interval,
    counted,
    interval_of,
    number,
    whole,
    with_unit,
)

if TYPE_CHECKING:
    from reclaim.estimate import Estimate
    from reclaim.report.results import Document


def what_others_found(_estimate: Estimate, document: Document) -> Section:
    """Return the section that holds the estimate against published work."""
    view = document["outside_view"]
    readings = view["readings"]
    holds = "survives" if view["answer_survives"] else "does not survive"
    finding = (
        f"The answer {holds} a conservative reading: the net present value goes from "
        f"{best_with_interval(band_of(readings[0]['npv']))} to "
        f"{best_with_interval(band_of(readings[-1]['npv']))}. "
        f"{counted(count(document, 'outside_view.flags'), 'number')} of {whole(view['checked'])} "
        f"{'lies' if len(view['flags']) == 1 else 'lie'} outside published ranges."
    )
    rows = tuple(
        (row["label"], best_of(band_of(row["npv"])), interval_of(band_of(row["npv"])))
        for row in readings
    )
    blocks: tuple[Block, ...] = (
        Words(
            (
                (
                    "Most published cases lose money: 80% of 531 441 scenarios for Europe did "
                    f"({sources()['laner_2019'].reference}). Forecasts have missed the volume by "
                    "half, and changed sign when space was priced at the gate fee and scrap at the "
                    "clean price."
                ),
            )
        ),
        Table(
            "The conservative reading, each step on top of those before",
            ("Reading", "Net present value", "P10 to P90"),
            rows,
        ),
        Picture(
            "published_cases",
            "Dots of published cases and of this estimate for cost, soil, space and value.",
            "Money of the cases turned into that of the site by yearly exchange rates and a price "
            "index, both from memory and rough. Cases differ in what they count.",
        ),
        _flags(document),
    )
    return Section(
        "outside-view", "What others found", "Is this estimate too good to be true?", finding,
        blocks,
    )  # fmt: skip


def _flags(document: Document) -> Block:
    flags, currency = document["outside_view"]["flags"], document["site"]["currency"]
    if not flags:
        return Words(("Every number held against a published range lies inside it.",))
    rows = tuple(
        (
            flag["label"],
            with_unit(number(flag["value"]), _unit(flag["unit"], currency)),
            f"{number(flag['low'])} to {number(flag['high'])}",
            sources()[flag["source"]].reference,
            flag["note"],
        )
        for flag in flags
    )
    return Table(
        "Numbers outside published ranges",
        ("Number", "Here", "Published", "Source", "Note"),
        rows,
        text_columns=(0, 3, 4),
    )


def _unit(unit: str, currency: str) -> str:
    if unit.startswith("fraction"):
        return ""
    return f"{currency}{unit}" if unit.startswith(("/", " ")) else unit.replace("EUR", currency)
