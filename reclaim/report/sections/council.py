"""The questions a council asks, each with a number, or with what would tell."""

from __future__ import annotations

from typing import TYPE_CHECKING

from reclaim.report.sections.blocks import Section, Table
from reclaim.report.wording import (
    band_of,
    best_of,
    best_with_interval,
    money_unit,
    number,
    percent,
    with_unit,
)

if TYPE_CHECKING:
    from reclaim.estimate import Estimate
    from reclaim.report.results import Document

NOT_KNOWN = "Not known."
Answer = tuple[str, str, str]


def what_a_council_asks(estimate: Estimate, document: Document) -> Section:
    """Return the section that answers a council's questions."""
    rows = (
        _cash_or_book(document),
        _doing_nothing(document),
        _half_as_much_again(document),
        _contractor_fails(document),
        _unwanted_streams(document),
        _smell_noise_trucks(document),
        _hazardous(document),
        _household_fee(estimate, document),
        _land(document),
        _stop_half_way(document),
        _tax_and_grant(document),
        _carbon(document),
        _pilot(document),
        _decide_by(document),
    )
    known = sum(not answer.startswith(NOT_KNOWN) for _, answer, _ in rows)
    return Section(
        "council",
        "What a council asks",
        "What will be asked, and what can be said today?",
        f"{known} of {len(rows)} questions have a number today; for the others the table says what "
        "would tell.",
        (
            Table(
                "Questions, answers, and what would tell more",
                ("Question", "Answer today", "What would tell more"),
                rows,
                text_columns=(0, 1, 2),
            ),
        ),
    )


def _course(document: Document, name: str) -> Document | None:
    return next((row for row in document["options"] if row["name"] == name), None)


def _total(document: Document, *names: str) -> float:
    return float(
        sum(
            sum(item["by_year"])
            for item in document["value"]["cash_flow"]
            if item["name"] in names or item["group"] in names
        )
    )


def _money(document: Document, amount: float | None) -> str:
    if amount is None:
        return "not known"
    scale, unit = money_unit(amount, document["site"]["currency"])
    return with_unit(number(scale * amount), unit)


def _cash_or_book(document: Document) -> Answer:
    space = _money(document, _total(document, "airspace"))
    paid = _money(document, document["value"]["cost"]["value"])
    return (
        "Is the return cash, or a book value of space?",
        (
            f"{space} is space at the value assumed, a book value until somebody pays to fill it; "
            f"payments of {paid} are cash."
        ),
        "A signed plan for the next cell, and what it would cost without this space.",
    )


def _doing_nothing(document: Document) -> Answer:
    question = "What does doing nothing cost?"
    tells = "The closure permit: years of aftercare owed, and any duty to cap or clean up."
    leave = _course(document, "leave")
    if leave is None:
        return question, f"{NOT_KNOWN} Leaving the site was not among the courses compared.", tells
    return (
        question,
        (
            f"{best_with_interval(band_of(leave['cost']))} over the years, not discounted, and "
            f"{best_of(band_of(leave['carbon_t']))} of methane in a hundred years."
        ),
        tells,
    )


def _half_as_much_again(document: Document) -> Answer:
    readings = document["outside_view"]["readings"]
    more = band_of(readings[-1]["npv"]).value - band_of(readings[-2]["npv"]).value
    return (
        "What if there is half as much again in the ground?",
        (
            f"The net present value changes by {_money(document, more)}, on top of the other "
            "conservative steps. It happened in one published case."
        ),
        "Cores to the base, and a survey of it.",
    )


def _contractor_fails(document: Document) -> Answer:
    years = document["schedule"]["by_year"]
    capital = _money(document, document["value"]["capital"]["value"])
    deepest = min(
        sum(sum(item["by_year"][: year + 1]) for item in document["value"]["cash_flow"])
        for year in range(len(years) + 1)
    )
    return (
        "What if the contractor fails half way?",
        (
            f"{capital} is paid before the first tonne is dug, and up to "
            f"{_money(document, deepest)} of running total would be out. It happened "
            "in one published case."
        ),
        "Bonds and step-in rights in the contract; cells small enough to close one by one.",
    )


def _unwanted_streams(document: Document) -> Answer:
    tonnes = sum(
        float(row["wet_t"]["value"])
        for row in document["products"]
        if row["name"] in ("fuel", "soil", "aggregate")
    )
    assumed = {row["key"]: row["value"] for row in document["assumptions"]}
    fee = assumed.get("money.residue_gate_fee_per_t", float("nan"))
    cost = _money(document, -tonnes * fee)
    return (
        "What do we do with fuel or soil that nobody buys?",
        (
            f"If all {with_unit(number(tonnes), 't')} of fuel, soil and aggregate had to be tipped "
            f"at the gate fee assumed it would be {cost}."
        ),
        "A letter from a buyer for each stream, after a test lot.",
    )


