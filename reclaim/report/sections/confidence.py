"""How sure all this is: ranges, what drives them, and what to find out next."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from reclaim.report.headlines import HEADLINES
from reclaim.report.sections.blocks import Block, Picture, Section, Table, Words
from reclaim.report.wording import (
    band_of,
    beside,
    best_of,
    counted,
    interval_of,
    likelihood,
    listed,
    money_unit,
    number,
    percent,
    share_of_draws,
    whole,
    with_unit,
)

if TYPE_CHECKING:
    from reclaim.report.results import Document

ENOUGH_OF_THE_SPREAD = 0.8
"""Drivers are named in the sentence until together they make this part of the spread."""


def how_sure(document: Document) -> Section:
    """Return the section on uncertainty."""
    found = document["confidence"]
    chance = document["headlines"]["chance_npv_positive"]
    finding = (
        f"The net present value is above zero in {share_of_draws(chance)}: "
        f"on these inputs it is {likelihood(chance)} that the dig pays. {_driver_sentence(found)}"
        f"{_knowing_sentence(document)}"
    ).strip()
    blocks: list[Block] = [*_ranges(document), *_courses(document)]
    if found["drivers"]:
        blocks += _drivers(document)
    if found["knowing"]:
        blocks += _knowing(document)
    if found["scenarios"]:
        blocks.append(_scenarios(document))
    blocks += _convergence(document)
    return Section(
        "how-sure", "How sure", "How far could these numbers be off?", finding, tuple(blocks)
    )


def _ranges(document: Document) -> list[Block]:
    headlines, run = document["headlines"], document["run"]
    rows, outside = [], []
    for headline in HEADLINES:
        band = band_of(headlines[headline.key])
        rows.append((headline.label, best_of(band), interval_of(band)))
        if band.low == band.low and not band.low <= band.value <= band.high:
            outside.append(headline.label.lower())
    words = [
        (
            "The best estimate puts every input at its central value. The range comes from running "
            f"the same model {whole(run['draws'])} times with all uncertain inputs drawn at once: "
            "one draw in ten lies below P10 and one in ten above P90."
        ),
        (
            "The range covers what the inputs say about themselves. It does not cover a wrong base "
            "survey, waste nobody knew of, a change of law, or a buyer who walks away."
        ),
    ]
    if outside:
        words.append(
            f"For {listed(outside)} the best estimate lies outside the range, because the inputs "
            "lean to one side; trust the range."
        )
    table = Table(
        "Headline numbers and their ranges",
        ("Quantity", "Best estimate", "P10 to P90"),
        tuple(rows),
    )
    return [table, Words(tuple(words))]


def _courses(document: Document) -> list[Block]:
    courses = document["confidence"]["courses"]
    money = _Money(document, [course["p10"] for course in courses])
    table = Table(
        "Courses of action over the draws, net present value beside leaving the site "
        f"[{money.unit}]",
        ("Course", "Mean", "P10", "P50", "P90", "Mean of the worst tenth", "Best in"),
        tuple(
            (
                course["name"],
                *(
                    money.words(course[key])
                    for key in ("mean", "p10", "p50", "p90", "expected_shortfall")
                ),
                share_of_draws(course["chance_best"]),
            )
            for course in courses
        ),
        text_columns=(0, 6),
    )
    picture = Picture(
        "exceedance",
        "Curves of the chance that each course of action is worth more than an amount.",
        "Read upwards from an amount: the curve gives the chance of more. Leaving the site is the "
        "upright line at zero.",
    )
    return [picture, table]


def _driver_sentence(found: Document) -> str:
    drivers = found["drivers"]
    if not drivers or not drivers["groups"]:
        return ""
    named, sum_of_parts = [], 0.0
    whole = sum(max(group["total"], 0.0) for group in drivers["groups"])
    for group in drivers["groups"]:
        named.append(f"{group['label'].lower()} ({percent(min(group['total'] / whole, 1.0))})")
        sum_of_parts += max(group["total"], 0.0) / whole
        if sum_of_parts >= ENOUGH_OF_THE_SPREAD:
            break
    return f"Most of the spread comes from {listed(named)}. "


def _knowing_sentence(document: Document) -> str:
    knowing = document["confidence"]["knowing"]
    if not knowing:
        return ""
    choice = knowing["choice"].lower()
    if not knowing["can_change"]:
        return (
            f"In no draw is any course better than to {choice}, so no investigation can change "
            "that choice on these inputs; spend on one only for other reasons, such as safety."
        )
    worth_it = [item for item in knowing["investigations"] if item["net"] > 0]
    if not worth_it:
        return (
            f"The best course on the mean is to {choice}; no investigation listed is expected to "
            "be worth its price."
        )
    best = worth_it[0]
    money = _Money(document, [best["net"]])
    return (
        f"The best course on the mean is to {choice}; the investigation most worth its price is "
        f"{best['label']}, expected to be worth {with_unit(money.words(best['net']), money.unit)} "
        "more than it costs."
    )


def _drivers(document: Document) -> list[Block]:
    drivers = document["confidence"]["drivers"]
    money = _Money(document, [drivers["central"], *(s["low"] for s in drivers["inputs"])])
    table = Table(
        f"What drives the net present value, by group [{money.unit}]",
        ("Group", "P10 of it alone", "P90 of it alone", "Part alone", "Part with others"),
        tuple(
            (
                group["label"],
                money.words(group["low"]),
                money.words(group["high"]),
                _part(group["first"], group["first_error"]),
                _part(group["total"], group["total_error"]),
            )
            for group in drivers["groups"]
        ),
    )
    swings = Table(
        f"The widest swings of single inputs [{money.unit}]",
        ("Input", "Input at its P10", "Input at its P90", "Rank correlation"),
        tuple(
            (
                swing["label"],
                money.words(swing["low"]),
                money.words(swing["high"]),
                number(swing["rank_correlation"], 2),
            )
            for swing in drivers["inputs"][:10]
        ),
    )
    words = Words(
        (
            (
                "A swing moves one input to its P10 and P90 and leaves all others at their centre. "
                "The parts of the spread are Sobol indices: alone, and together with all other "
                "inputs; ± is one standard error. Where a group's two parts differ, it acts "
                "through others."
            ),
        )
    )
    return [
        Picture(
            "swings",
            "Bars of the net present value at P10 and P90 of each input.",
            "The longer the bar, the more the result hangs on that input.",
        ),
        Picture(
            "drivers",
            "Bars of the part of the variance that each group of inputs makes.",
            "Parts alone add to less than all where inputs act together.",
        ),
        table,
        swings,
        words,
    ]


def _knowing(document: Document) -> list[Block]:
    knowing = document["confidence"]["knowing"]
    investigations = knowing["investigations"]
    money = _Money(document, [knowing["everything"]["value"], *(i["cost"] for i in investigations)])
    ranked = Table(
        f"What to find out next, the highest net worth first [{money.unit}]",
        ("Investigation", "Cost", "Expected worth", "Net", "Would change the choice in"),
        tuple(
            (
                item["label"],
                money.words(item["cost"]),
                f"{money.words(item['value'])} ± {money.words(item['error'])}",
                money.words(item["net"]),
                percent(item["changes_choice"]),
            )
            for item in investigations
        ),
    )
    everything = knowing["everything"]
    words = [
        (
            "Data are worth something only where they could change the choice between courses of "
            "action. Expected worth is what the better choices would gain on average, before the "
            "price of the data is paid. Knowing everything would be worth "
            f"{with_unit(money.words(everything['value']), money.unit)}: no investigation can be "
            "worth more."
        )
    ]
    if not knowing["can_change"]:
        return [Words((*words, _cannot_change(knowing["choice"])))]
    known = [group for group in knowing["groups"] if group["value"] > 0]
    if known:
        words.append(
            "Knowing one group exactly would be worth: "
            + listed(
                f"{group['label'].lower()} {with_unit(money.words(group['value']), money.unit)}"
                for group in known[:6]
            )
            + "."
        )
    return [
        Picture(
            "worth_of_knowing",
            "Bars of the expected worth of each investigation beside its cost.",
            "An investigation pays where its worth is above its cost.",
        ),
        ranked,
        Words(tuple(words)),
    ]


def _cannot_change(choice: str) -> str:
    return (
        f"Here the choice cannot change: to {choice.lower()} is best in every draw. Every "
        "investigation is expected to cost more than it is worth to this choice. If an input is "
        "far from what was stated here, state it and run again."
    )


def _scenarios(document: Document) -> Table:
    scenarios = document["confidence"]["scenarios"]
    money = _Money(document, [scenario["npv"] for scenario in scenarios])
    return Table(
        "Scenarios",
        (
            "Scenario", f"Net present value [{money.unit}]", f"P10 to P90 [{money.unit}]",
            "Above zero in", "Fuel [t]", "Space won [m³]", "Best course",
        ),
        tuple(
            (
                scenario["name"],
                money.words(scenario["npv"]),
                f"{money.words(scenario['p10'])} to {money.words(scenario['p90'])}",
                share_of_draws(scenario["chance_above_zero"]),
                number(scenario["fuel_t"]),
                number(scenario["reclaimed_m3"]),
                scenario["best_course"],
            )
            for scenario in scenarios
        ),
        text_columns=(0, 3, 6),
    )  # fmt: skip


def _convergence(document: Document) -> list[Block]:
    found = document["confidence"]["convergence"]
    draws = counted(document["run"]["draws"], "draw")
    text = (
        f"After {draws} the standard error of P10, P50 and P90 is at most "
        f"{percent(found['precision'])} of the distance from P10 to P90."
    )
    if found["asked"] is not None:
        asked = percent(found["asked"])
        text += (
            f" The {asked} asked for was reached."
            if found["is_reached"]
            else f" The {asked} asked for was not reached; allow more draws."
        )
    picture = Picture(
        "convergence",
        "Lines of P10, P50 and P90 of the net present value as draws are added.",
        text,
    )
    return [picture]


def _part(value: float, error: float) -> str:
    return f"{percent(max(value, 0.0))} ± {percent(error)}"


class _Money:
    """Amounts of one table in one unit, rounded alike."""

    def __init__(self, document: Document, amounts: list[Any]) -> None:
        largest = max((abs(amount) for amount in amounts if amount is not None), default=0.0)
        self._scale, self.unit = money_unit(largest, document["site"]["currency"])
        self._largest = largest

    def words(self, amount: float | None) -> str:
        """Return an amount in words, without the unit."""
        if amount is None:
            return "not known"
        return beside(amount, self._largest or 1.0, self._scale)
