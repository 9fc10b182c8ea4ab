"""How sure all this is: the headline ranges side by side, and how to read them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from reclaim.report.headlines import HEADLINES
from reclaim.report.sections.blocks import Block, Section, Table, Words
from reclaim.report.wording import (
    band_of,
    best_of,
    interval_of,
    likelihood,
    listed,
    share_of_draws,
)

if TYPE_CHECKING:
    from reclaim.report.results import Document


def how_sure(document: Document) -> Section:
    """Return the section on uncertainty."""
    headlines, run = document["headlines"], document["run"]
    chance = headlines["chance_npv_positive"]
    finding = (
        f"The net present value is above zero in {share_of_draws(chance)}: "
        f"on these inputs it is {likelihood(chance)} that the dig pays."
    )
    rows, outside = [], []
    for headline in HEADLINES:
        band = band_of(headlines[headline.key])
        rows.append((headline.label, best_of(band), interval_of(band)))
        if band.low == band.low and not band.low <= band.value <= band.high:
            outside.append(headline.label.lower())
    words = [
        (
            "The best estimate puts every input at its central value. The range comes from running "
            f"the same model {run['draws']} times with all uncertain inputs drawn at once: one "
            "draw in ten lies below P10 and one in ten above P90."
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
    blocks: tuple[Block, ...] = (
        Table("Headline numbers and their ranges", ("Quantity", "Best estimate", "P10 to P90"),
              tuple(rows)),
        Words(tuple(words)),
    )  # fmt: skip
    return Section("how-sure", "How sure", "How far could these numbers be off?", finding, blocks)
