"""Screening of gas readings: just below, at and above every limit; what was not read."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest

from reclaim.hazards.gas import gas_cautions, screen
from reclaim.hazards.readings import Reading
from reclaim.hazards.rules import GasLimit, gas_limits, rule_book

from .conftest import collar_table, gas_table

if TYPE_CHECKING:
    import pandas as pd

STEP = 1e-9


def key_of(limit: GasLimit) -> str:
    return limit.key


def reading_of(limit: GasLimit, value: float) -> Reading:
    return Reading(limit.gas, value, "C1", depth_m=2.0)


@pytest.mark.parametrize("limit", gas_limits(), ids=key_of)
def test_a_limit_is_passed_at_it_and_beyond_but_not_short_of_it(limit: GasLimit) -> None:
    outward = 1.0 if limit.direction == "above" else -1.0
    short, beyond = limit.value * (1 - outward * STEP), limit.value * (1 + outward * STEP)
    assert screen([reading_of(limit, short)], [limit]) == ()
    for value in (limit.value, beyond):
        (caution,) = screen([reading_of(limit, value)], [limit])
        assert caution.key == limit.key
        assert caution.level == limit.level
        assert caution.source == limit.source


@pytest.mark.parametrize("limit", gas_limits(), ids=key_of)
def test_against_all_limits_a_reading_raises_the_most_urgent_it_passes(limit: GasLimit) -> None:
    (caution,) = screen([reading_of(limit, limit.value)], gas_limits())
    levels = {"stop": 0, "act": 1, "watch": 2}
    ladder = [other for other in gas_limits() if other.gas == limit.gas]
    ladder = [other for other in ladder if other.direction == limit.direction]
    passed = [other for other in ladder if other.is_passed_by(limit.value)]
    assert levels[caution.level] == min(levels[other.level] for other in passed)
    assert len({other.limit for other in passed if other.limit in caution.why}) == len(
        {other.limit for other in passed}
    )


def test_the_caution_names_the_worst_reading_and_how_many_pass() -> None:
    gas = gas_table(
        ("C1", 1.0, 0.2, 0.1, 20.0, 0.0, 0.0),
        ("C2", 4.5, 38.0, 0.1, 20.0, 0.0, 0.0),
        ("C3", 2.0, 6.0, 0.1, 20.0, 0.0, 0.0),
    )
    cautions, _ = gas_cautions(gas, collar_table("C1", "C2", "C3", zone="old cell"))
    methane = next(caution for caution in cautions if caution.key.startswith("methane"))
    assert methane.key == "methane_flammable"
    assert (
        "core C2 (old cell) at 4.5 m, gas table row 3: 38 % v/v; 2 of 3 readings reach 5 % v/v"
        in methane.why
    )
    assert "1.25 % v/v" in methane.why
    assert "not the air people breathe" in methane.why


def test_low_oxygen_counts_downwards() -> None:
    gas = gas_table(("C1", 1.0, 0, 0, 20.5, 0, 0), ("C1", 3.0, 0, 0, 4.0, 0, 0))
    cautions, _ = gas_cautions(gas, collar_table("C1"))
    assert [caution.key for caution in cautions] == ["oxygen_low", "gas_one_campaign"]
    assert "at 3 m, gas table row 3: 4 % v/v; 1 of 2 readings reach 19.5" in cautions[0].why


def test_fresh_air_raises_nothing_and_still_says_what_is_not_known() -> None:
    # dry air: 20.95 % O2 and 0.04 % CO2 (common practice, no source)
    gas = gas_table(("C1", 1.0, 0.0, 0.04, 20.95, 0.0, 0.0))
    cautions, not_assessed = gas_cautions(gas, collar_table("C1"))
    assert [caution.key for caution in cautions] == ["gas_one_campaign"]
    assert any("air pressure" in sentence for sentence in not_assessed)
    assert any("benzene" in sentence for sentence in not_assessed)


def test_a_site_without_gas_data_gets_a_caution_for_that(empty_gas: pd.DataFrame) -> None:
    cautions, not_assessed = gas_cautions(empty_gas, collar_table("C1"))
    assert [(caution.key, caution.level) for caution in cautions] == [("gas_not_measured", "act")]
    assert "no reading of methane, oxygen, hydrogen sulphide" in not_assessed[0]


def test_a_table_of_blanks_counts_as_no_gas_data() -> None:
    gas = gas_table(("C1", 1.0, *[math.nan] * 5))
    cautions, _ = gas_cautions(gas, collar_table("C1"))
    assert [caution.key for caution in cautions] == ["gas_not_measured"]


def test_gases_and_cores_that_were_not_read_are_named() -> None:
    gas = gas_table(("C1", 1.0, 0.0, 0.04, 20.9, math.nan, math.nan))
    cautions, not_assessed = gas_cautions(gas, collar_table("C1", "C2", "C3"))
    assert [caution.key for caution in cautions] == ["gas_partly_measured", "gas_one_campaign"]
    assert "Hydrogen sulphide was not assessed: the gas table has no reading of it." in not_assessed
    assert "Carbon monoxide was not assessed: the gas table has no reading of it." in not_assessed
    assert any("2 of 3 cores" in text and "C2 and C3" in text for text in not_assessed)


def test_a_reading_without_depth_is_screened_all_the_same() -> None:
    gas = gas_table(("C1", math.nan, 50.0, 40.0, 0.5, 0.0, 0.0))
    cautions, _ = gas_cautions(gas, collar_table("C1"))
    assert "core C1 at a depth not recorded" in cautions[0].why


def test_fractions_written_for_per_cent_are_screened_both_ways() -> None:
    gas = gas_table(("C1", 2.0, 0.55, 0.40, 0.02, 0.0, 0.0))
    cautions, _ = gas_cautions(gas, collar_table("C1"))
    found = {caution.key: caution for caution in cautions}
    assert {"methane_flammable", "carbon_dioxide_idlh", "oxygen_low"} <= set(found)
    assert "55 % v/v (taken as a fraction: the table says 0.55)" in found["methane_flammable"].why
    assert "gas_units_doubtful" in found


@pytest.mark.parametrize(
    "row",
    [
        ("C1", 2.0, 0.5, 0.4, 20.0, 0.0, 0.0),  # diluted: mostly air
        ("C1", 2.0, 55.0, 40.0, 0.5, 0.0, 0.0),  # rich landfill gas
        ("C1", 2.0, 0.5, math.nan, math.nan, 0.0, 0.0),  # methane alone was read
    ],
)
def test_plausible_per_cents_are_not_taken_for_fractions(row: tuple[object, ...]) -> None:
    cautions, _ = gas_cautions(gas_table(row), collar_table("C1"))
    assert "gas_units_doubtful" not in {caution.key for caution in cautions}


def test_a_local_limit_takes_the_place_of_the_reference() -> None:
    methane = next(limit for limit in gas_limits() if limit.key == "methane_permit_space")
    local = replace(methane, key="methane_local", value=0.1, level="stop", jurisdiction="here")
    cautions = screen([Reading("ch4_pct", 0.2, "C1")], [local])
    assert [(caution.key, caution.level) for caution in cautions] == [("methane_local", "stop")]


def test_order_of_rows_does_not_matter() -> None:
    rng = np.random.default_rng(1)
    rows = [(f"C{i}", 1.0 + i, *rng.uniform(0, 30, 3), *rng.uniform(0, 150, 2)) for i in range(8)]
    collars = collar_table(*(f"C{i}" for i in range(8)))
    forward, backward = gas_table(*rows), gas_table(*reversed(rows))
    backward["row"] = backward["row"].to_numpy()[::-1]
    assert gas_cautions(forward, collars) == gas_cautions(backward, collars)


@pytest.mark.parametrize("profile", ["us", "uk", "eu", "all"])
def test_every_profile_has_limits_for_every_basic_gas(profile: str) -> None:
    levels = {
        (limit.gas, limit.level) for limit in rule_book(profile).gas if limit.direction == "above"
    }
    for gas in ("ch4_pct", "h2s_ppm", "co_ppm", "co2_pct"):
        assert {level for of, level in levels if of == gas} == {"watch", "act", "stop"}, gas


@pytest.mark.parametrize("limit", gas_limits(), ids=key_of)
@pytest.mark.parametrize("profile", ["us", "uk", "eu"])
def test_a_profile_screens_against_its_own_limits_alone(limit: GasLimit, profile: str) -> None:
    keys = {row.key for row in rule_book(profile).gas}
    assert (limit.key in keys) is (profile in limit.profiles)


def test_the_caution_lists_file_rows_cores_rule_and_what_is_unknown() -> None:
    gas = gas_table(("C1", 1.0, 6.0, 0, 20.9, 0, 0), ("C2", 1.0, 9.0, 0, 20.9, 0, 0))
    cautions, _ = gas_cautions(gas, collar_table("C1", "C2"), file="readings.csv")
    methane = cautions[0]
    assert methane.records == ("readings.csv row 3", "readings.csv row 2")
    assert methane.cores == ("C2", "C1")
    assert methane.rule.startswith("stop at 5 % v/v or more: lower explosive limit")
    assert "air pressure" in methane.unknown


def test_stop_names_the_work_that_must_stop() -> None:
    for limit in gas_limits():
        if limit.level == "stop":
            assert limit.do.startswith(("Stop any ", "Do not ")), limit.key


@pytest.mark.parametrize(
    ("days", "raised"),
    [
        (("2025-03-01", "2025-03-05"), True),
        (("2025-03-01", "2025-06-01"), False),
        (("", ""), True),
    ],
)
def test_one_short_campaign_is_told(days: tuple[str, str], raised: bool) -> None:
    gas = gas_table(("C1", 1.0, 0, 0, 20.9, 0, 0), ("C1", 1.0, 0, 0, 20.9, 0, 0))
    cautions, _ = gas_cautions(gas.assign(date=days), collar_table("C1"))
    assert ("gas_one_campaign" in {caution.key for caution in cautions}) is raised


def test_trace_gas_in_per_cent_is_screened_both_ways() -> None:
    # 0.02 % is 200 ppm: above the 100 ppm that are immediately dangerous (NIOSH, 1994 revision)
    cautions, _ = gas_cautions(gas_table(("C1", 2.0, 1, 1, 20, 0.02, 0)), collar_table("C1"))
    found = {caution.key: caution for caution in cautions}
    assert found["hydrogen_sulphide_idlh"].level == "stop"
    assert "200 ppm (taken as per cent: the table says 0.02)" in found["hydrogen_sulphide_idlh"].why
    assert "gas_ppm_doubtful" in found


def test_a_table_of_nothing_but_small_methane_is_doubted() -> None:
    rows = [("C1", depth, value, math.nan, math.nan, 0, 0) for depth, value in
            ((1.0, 0.31), (2.0, 0.44), (3.0, 0.52))]  # fmt: skip
    cautions, _ = gas_cautions(gas_table(*rows), collar_table("C1"))
    assert {"gas_units_doubtful", "methane_flammable"} <= {caution.key for caution in cautions}


def test_heat_in_the_waste_is_screened() -> None:
    gas = gas_table(("C1", 3.0, 0, 0, 20.9, 0, 0)).assign(temperature_c=71.0)
    cautions, _ = gas_cautions(gas, collar_table("C1"))
    fire = next(caution for caution in cautions if caution.key == "temperature_fire")
    assert fire.level == "stop"
    assert "breathe" not in fire.why
