"""A whole invented site: order, wording, and what is not known."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
from shapely import Point

from reclaim.hazards import DEFERENCE, HazardAssessment, assess, register
from reclaim.site import HazardInputs, LocalLimit, Receptor

from .conftest import gas_table, log_table, make_dig, make_feed, make_map, make_products, make_run
from .conftest import make_site as site_like

URGENCY = ["stop", "act", "watch"]
TOPICS = ["gas", "excavation", "contents", "water", "process"]


def assessed(**changes: object) -> HazardAssessment:
    run = make_run()
    return assess(site_like(**changes), make_dig(), make_map(), None, run, run)


def test_the_most_urgent_come_first_then_by_topic() -> None:
    cautions = assessed().cautions
    ranks = [(URGENCY.index(c.level), TOPICS.index(c.topic)) for c in cautions]
    assert ranks == sorted(ranks)
    assert cautions[0].level == "stop"
    assert {c.topic for c in cautions} == set(TOPICS)
    assert len({c.key for c in cautions}) == len(cautions)


def test_every_caution_is_complete() -> None:
    for caution in assessed().cautions:
        for field in ("what", "why", "do", "who_decides", "source", "status", "rule", "unknown"):
            assert getattr(caution, field).strip(), (caution.key, field)
        assert any(letter.isdigit() for letter in caution.why), caution


def test_this_site_raises_what_its_numbers_say() -> None:
    found = assessed()
    assert {caution.key for caution in found.cautions} == {
        "methane_flammable",
        "carbon_dioxide_idlh",
        "oxygen_low",
        "hydrogen_sulphide_construction",
        "gas_partly_measured",
        "gas_one_campaign",
        "residual_gas",
        "face_emission",
        "protective_system_din",
        "engineer_designs_din",
        "atmosphere_test",
        "edge_setback",
        "plant_setback",
        "remaining_fill",
        "edge_near_exclusion",
        "tyres",
        "asbestos_era",
        "munitions_era",
        "industrial_era",
        "hazardous_share",
        "wet_waste",
        "odour",
        "dust_open",
        "bioaerosols",
        "litter",
        "vermin",
        "base_cut",
        "dust_explosive",
        "drying_confined_space",
        "process_air",
        "drying_burners",
        "hot_surfaces",
        "fuel_self_heating",
        "battery_fires",
    }
    assert any("no asbestos seen" in sentence for sentence in found.not_assessed)
    assert any("1 of 2 cores" in sentence for sentence in found.not_assessed)


def test_a_bare_site_is_not_reassured() -> None:
    bare = SimpleNamespace(
        collars=site_like().cores.collars, intervals=log_table("", ""), gas=gas_table()
    )
    found = assessed(cores=bare, opened=None, closed=None)
    assert "gas_not_measured" in {caution.key for caution in found.cautions}
    for missing in ("Gas", "years of tipping", "age of the waste", "water levels", "logs", "lives"):
        assert any(missing in sentence for sentence in found.not_assessed), missing
    assert all(sentence.endswith(".") for sentence in found.not_assessed)
    assert len(set(found.not_assessed)) == len(found.not_assessed)


def test_a_line_without_fuel_has_no_fuel_cautions() -> None:
    products = make_products(dried_t=0.0)
    products.names = ("residue", "soil")
    run = make_run(feed=make_feed(), products=products)
    found = assess(site_like(), make_dig(deepest_m=1.0), make_map(depth_m=1.0), None, run, run)
    assert "process" not in {caution.topic for caution in found.cautions}


def test_default_moisture_is_said() -> None:
    run = make_run()
    summary = SimpleNamespace(moisture_measured=False)
    found = assess(site_like(), make_dig(), make_map(), summary, run, run, 0.1)
    assert any("moisture is a default" in sentence for sentence in found.not_assessed)
    assert any("10% of the degradable carbon" in caution.why for caution in found.cautions)


def test_the_register_has_every_caution_and_every_gap() -> None:
    found = assessed()
    rows = register(found.cautions, found.not_assessed)
    assert len(rows) == len(found.cautions) + len(found.not_assessed)
    assert [row.number for row in rows] == list(range(1, len(rows) + 1))
    assert {row.level for row in rows} == {"stop", "act", "watch", "not assessed"}
    for row in rows:
        for field in ("hazard", "raised_by", "rule", "controls", "who_decides", "still_unknown"):
            assert getattr(row, field).strip(), (row.number, field)
    assert rows[0].records.startswith("gas.csv row 2")


def test_marks_stand_at_the_cores_that_found_something() -> None:
    mark, unread = assessed().marks
    assert (unread.name, unread.keys) == ("C2", ("gas_partly_measured",))
    assert (mark.name, mark.level) == ("C1", "stop")
    assert (mark.x_m, mark.y_m) == (0.0, 0.0)
    assert mark.keys[0] == "methane_flammable"


@pytest.mark.parametrize(
    ("away_m", "raised"),
    [
        (40.0, {"receptor_near", "receptor_odour", "gas_migration"}),
        (251.0, {"receptor_odour"}),
        (501.0, set()),
    ],
)
def test_receptors_within_their_distances(away_m: float, raised: set[str]) -> None:
    school = Receptor("School", Point(50, -away_m))
    found = assessed(hazards=HazardInputs(receptors=(school,), receptors_given=True))
    keys = {caution.key for caution in found.cautions}
    assert keys & {"receptor_near", "receptor_odour", "gas_migration"} == raised
    if raised:
        assert any(f"School ({away_m:.0f} m)" in caution.why for caution in found.cautions)


def test_a_house_at_the_rim_of_a_vertical_cut_is_undercut() -> None:
    house = Receptor("House 4", Point(101.0, 50.0))
    run = make_run()
    site = site_like(hazards=HazardInputs(receptors=(house,), receptors_given=True), side_slope=0)
    found = assess(site, make_dig(), make_map(side_slope=0), None, run, run)
    caution = next(c for c in found.cautions if c.key == "structure_undercut")
    assert "House 4" in caution.why
    assert "boundary_undercut" in {c.key for c in found.cautions}


def test_a_local_limit_holds_before_the_published_one_and_says_so() -> None:
    local = LocalLimit(
        "methane_excavation", 0.25, "", "", "", "stop", "city code 7", "Newtown", "2024", "",
        "limits.csv row 2",
    )  # fmt: skip
    found = assessed(
        hazards=HazardInputs(limits=(local,)),
        cores=SimpleNamespace(
            collars=site_like().cores.collars,
            intervals=log_table("x"),
            gas=gas_table(("C1", 2.0, 0.3, 0.1, 20.0, 0.0, 0.0)),
        ),
    )
    caution = next(c for c in found.cautions if c.key == "methane_excavation")
    assert (caution.level, caution.source, caution.status) == ("stop", "limits.csv row 2", "given")
    assert "city code 7; Newtown, 2024" in caution.rule
    trigger = next(t for t in found.triggers if (t.gas, t.level) == ("ch4_pct", "stop"))
    assert trigger.value == 0.25


@pytest.mark.parametrize("profile", ["us", "uk", "eu"])
def test_each_profile_gives_a_whole_assessment(profile: str) -> None:
    found = assessed(hazards=HazardInputs(profile=profile))
    assert found.profile == profile
    assert {c.topic for c in found.cautions} == set(TOPICS)


def test_products_have_likely_codes_and_finds_have_meanings() -> None:
    found = assessed()
    assert {code.product for code in found.codes} == {"fuel", "soil", "leachate"}
    assert {find.key for find in found.finds} >= {"tyres", "asbestos", "batteries"}
    assert np.isnan(next(c for c in found.codes if c.product == "leachate").wet_t)


@pytest.mark.parametrize("words", ["Local codes", "licensed practice decide", "not thereby safe"])
def test_deference_names_who_decides(words: str) -> None:
    assert words in DEFERENCE
