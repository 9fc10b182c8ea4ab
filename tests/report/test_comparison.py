"""`reclaim compare`: what changed, and what of it explains the result."""

from __future__ import annotations

import json
from copy import deepcopy

import pytest

from reclaim.report.comparison import compare, comparison_text, read_document
from reclaim.report.results import as_json, results
from reclaim.site import SiteError


@pytest.fixture(scope="module")
def first(demo_estimate):
    return json.loads(as_json(results(demo_estimate)))


def with_price(document, value):
    changed = deepcopy(document)
    row = next(r for r in changed["assumptions"] if r["key"] == "airspace.value_per_m3")
    row.update(kind="fixed", numbers=[value], value=value)
    site_file = next(r for r in changed["inputs"] if r["path"].endswith(".toml"))
    site_file["sha256"] = "0" * 64
    changed["headlines"]["npv"]["value"] += 1e6
    return changed


def test_the_same_twice_has_no_cause_and_no_change(first) -> None:
    text = comparison_text(first, first)
    assert "Nothing differs in inputs" in text
    assert all(entry["first"] == entry["second"] for entry in compare(first, first)["headlines"])


def test_one_changed_number_is_named_as_the_only_cause(first) -> None:
    text = comparison_text(first, with_price(first, 30.0))
    assert "One thing differs" in text
    assert "airspace.value_per_m3 (Value of space reclaimed): 8 / 18 / 35 -> 30 EUR/m3" in text
    assert "changed (" in text


def test_several_causes_are_not_sold_as_one(first) -> None:
    second = with_price(first, 30.0)
    second["run"]["seed"] += 1
    text = comparison_text(first, second)
    assert "2 things differ" in text
    assert "one at a time" in text


def test_a_caution_that_is_new_is_told(first) -> None:
    second = deepcopy(first)
    gone = second["cautions"].pop(0)
    assert f"{gone['key']}: {gone['level']} -> none" in comparison_text(first, second)


@pytest.mark.parametrize(("text", "says"), [("{", "cannot be read"), ("[]", "not the result")])
def test_what_is_no_result_is_refused(tmp_path, text, says) -> None:
    (tmp_path / "estimate.json").write_text(text)
    with pytest.raises(SiteError, match=says):
        read_document(tmp_path)


def test_an_old_schema_is_refused(first, tmp_path) -> None:
    (tmp_path / "estimate.json").write_text(json.dumps({**first, "schema_version": 0}))
    with pytest.raises(SiteError, match="Run that estimate again"):
        read_document(tmp_path / "estimate.json")
    with pytest.raises(SiteError, match=r"There is no estimate.json"):
        read_document(tmp_path / "none")


def test_hostile_names_neither_steer_the_terminal_nor_forge_a_line(first) -> None:
    hostile = "\x1b[31mRed\u202etfel\n\nNothing differs in inputs"
    second = with_price(first, 30.0)
    second["site"]["name"] = hostile
    second["assumptions"][0]["label"] = hostile
    for row in second["inputs"]:
        row["path"] = hostile + row["path"]
    text = comparison_text(first, second)
    assert "\x1b" not in text
    assert "\u202e" not in text
    assert not any(line.startswith("Nothing differs") for line in text.splitlines())
