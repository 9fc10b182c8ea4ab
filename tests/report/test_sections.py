"""Sentences that follow the numbers: each case of the page's wording that a site can meet."""

from __future__ import annotations

from copy import deepcopy
from dataclasses import replace

import pytest

from reclaim.report.headlines import answer
from reclaim.report.results import results
from reclaim.report.sections import Words, all_sections
from reclaim.report.sections.confidence import how_sure
from reclaim.report.sections.ground import how_much
from reclaim.report.sections.plant import what_comes_out
from reclaim.report.sections.value import what_it_is_worth
from reclaim.report.sections.waste import what_it_is


def words_of(section) -> str:
    paragraphs = [p for b in section.blocks if isinstance(b, Words) for p in b.paragraphs]
    return " ".join(" ".join(paragraphs).split())


def with_heat(document, needed: float, own: float, bought: float):
    changed = deepcopy(document)
    for key, value in (("needed", needed), ("own", own), ("bought", bought)):
        changed["drying"][f"heat_{key}_mwh"] = {
            "value": value, "low": 0.9 * value, "high": 1.1 * value, "unit": "MWh",
        }  # fmt: skip
    return changed


@pytest.mark.parametrize(
    ("needed", "own", "bought", "said", "not_said"),
    [
        (1000, 100, 900, "has to be bought. Most of what could rot has rotted", "is enough"),
        (1000, 1000, 0, "is enough; none is bought", "has to be bought"),
        (1000, 400, 0, "stays as wet as its own heat leaves it", "has to be bought"),
    ],
)
def test_what_is_said_of_drying_heat(
    estimate, document, needed, own, bought, said, not_said
) -> None:
    text = words_of(what_comes_out(estimate, with_heat(document, needed, own, bought)))
    assert said in text
    assert not_said not in text


def test_the_year_of_closing_is_named_only_where_it_is_known(estimate, document) -> None:
    changed = with_heat(document, 1000, 100, 900)
    assert "since tipping ended in 1987" in words_of(what_comes_out(estimate, changed))
    changed["site"]["closed"] = None
    assert "since tipping" not in words_of(what_comes_out(estimate, changed))


def test_a_line_without_a_dryer_says_so(estimate, document) -> None:
    changed = deepcopy(document)
    changed["drying"]["feed_t"]["value"] = 0.0
    assert "no drying step" in words_of(what_comes_out(estimate, changed))


def test_a_best_estimate_outside_its_range_is_pointed_out(document) -> None:
    assert "outside the range" not in words_of(how_sure(document))
    changed = deepcopy(document)
    changed["headlines"]["npv"]["value"] = changed["headlines"]["npv"]["high"] + 1e6
    text = words_of(how_sure(changed))
    assert "For net present value the best estimate lies outside the range" in text


def test_unknown_and_inverted_ground_is_told(estimate, document) -> None:
    changed = deepcopy(document)
    changed["excavation"]["unknown_area_m2"] = 120.0
    changed["excavation"]["inverted_area_m2"] = 35.0
    text = words_of(how_much(estimate, changed))
    assert "120 m² of the footprint the ground or the base is not known" in text
    assert "35.0 m² the base lies above today's ground" in text


@pytest.mark.parametrize(("roots", "words"), [(0, "no rate makes"), (2, "more than one rate")])
def test_why_there_is_no_rate_of_return(document, roots, words) -> None:
    changed = deepcopy(document)
    changed["value"]["irr_roots"] = roots
    table = next(
        block
        for block in what_it_is_worth(changed).blocks
        if getattr(block, "caption", "") == "Measures of worth"
    )
    row = next(row for row in table.rows if row[0].startswith("Internal rate"))
    assert words in row[1]


def test_long_works_show_totals_only(document) -> None:
    changed = deepcopy(document)
    for item in changed["value"]["cash_flow"]:
        item["by_year"] += [0.0] * 10
    table = next(
        block
        for block in what_it_is_worth(changed).blocks
        if getattr(block, "caption", "").startswith("Cash flow")
    )
    assert table.columns == ("Group", "Line", "Total")


def test_many_cores_are_left_to_the_table_file(estimate, document) -> None:
    import pandas as pd

    summary = estimate.core_summary
    many = replace(summary, per_core=pd.concat([summary.per_core] * 6, ignore_index=True))
    text = words_of(what_it_is(replace(estimate, core_summary=many), document))
    assert "tables/core_composites.csv" in text


def test_every_section_asks_a_question_and_answers_in_one_sentence(estimate, document) -> None:
    for section in all_sections(estimate, document):
        assert section.question.endswith("?")
        assert section.finding.endswith(".")
        for block in section.blocks:
            for row in getattr(block, "rows", ()):
                assert len(row) == len(block.columns)


@pytest.mark.parametrize(
    ("chance", "words"), [(0.0, "very unlikely"), (0.5, "about as likely as not"), (1.0, "all of")]
)
def test_the_answer_follows_the_chance(estimate, chance, words) -> None:
    document = results(estimate)
    document["headlines"]["chance_npv_positive"] = chance
    assert words in answer(document)
