"""The answer in one sentence, and the numbers that stand first on the page and the terminal."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from reclaim.report.traced import count
from reclaim.report.wording import (
    band_of,
    best_of,
    best_with_interval,
    counted,
    interval_of,
    likelihood,
    listed,
    percent,
    share_of_draws,
    whole,
)

if TYPE_CHECKING:
    from reclaim.report.results import Document


@dataclass(frozen=True, slots=True)
class Headline:
    """One headline number: its key in the results, and its words."""

    key: str
    label: str


HEADLINES = (
    Headline("excavated_m3", "Excavated volume"),
    Headline("waste_t", "Waste dug, wet"),
    Headline("fuel_t", "Fuel"),
    Headline("metals_t", "Ferrous and non-ferrous metal"),
    Headline("minerals_t", "Mineral aggregate and glass"),
    Headline("soil_t", "Soil-like fines"),
    Headline("airspace_reclaimed_m3", "Airspace reclaimed"),
    Headline("npv", "Net present value"),
    Headline("unit_cost_per_t", "Cost per tonne dug"),
)
CHANCE_LABEL = "Chance that it pays"
_WORTH_STUDY = 0.1
"""Below this chance (very unlikely) the next step is to ask what would have to change."""


def answer(document: Document) -> str:
    """Return the answer of the whole estimate in one sentence."""
    headlines = document["headlines"]
    chance = headlines["chance_npv_positive"]
    return (
        f"On the inputs given it is {likelihood(chance)} that digging up "
        f"{document['site']['name']} pays: the net present value is "
        f"{best_with_interval(band_of(headlines['npv']))}, above zero in "
        f"{share_of_draws(chance)}, and the dig would win "
        f"{best_with_interval(band_of(headlines['airspace_reclaimed_m3']))} of landfill space."
    )


@dataclass(frozen=True, slots=True)
class Answer:
    """The answer to one of the four questions that stand first.

    Attributes
    ----------
    id, question
        For the address on the page, and for the heading.
    words
        The answer, one sentence each.
    link, link_words
        The section that backs it.
    """

    id: str
    question: str
    words: tuple[str, ...]
    link: str
    link_words: str


def answers(document: Document) -> tuple[Answer, ...]:
    """Return what a reader wants to know first: worth, certainty, danger, next steps."""
    return (
        Answer("worth", "Is it worth it?", _worth(document), "what-it-is-worth", "Worth in full"),
        Answer("sure", "How sure is that?", _sure(document), "how-sure", "Ranges in full"),
        Answer("hurt", "What could hurt?", _hurt(document), "cautions", "All cautions"),
        Answer("next", "What next?", _next(document), "checks", "Data checks"),
    )


def _worth(document: Document) -> tuple[str, ...]:
    chance = document["headlines"]["chance_npv_positive"]
    npv = band_of(document["headlines"]["npv"])
    cost = band_of(document["headlines"]["unit_cost_per_t"])
    verdict = {
        "very unlikely": "Very unlikely.",
        "unlikely": "Unlikely.",
        "about as likely as not": "It may or may not be.",
        "likely": "Likely.",
        "very likely": "Very likely.",
    }[likelihood(chance)]
    return (
        (
            f"{verdict} The dig is worth {best_of(npv)} at present value and costs "
            f"{best_of(cost)} of waste dug."
        ),
    )


def _sure(document: Document) -> tuple[str, ...]:
    npv = band_of(document["headlines"]["npv"])
    given = count(document, "assumptions", given=True)
    judged = count(document, "assumptions", status="judgement")
    chance = document["headlines"]["chance_npv_positive"]
    return (
        (
            f"Worth lies between {interval_of(npv).replace(' to ', ' and ')} in eight of ten "
            f"draws; it is above zero in {percent(chance)} of them."
        ),
        (
            f"Of {counted(count(document, 'assumptions'), 'assumption')}, {whole(given)} come from "
            f"the site and {whole(judged)} rest on judgement."
        ),
    )


def _hurt(document: Document) -> tuple[str, ...]:
    stops, acts, watched = (
        count(document, "cautions", level=level) for level in ("stop", "act", "watch")
    )
    topics = dict.fromkeys(c["topic"] for c in document["cautions"] if c["level"] == "stop")
    first = (
        f"{counted(stops, 'caution')} ({listed(topics)}) "
        f"{'stops' if stops == 1 else 'stop'} the work named until a competent person has dealt "
        f"with {'it' if stops == 1 else 'them'}."
        if stops
        else "No caution stops work; that does not make the work safe."
    )
    return (
        first,
        (
            f"{counted(acts, 'other')} {'needs' if acts == 1 else 'need'} controls before work, "
            f"{whole(watched)} are to be watched, and "
            f"{counted(count(document, 'not_assessed'), 'hazard')} could not be assessed."
        ),
    )


def _next(document: Document) -> tuple[str, ...]:
    steps = []
    people = dict.fromkeys(
        caution["who_decides"] for caution in document["cautions"] if caution["level"] == "stop"
    )
    if people:
        steps.append(f"Before anyone opens the ground, ask {listed(people)}.")
    mend = dict.fromkeys(
        check["what_to_do"] for check in document["checks"] if check["level"] == "warning"
    )
    steps += list(mend)[:2]
    if document["headlines"]["chance_npv_positive"] < _WORTH_STUDY:
        steps.append(
            "Look at the break-even table before paying for more study: it says what one input "
            "alone would have to be for the dig to pay."
        )
    else:
        steps.append(
            "Replace the assumptions that rest on judgement by figures of the site, those that "
            "move the result most first."
        )
    return tuple(steps)