def _smell_noise_trucks(document: Document) -> Answer:
    mine = _course(document, "mine")
    years = band_of(document["value"]["duration_years"])
    trucks = "" if mine is None else f", with {best_of(band_of(mine['truck_trips']))} by road"
    return (
        "Smell, noise and trucks: how bad, and for how long?",
        (
            f"{best_with_interval(years)} of works{trucks}. Smell has reached homes at 500 to "
            "1 500 m (from memory); how bad it gets here is not known."
        ),
        "Distance to homes, wind, and a test pit in warm weather.",
    )


def _hazardous(document: Document) -> Answer:
    made = next((row for row in document["products"] if row["name"] == "hazardous"), None)
    tonnes = band_of(made["wet_t"]) if made else None
    cost = _money(document, _total(document, "hazardous"))
    answer = (
        f"{best_with_interval(tonnes)} picked out, {cost}. One unlucky lot can cost more than "
        "all of it."
        if tonnes
        else f"{NOT_KNOWN} The line picks none out."
    )
    return (
        "What does hazardous waste cost, and who is liable?",
        answer,
        "Tipping records, witnesses, trial pits; a lawyer for the liability.",
    )


def _household_fee(estimate: Estimate, document: Document) -> Answer:
    appraisal = estimate.best.appraisal
    life = float(appraisal.airspace.life_years[0])
    used = float(appraisal.airspace.reclaimed_m3[0])
    density = estimate.site.assumptions["airspace.residue_density_t_m3"].central
    question = "What does it do to the fee per tonne for households?"
    tells = "Tonnes tipped a year, and how the fee is set."
    if not used > 0 or not life > 0:
        return question, f"{NOT_KNOWN} No space is won to spread the cost over.", tells
    without = -float(appraisal.npv[0]) + sum(
        float((item.flow[0] * appraisal.discount_factors[0]).sum())
        for item in appraisal.items
        if item.group == "airspace"
    )
    each = without / (used * density)
    unit = f"{document['site']['currency']}/t"
    return (
        question,
        (
            f"If the tonnes that fill the new space had to carry the net cost, each would carry "
            f"{with_unit(number(each), unit)} over {with_unit(number(life), 'y')} of filling, "
            "today's value."
        ),
        tells,
    )


def _land(document: Document) -> Answer:
    mine = _course(document, "mine")
    years = best_with_interval(band_of(document["value"]["duration_years"]))
    area = "" if mine is None else f" {best_of(band_of(mine['land_m2']))} of"
    return (
        "When is the land usable, and for what?",
        (
            f"All{area} ground is clear after {years} of digging; in a published case land came "
            "free far slower than tonnes. For what is not known."
        ),
        "Tests of the ground below, the plan for the area, the regulator's sign-off.",
    )


def _stop_half_way(document: Document) -> Answer:
    blocks = document["schedule"]["blocks"]
    longest = max((row["end_year"] - row["start_year"] for row in blocks), default=0.0)
    return (
        "Can we stop half way and be safe?",
        (
            f"The dig goes by {len(blocks)} blocks; the longest takes "
            f"{with_unit(number(longest), 'y')}. After each the face can be closed, if cover is "
            "kept at hand. The plant is then paid for and idle."
        ),
        "A closure plan for each cell, and a budget line for it.",
    )


def _tax_and_grant(document: Document) -> Answer:
    levy = _money(document, _total(document, "levy_returned", "levy_disposal"))
    grant = _money(document, _total(document, "grant"))
    needed = document["value"]["breakeven"].get("money.grant")
    short = "" if needed is None else f" A grant of {_money(document, needed)} would break even."
    return (
        "Is there a grant, and does landfill tax fall on what goes back?",
        f"Counted: tax {levy}, grant {grant}.{short}",
        "A ruling of the tax office; a promise in writing.",
    )


def _carbon(document: Document) -> Answer:
    carbon = document["carbon"]
    return (
        "What is the effect on the climate, and is it claimed fairly?",
        f"{NOT_KNOWN} Mining and leaving were not both compared."
        if carbon is None
        else f"Net {best_with_interval(band_of(carbon['net_t']))} beside leaving it; without any "
        f"credit {best_of(band_of(carbon['gross_t']))}.",
        "Which fuel is replaced; gas readings over a year.",
    )


def _pilot(document: Document) -> Answer:
    needs = document["stage_gate"]["data_first"]
    chance = percent(document["stage_gate"]["chance"])
    answer = (
        f"A pilot of 300 to 6 000 t (from memory) shows yields, smell and what buyers take. "
        f"{len(needs)} input{'' if len(needs) == 1 else 's'} of money or space could alone turn "
        f"the answer; the chance that it pays is {chance} now."
    )
    return "Would a pilot answer most of it?", answer, "The gate's list of data first."


def _decide_by(document: Document) -> Answer:
    years = band_of(document["value"]["duration_years"])
    return (
        "By when must we decide?",
        f"{NOT_KNOWN} The works need {best_of(years)} after a year of building.",
        "The year in which the present landfill is full, or the next cell is designed.",
    )
