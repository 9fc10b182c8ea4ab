"""Courses, carbon, outside view, gate and council in the results and on the page."""

from __future__ import annotations

from copy import deepcopy
from dataclasses import replace

import pytest

from reclaim.report.choices import CARBON_PARTS
from reclaim.report.results import results
from reclaim.report.sections import Table, Words, all_sections
from reclaim.report.sections.carbon import what_of_the_climate
from reclaim.report.sections.council import what_a_council_asks
from reclaim.report.sections.options import what_else
from reclaim.report.sections.outside import what_others_found


def words_of(section) -> str:
    paragraphs = [p for b in section.blocks if isinstance(b, Words) for p in b.paragraphs]
    return " ".join(" ".join(paragraphs).split())


def table_of(section, start) -> Table:
    return next(b for b in section.blocks if isinstance(b, Table) and b.caption.startswith(start))


def test_each_course_has_its_row(estimate, document) -> None:
    table = table_of(what_else(estimate, document), "Courses of action")
    assert [row[0] for row in table.rows[::2]] == [row["label"] for row in document["options"]]
    assert len({len(row) for row in (table.columns, *table.rows)}) == 1


def test_money_pages_say_what_class_of_estimate_it_is(estimate, document) -> None:
    pages = {section.id: words_of(section) for section in all_sections(estimate, document)}
    for name in ("options", "what-it-is-worth"):
        for part in ("scoping-level", "Class 5", "18R-97", "not an offer", "licensed engineer"):
            assert part in pages[name], (name, part)


def test_carbon_adds_up(document) -> None:
    carbon = {key: document["carbon"][key]["value"] for key in CARBON_PARTS}
    given = ("avoided_landfill_gas_t", "fossil_burnt_t", "operations_t", "transport_t")
    assert sum(carbon[key] for key in given) == pytest.approx(carbon["gross_t"])
    saved = ("fuel_substituted_t", "metals_t", "glass_t")
    assert carbon["gross_t"] + sum(carbon[key] for key in saved) == pytest.approx(carbon["net_t"])
    mine, leave = (
        next(row for row in document["options"] if row["name"] == name)
        for name in ("mine", "leave")
    )
    assert carbon["net_t"] == pytest.approx(mine["carbon_t"]["value"] - leave["carbon_t"]["value"])


def test_without_leaving_there_is_no_carbon_section(estimate) -> None:
    comparison = estimate.comparison
    changed = replace(
        estimate,
        comparison=replace(
            comparison,
            courses=comparison.courses[3:4],
            course_draws=comparison.course_draws[3:4],
        ),
    )
    document = results(changed)
    assert document["carbon"] is None
    assert what_of_the_climate(changed, document) is None
    asked = table_of(what_a_council_asks(changed, document), "Questions")
    assert any(
        answer.startswith("Not known") and "Leaving" in answer for _, answer, _ in asked.rows
    )


def test_every_question_has_an_answer_and_what_would_tell(estimate, document) -> None:
    table = table_of(what_a_council_asks(estimate, document), "Questions")
    assert len(table.rows) >= 12
    for question, answer, tells in table.rows:
        assert question.endswith("?")
        assert tells
        assert "nan" not in answer.lower().split()
        assert any(c.isdigit() for c in answer) or answer.startswith("Not known"), answer


def test_flags_are_shown_with_range_and_source(estimate, document) -> None:
    changed = deepcopy(document)
    changed["outside_view"]["flags"] = [
        {"key": "money.price_fuel_per_t", "label": "Fuel from dug waste", "value": 200.0,
         "low": -110.0, "high": 15.0, "unit": "EUR/t", "source": "judgement",
         "status": "judgement", "note": "has paid to be taken"},
    ]  # fmt: skip
    table = table_of(what_others_found(estimate, changed), "Numbers outside")
    assert table.rows[0][0] == "Fuel from dug waste"
    assert "110" in table.rows[0][2]
    assert "1 number of" in what_others_found(estimate, changed).finding


@pytest.mark.parametrize(("survives", "said"), [(True, "survives"), (False, "does not survive")])
def test_the_finding_says_whether_the_answer_survives(estimate, document, survives, said) -> None:
    changed = deepcopy(document)
    changed["outside_view"]["answer_survives"] = survives
    assert f"The answer {said}" in what_others_found(estimate, changed).finding


def test_data_first_is_listed(estimate, document) -> None:
    changed = deepcopy(document)
    changed["stage_gate"]["verdict"] = "data first"
    changed["stage_gate"]["data_first"] = [
        {"key": "money.price_fuel_per_t", "label": "Fuel", "unit": "EUR/t", "assumed": -40.0,
         "breakeven": -20.0, "low": -75.0, "high": 10.0},
    ]  # fmt: skip
    section = what_else(estimate, changed)
    assert "data first" in section.finding
    assert table_of(section, "Data first").rows[0][0] == "Fuel"
