"""The hazards in the results, the tables, the page and the site sheet."""

from __future__ import annotations

from dataclasses import replace
from html.parser import HTMLParser

import numpy as np
import pytest

from reclaim.assumptions import Draws, default_assumption
from reclaim.hazards import DEFERENCE, Caution, HazardAssessment, RuleBook, rule_book
from reclaim.hazards.finds import finds_of, waste_codes
from reclaim.hazards.gas_summary import gas_table, gas_trends
from reclaim.hazards.opening import open_face
from reclaim.hazards.readings import Reading
from reclaim.hazards.register import Mark
from reclaim.hazards.triggers import trigger_levels
from reclaim.reference import assumption_defaults
from reclaim.report.hazards import HAZARD_COLUMNS, hazard_tables
from reclaim.report.results import results
from reclaim.report.sections.hazards import what_could_hurt
from reclaim.report.sitesheet import site_sheet

BOOK: RuleBook = rule_book("uk")
READINGS = [
    Reading("ch4_pct", 10.0 + depth, f"C{core}", "north", depth)
    for core in range(5)
    for depth in (1.0, 4.0)
]


def opened(draws: Draws):
    same = np.ones(draws.n_draws)
    return open_face(
        readings=READINGS, waste_m3=1e5 * same, area_m2=2e4, density_t_m3=same,
        generated_m3_d=50 * same, trigger_pct=1.0, draws=draws,
        assumptions={k: default_assumption(row) for k, row in assumption_defaults().items()},
    )  # fmt: skip


@pytest.fixture(scope="module")
def hurt(make):
    caution = Caution(
        "asbestos", "contents", "stop", "Asbestos is named.", "core C1 (logs.csv row 3)",
        "Stop at any find.", "a licensed asbestos surveyor", "uk_car_2012", "published",
        "stop: any such record", "How much there is.", ("logs.csv row 3", "logs.csv row 9"),
        ("C1",),
    )  # fmt: skip
    return make(
        hazards=HazardAssessment(
            cautions=(caution,),
            not_assessed=("Noise was not assessed.",),
            profile="uk",
            gas=gas_table(READINGS, BOOK),
            trends=gas_trends(READINGS, BOOK),
            triggers=trigger_levels(BOOK),
            opening_best=opened(Draws.best_estimate()),
            opening_spread=opened(Draws(50, 1)),
            finds=finds_of(["asbestos"]),
            codes=waste_codes({"fuel": 10.0}),
            marks=(Mark("C1", 512_010.0, 5_412_200.0, "stop", ("asbestos",)),),
        )
    )


def cells(table) -> str:
    return " ".join(cell for row in table.rows for cell in row)


def test_the_section_names_the_profile_defers_and_has_every_table(hurt) -> None:
    section = what_could_hurt(results(hurt))
    assert "1 caution to stop, 0 to act and 0 to watch, by UK rules" in section.finding
    assert DEFERENCE in section.blocks[0].paragraphs
    tables = {block.caption.split()[0]: block for block in section.blocks if block.kind == "table"}
    assert set(tables) == {"Trigger", "Gas", "What", "Likely"} | {"Gas"}
    assert "EH40/2005" in cells(tables["Trigger"])
    assert "17 06 05*" in cells(tables["What"])
    assert "19 12 10" in cells(tables["Likely"])
    assert any("rises with depth" in text for block in section.blocks if block.kind == "words"
               for text in block.paragraphs)  # fmt: skip


def test_rows_are_as_long_as_their_heads(hurt) -> None:
    for block in what_could_hurt(results(hurt)).blocks:
        if block.kind == "table":
            assert {len(row) for row in block.rows} == {len(block.columns)}


def test_an_assessment_without_numbers_still_says_who_decides(make) -> None:
    bare = make(hazards=HazardAssessment((), ()))
    section = what_could_hurt(results(bare))
    assert [block.kind for block in section.blocks] == ["words"]


def test_tables_hold_register_and_triggers_with_the_heads_promised(hurt) -> None:
    tables = hazard_tables(hurt)
    assert set(tables) == set(HAZARD_COLUMNS)
    for name, rows in tables.items():
        assert tuple(rows[0])[: len(HAZARD_COLUMNS[name])] == HAZARD_COLUMNS[name]
    caution, gap = tables["hazard_register"]
    assert caution["records"] == "logs.csv rows 3, 9"
    assert (gap["level"], gap["hazard"]) == ("not assessed", "Noise was not assessed.")


class Reader(HTMLParser):
    """Collects tags and text."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.text = ""
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: object) -> None:  # noqa: ARG002
        self.tags.append(tag)

    def handle_data(self, data: str) -> None:
        self.text += data


def test_the_site_sheet_holds_stops_triggers_gaps_and_places_to_fill_in(hurt) -> None:
    html = site_sheet(results(hurt))
    got = Reader(html)
    for words in ("Asbestos is named.", "Stop at any find.", DEFERENCE, "Noise was not assessed.",
                  "Carbon monoxide", "Assembly point"):  # fmt: skip
        assert words in got.text
    assert "http:" not in html
    assert "https:" not in html
    assert "script" not in got.tags


def test_a_hostile_name_is_inert_on_the_site_sheet(hurt) -> None:
    name = "<script>alert(1)</script>"
    html = site_sheet(results(replace(hurt, site=replace(hurt.site, name=name))))
    assert "script" not in Reader(html).tags
