"""`reclaim explain`: every key of the site file is known, with what the reference data say."""

from __future__ import annotations

import tomllib

import pytest

from reclaim.demo import blank_site_file
from reclaim.reference import assumption_defaults, read_rows
from reclaim.report.explanation import explain, explanation_text, explanations
from reclaim.site import SiteError
from reclaim.site.settings import setting_defaults
from reclaim.site.sitesections import SECTIONS


def test_every_key_the_reader_accepts_is_explained() -> None:
    known = explanations()
    for section, model in SECTIONS.items():
        for name in model.model_fields:
            assert f"{section}.{name}" in known, f"add {section}.{name} to site_keys.csv"
    for key in assumption_defaults():
        assert key in known


def test_nothing_is_explained_that_the_reader_refuses() -> None:
    accepted = {f"{section}.{name}" for section, model in SECTIONS.items()
                for name in model.model_fields}  # fmt: skip
    accepted |= set(assumption_defaults())
    for key in explanations():
        assert key in accepted, key


def test_default_unit_source_and_status_are_those_of_the_data() -> None:
    default = assumption_defaults()["waste.moisture"]
    text = explanation_text(explain("waste.moisture"))
    assert f"{default.quantity.mode:g} {default.quantity.unit}" in text
    assert f"{default.quantity.low:g} to {default.quantity.high:g}" in text
    assert default.quantity.status in text
    side = explanation_text(explain("side_slope"))
    assert f"{setting_defaults()['excavation.side_slope'].value:g}" in side


def test_a_section_lists_its_keys_and_a_key_needs_no_section() -> None:
    assert {item.key.partition(".")[0] for item in explain("[money]")} == {"money"}
    assert explain("capacity_t_y")[0].key == "plant.capacity_t_y"


def test_a_slip_of_the_pen_is_met_with_the_nearest_key() -> None:
    with pytest.raises(SiteError, match=r"Did you mean 'waste.moisture'\?"):
        explain("waste.moistur")
    with pytest.raises(SiteError, match="lists them all"):
        explain("xyzzy")


def test_the_blank_site_file_has_every_number_once_and_stays_right_without_the_marks() -> None:
    text = blank_site_file()
    tomllib.loads(text)
    prose = (
        "# A ",
        "# Paths",
        "# one",
        "# base_elevation_m = 12",
        "# base_from",
        "# [waste.names]",
    )
    plain = [
        line.removeprefix("# ") if line.startswith("# ") and " = " in line else line
        for line in text.splitlines()
        if not line.startswith((*prose, '# "Film'))
    ]
    stated = tomllib.loads("\n".join(plain))
    for key, item in explanations().items():
        section, _, name = key.partition(".")
        if isinstance(item.default, float):
            assert name in stated[section], key


@pytest.mark.parametrize(
    ("key", "words"),
    [
        ("waste.composition.wood", "wood"),
        ("waste.moisture.low", "the least it can be"),
        ("uncertainty.correlations.rank", "rank"),
        ("cores.columns.Bohrung", "Bohrung"),
    ],
)
def test_a_key_inside_a_table_is_explained(key, words) -> None:
    (found,) = explain(key)
    assert found.key == key
    assert words in found.label


@pytest.mark.parametrize(
    ("key", "advice"),
    [
        ("waste.composition.wod", "waste.composition.wood"),
        ("waste.moisture.lo", "waste.moisture.low"),
        ("odour", "Keys with that word"),
        ("nothing_like_it_at_all", "lists them all"),
    ],
)
def test_near_misses_are_listed(key, advice) -> None:
    with pytest.raises(SiteError) as caught:
        explain(key)
    assert advice in caught.value.checks[0].what_to_do


def test_every_key_is_explained_once() -> None:
    keys = [row["key"] for row in read_rows("site_keys.csv")]
    assert len(keys) == len(set(keys))
