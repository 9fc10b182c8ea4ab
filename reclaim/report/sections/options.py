"""What else could be done: courses of action on one basis, the part worth most, and the gate."""

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
    listed,
    number,
    percent,
    share_of_draws,
    with_unit,
)

if TYPE_CHECKING:
    from reclaim.estimate import Estimate
    from reclaim.report.results import Document

SHOWN = (
    ("npv", "Value by itself"),
    ("npv_beside_leaving", "Value beside leaving it"),
    ("cost", "All payments"),
    ("airspace_m3", "Space"),
    ("land_m2", "Land freed"),
    ("carbon_t", "Greenhouse gas, net"),
    ("duration_years", "Works last"),
    ("truck_trips", "Truck loads"),
)
VERDICTS = {
    "go": "go on to the next study, not to the works",
    "no go": "no go on money alone",
    "data first": "data first",
}


def cost_class_words(document: Document) -> str:
    """Return what class of estimate this is, and what it is not."""
    grade = document["stage_gate"]["cost_class"]
    return (
        f"This is a scoping-level estimate, {grade['name']} ({grade['purpose']}) of "
        f"{sources()[grade['source']].reference} ({grade['status']}): what such an estimate calls "
        f"the cost has come out {percent(-grade['low_to'])} to {percent(-grade['low_from'])} lower "
        f"and {percent(grade['high_from'])} to {percent(grade['high_to'])} higher. It is not an "
        "offer, and no substitute for a licensed engineer's design or an accountant's advice."
    )


def what_else(_estimate: Estimate, document: Document) -> Section:
    """Return the section that sets the courses of action side by side."""
    options = document["options"]
    cheapest = max(options, key=lambda row: float(row["npv"]["value"]))
    finding = (
        f"Of {counted(count(document, 'options'), 'course')} of action the least costly is to "
        f"{_lower(cheapest['label'])}: its value by itself is "
        f"{best_with_interval(band_of(cheapest['npv']))}. The gate says: "
        f"{VERDICTS[document['stage_gate']['verdict']]}."
    )
    blocks: tuple[Block, ...] = (
        Words((cost_class_words(document),)),
        Picture(
            "options",
            "Bars of value, greenhouse gas and space for each course of action.",
            "Each course stands for itself, from the year of building on: leaving the site costs "
            "aftercare too. Lines are P10 to P90.",
        ),
        _table(options),
        Picture(
            "progress",
            "Bars of the time in which each lift of each zone is dug; lines of what has been dug.",
            "Zone after zone, each from the top down, as fast as diggers, plant and season allow.",
        ),
        Words(_part_words(document)),
        *_gate(document),
    )
    return Section(
        "options", "What else could be done", "What if we do not dig, or dig a part?", finding,
        blocks,
    )  # fmt: skip


def _table(options: list[Document]) -> Table:
    rows = []
    for row in options:
        rows.append((row["label"], *(best_of(band_of(row[key])) for key, _ in SHOWN)))
        rows.append(("P10 to P90", *(interval_of(band_of(row[key])) for key, _ in SHOWN)))
    return Table(
        "Courses of action on one basis",
        ("Course", *(label for _, label in SHOWN)),
        tuple(rows),
    )


def _part_words(document: Document) -> tuple[str, ...]:
    part, currency = document["schedule"]["part"], document["site"]["currency"]
    taken = [
        f"zone {row['zone']} ({counted(row['lifts'], 'lift')} from the top)"
        for row in part["zones"]
        if row["lifts"]
    ]
    worth = [w for row in part["zones"] for w in row["worth_per_m3"] if w is not None]
    spread = with_unit(
        f"{number(min(worth, default=None))} to {number(max(worth, default=None))}",
        f"{currency}/m3",
    )
    if part["pays"]:
        first = f"The part worth most is {listed(taken)}: there a block brings more than it costs."
    else:
        first = (
            "No block brings more than its digging and sorting cost, even with the plant for "
            f"nothing. The part compared is {listed(taken)}, which loses least per cubic metre."
        )
    return (
        first,
        (
            f"Blocks are worth {spread} of waste without capital and fixed cost. Every block of a "
            "zone has the composition of its zone; lifts are taken from the top; the side slopes "
            "are those of the whole dig."
        ),
    )


def _gate(document: Document) -> tuple[Block, ...]:
    gate = document["stage_gate"]
    holds = "holds" if gate["survives"] else "does not hold"
    words = Words(
        (
            (
                f"Stage gate: {VERDICTS[gate['verdict']]}. The dig is worth more than nothing in "
                f"{share_of_draws(gate['chance'])}, and the answer {holds} in the conservative "
                "reading. A duty to remedy, a danger, or a use for the land can decide otherwise."
            ),
        )
    )
    if not gate["data_first"]:
        none = Words(
            ("No single input of money or space could turn the answer inside its own range.",)
        )
        return (words, none)
    currency = document["site"]["currency"]

    def amount(value: float, unit: str) -> str:
        return with_unit(number(value), unit.replace("EUR", currency))

    rows = tuple(
        (
            need["label"],
            amount(need["assumed"], need["unit"]),
            amount(need["breakeven"], need["unit"]),
            f"{number(need['low'])} to {amount(need['high'], need['unit'])}",
        )
        for need in gate["data_first"]
    )
    table = Table(
        "Data first: inputs that alone could turn the answer, inside their own range",
        ("Input", "Assumed", "Turns at", "Range"),
        rows,
    )
    return (words, table)


def _lower(label: str) -> str:
    return label[0].lower() + label[1:]
