"""The rule files are complete, and every row is used."""

from __future__ import annotations

from pathlib import Path
from typing import get_args

import pytest

import reclaim.hazards
from reclaim.hazards import CautionLevel, caution_rules, gas_limits
from reclaim.hazards.log_words import GRAMMAR, named_in
from reclaim.reference import read_rows, sources
from reclaim.reference.tables import Status

FILES = ("gas_limits.csv", "cautions.csv", "hazard_words.csv", "finds.csv", "waste_codes.csv")
TOPICS = {"gas", "excavation", "contents", "water", "process"}


@pytest.mark.parametrize("name", FILES)
def test_every_row_has_a_known_source_and_a_status(name: str) -> None:
    for row in read_rows(name):
        assert row["source"] in sources(), row
        assert row["status"] in get_args(Status), row
        assert None not in row, "more cells than columns"
        assert None not in row.values(), "fewer cells than columns"


@pytest.mark.parametrize("name", ["gas_limits.csv", "cautions.csv"])
def test_every_rule_says_what_to_do_who_decides_and_where_it_holds(name: str) -> None:
    rows = read_rows(name)
    assert len({row["key"] for row in rows}) == len(rows)
    for row in rows:
        for column in ("what", "do", "who_decides", "jurisdiction"):
            assert row[column].strip(), (row["key"], column)
        assert row["level"] in get_args(CautionLevel)
        assert row["what"].endswith("."), row["key"]
        assert row["do"].endswith("."), row["key"]


def test_topics_are_those_of_the_contract() -> None:
    assert {rule.topic for rule in caution_rules().values()} == TOPICS


def test_gas_limits_rise_in_urgency_with_the_reading() -> None:
    urgency = ("watch", "act", "stop")
    for side in {(limit.gas, limit.direction) for limit in gas_limits()}:
        ladder = [limit for limit in gas_limits() if (limit.gas, limit.direction) == side]
        ladder.sort(key=lambda limit: limit.value if side[1] == "above" else -limit.value)
        ranks = [urgency.index(limit.level) for limit in ladder]
        assert ranks == sorted(ranks), side


def test_gas_units_agree_with_the_columns() -> None:
    units = {"pct": "% v/v", "ppm": "ppm", "c": "degrees C"}
    for limit in gas_limits():
        assert limit.unit == units[limit.gas.rsplit("_", 1)[1]]


def test_every_rule_belongs_to_a_profile() -> None:
    for rule in (*gas_limits(), *caution_rules().values()):
        assert rule.profiles
        assert rule.profiles <= {"us", "uk", "eu"}
        assert rule.unknown.endswith(".")


def test_finds_and_waste_codes_belong_to_something() -> None:
    for row in read_rows("finds.csv"):
        assert row["key"] in caution_rules()
        for column in ("dig", "line", "disposal", "tests"):
            assert row[column].strip()
    made = {row["name"] for row in read_rows("products.csv")}
    assert {row["product"] for row in read_rows("waste_codes.csv")} == made | {"leachate"}


def test_every_rule_is_used_by_the_code_or_by_the_word_file() -> None:
    folder = Path(reclaim.hazards.__file__).parent
    code = "".join(path.read_text(encoding="utf-8") for path in folder.glob("*.py"))
    words = {row["key"] for row in read_rows("hazard_words.csv")}
    unused = [key for key in caution_rules() if f'"{key}"' not in code and key not in words]
    assert unused == []


def test_every_word_belongs_to_a_rule_and_finds_itself() -> None:
    for row in read_rows("hazard_words.csv"):
        if row["key"] in GRAMMAR:
            continue
        assert row["key"] in caution_rules()
        assert row["match"] in {"exact", "near", "part", "part near"}
        assert named_in(row["word"]).get(row["key"]) is False, row["word"]


@pytest.mark.parametrize("language", ["en", "de", "fr", "es", "nl"])
def test_every_hazard_has_words_in_every_language(language: str) -> None:
    rows = read_rows("hazard_words.csv")
    keys = {row["key"] for row in rows} - {"other_meaning"}
    assert {row["key"] for row in rows if row["language"] == language} - {"other_meaning"} == keys


def test_a_rule_without_a_number_says_so() -> None:
    with pytest.raises(ValueError, match="'asbestos' has no number"):
        _ = caution_rules()["asbestos"].number
