"""Contents, water and process cautions, each on both sides of its number."""

from __future__ import annotations

import pytest

from reclaim.hazards.contents import contents_cautions, era_cautions, hazardous_share_caution
from reclaim.hazards.process import (
    drying_cautions,
    dust_caution,
    process_cautions,
    self_heating_caution,
)
from reclaim.hazards.water_and_air import water_and_air_cautions


@pytest.mark.parametrize(
    ("opened", "raised"),
    [
        (1995, []),
        (1990, []),
        (1989, ["asbestos_era"]),
        (1979, ["asbestos_era", "industrial_era"]),
        (1961, ["asbestos_era", "industrial_era"]),
        (1959, ["asbestos_era", "munitions_era", "industrial_era"]),
    ],
)
def test_years_of_tipping(opened: int, raised: list[str]) -> None:
    cautions, not_assessed = era_cautions(opened)
    assert [caution.key for caution in cautions] == raised
    assert not_assessed == ()
    assert all(str(opened) in caution.why for caution in cautions)


def test_unknown_years_are_said() -> None:
    cautions, (sentence,) = era_cautions(None)
    assert cautions == ()
    assert "no first year" in sentence


def test_hazardous_share() -> None:
    (caution,), nothing = hazardous_share_caution(50.0, 10_000.0)
    assert "50 t of 10,000 t dug (0.50%)" in caution.why
    assert nothing == ()
    none, (sentence,) = hazardous_share_caution(0.0, 10_000.0)
    assert none == ()
    assert "miss rare items" in sentence


def test_logs_without_notes_are_said() -> None:
    _, not_assessed = contents_cautions(
        mentions=(), notes=0, opened=2000, hazardous_t=0.0, feed_t=1.0
    )
    assert any("no interval has a note" in sentence for sentence in not_assessed)


def test_overdig_may_break_the_base() -> None:
    (caution,), not_assessed = water_and_air_cautions(mentions=(), overdig_m=0.3)
    assert (caution.key, caution.topic) == ("base_cut", "water")
    assert "0.3 m below the base" in caution.why
    assert any("not calculated" in sentence for sentence in not_assessed)
    assert water_and_air_cautions(mentions=(), overdig_m=0.0)[0] == ()


@pytest.mark.parametrize(
    ("moisture", "raised"),
    [
        (0.16, []),
        (0.15, []),
        (0.149, ["dust_dry_fuel"]),
        (0.12, ["dust_dry_fuel"]),
        (0.119, ["dust_explosive"]),
        (0.0, ["dust_explosive"]),
    ],
)
def test_dust_goes_by_the_moisture_of_the_fuel(moisture: float, raised: list[str]) -> None:
    assert [caution.key for caution in dust_caution(100.0, moisture)] == raised


def test_no_fuel_no_dust_and_no_drying_no_boxes() -> None:
    assert dust_caution(0.0, 0.05) == ()
    assert drying_cautions(0.0, 0.0) == ()
    assert self_heating_caution(0.0, 100.0, 10.0) == ()


def test_drying_with_bought_heat_adds_burners() -> None:
    with_heat = {caution.key for caution in drying_cautions(1000.0, 5.0)}
    without = {caution.key for caution in drying_cautions(1000.0, 0.0)}
    assert with_heat - without == {"drying_burners", "hot_surfaces"}
    assert without == {"drying_confined_space", "process_air"}


def test_stored_fuel_by_hand() -> None:
    # A quarter of 52 000 t/y is 13 000 t/y of fuel: 250 t a week, 6 500 t in six months.
    (caution,) = self_heating_caution(fuel_t=50_000.0, feed_t=200_000.0, capacity_t_y=52_000.0)
    assert "about 250 t a week" in caution.why
    assert "6,500 t lie in store after 6 months" in caution.why


def test_stored_fuel_never_exceeds_what_is_made() -> None:
    (caution,) = self_heating_caution(fuel_t=100.0, feed_t=400.0, capacity_t_y=60_000.0)
    assert "100 t lie in store" in caution.why


def test_hazardous_items_bring_battery_fires() -> None:
    numbers = {
        "fuel_t": 0.0,
        "fuel_moisture": 1.0,
        "feed_t": 100.0,
        "capacity_t_y": 1000.0,
        "drying_feed_t": 0.0,
        "heat_bought_mwh": 0.0,
    }
    (caution,), not_assessed = process_cautions(**numbers, hazardous_t=2.0)
    assert caution.key == "battery_fires"
    assert process_cautions(**numbers, hazardous_t=0.0)[0] == ()
    assert not_assessed
