"""A whole invented site: order, wording, and what is not known."""

from __future__ import annotations

from types import SimpleNamespace

import pytest

from reclaim.hazards import DEFERENCE, Caution, assess

from .conftest import gas_table, log_table, make_feed, make_products, make_site

URGENCY = ["stop", "act", "watch"]
TOPICS = ["gas", "excavation", "contents", "water", "process"]


def assessed(**changes: object) -> tuple[tuple[Caution, ...], tuple[str, ...]]:
    return assess(
        make_site(**changes),
        SimpleNamespace(deepest_m=9.0),
        None,
        make_feed(hazardous_t=10.0),
        make_products(),
    )


def test_the_most_urgent_come_first_then_by_topic() -> None:
    cautions, _ = assessed()
    ranks = [(URGENCY.index(c.level), TOPICS.index(c.topic)) for c in cautions]
    assert ranks == sorted(ranks)
    assert cautions[0].level == "stop"
    assert {c.topic for c in cautions} == set(TOPICS)
    assert len({c.key for c in cautions}) == len(cautions)


def test_every_caution_is_complete() -> None:
    cautions, _ = assessed()
    for caution in cautions:
        for field in ("what", "why", "do", "who_decides", "source", "status"):
            assert getattr(caution, field).strip(), (caution.key, field)
        assert any(letter.isdigit() for letter in caution.why), caution


def test_this_site_raises_what_its_numbers_say() -> None:
    cautions, not_assessed = assessed()
    keys = {caution.key for caution in cautions}
    assert keys == {
        "methane_flammable",
        "carbon_dioxide_idlh",
        "oxygen_low",
        "hydrogen_sulphide_construction",
        "gas_partly_measured",
        "residual_gas",
        "protective_system",
        "engineer_designs",
        "atmosphere_test",
        "edge_setback",
        "edge_near_exclusion",
        "tyres",
        "asbestos_era",
        "munitions_era",
        "industrial_era",
        "hazardous_share",
        "leachate",
        "odour",
        "base_cut",
        "dust_explosive",
        "drying_confined_space",
        "process_air",
        "drying_burners",
        "fuel_self_heating",
        "battery_fires",
    }
    assert any("no asbestos seen" in sentence for sentence in not_assessed)
    assert any("1 of 2 cores" in sentence for sentence in not_assessed)


def test_a_bare_site_is_not_reassured() -> None:
    bare = SimpleNamespace(
        collars=make_site().cores.collars, intervals=log_table("", ""), gas=gas_table()
    )
    cautions, not_assessed = assessed(cores=bare, opened=None, closed=None)
    assert "gas_not_measured" in {caution.key for caution in cautions}
    for missing in ("Gas", "years of tipping", "age of the waste", "water levels", "logs"):
        assert any(missing in sentence for sentence in not_assessed), missing
    assert all(sentence.endswith(".") for sentence in not_assessed)
    assert len(set(not_assessed)) == len(not_assessed)


def test_a_line_without_fuel_has_no_fuel_cautions() -> None:
    products = make_products(dried_t=0.0)
    products.names = ("residue", "soil")
    cautions, _ = assess(make_site(), SimpleNamespace(deepest_m=1.0), None, make_feed(), products)
    assert "process" not in {caution.topic for caution in cautions}


def test_default_moisture_is_said() -> None:
    _, not_assessed = assess(
        make_site(),
        SimpleNamespace(deepest_m=1.0),
        SimpleNamespace(moisture_measured=False),
        make_feed(),
        make_products(),
        still_degradable_share=0.1,
    )
    assert any("moisture is a default" in sentence for sentence in not_assessed)


@pytest.mark.parametrize("words", ["Local codes", "licensed practice decide", "not thereby safe"])
def test_deference_names_who_decides(words: str) -> None:
    assert words in DEFERENCE
