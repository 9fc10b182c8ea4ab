"""Readings by zone and core, trends, and the trigger table."""

from __future__ import annotations

import math

import numpy as np
import pytest

from reclaim.hazards.gas_summary import gas_table as summarise
from reclaim.hazards.gas_summary import gas_trends, sen_slope, sign_test
from reclaim.hazards.readings import Reading, read_gas_table
from reclaim.hazards.rules import gas_limits, rule_book
from reclaim.hazards.triggers import trigger_levels
from reclaim.site import LocalLimit

from .conftest import collar_table, gas_table


def test_rows_for_site_zone_and_core_by_hand() -> None:
    gas = gas_table(
        ("C1", 1.0, 2.0, 0, 20.9, 0, 0), ("C1", 3.0, 6.0, 0, 20.9, 0, 0),
        ("C2", 2.0, 40.0, 0, 20.9, 0, 0),
    )  # fmt: skip
    collars = collar_table("C1", "C2").assign(zone=["north", "south"])
    rows = {
        (r.zone, r.core): r for r in summarise(read_gas_table(gas, collars)) if r.gas == "ch4_pct"
    }
    assert set(rows) == {("", ""), ("north", ""), ("south", ""), ("north", "C1"), ("south", "C2")}
    site = rows["", ""]
    assert (site.readings, site.lowest, site.median, site.highest) == (3, 2.0, 6.0, 40.0)
    assert (site.worst_depth_m, site.level) == (2.0, "stop")
    assert rows["north", "C1"].worst_depth_m == 3.0


def test_the_worst_oxygen_is_the_lowest() -> None:
    gas = gas_table(("C1", 1.0, 0, 0, 20.0, 0, 0), ("C1", 3.0, 0, 0, 2.0, 0, 0))
    oxygen = next(
        r for r in summarise(read_gas_table(gas, collar_table("C1"))) if r.gas == "o2_pct"
    )
    assert oxygen.worst_depth_m == 3.0


def test_sen_slope_against_scipy() -> None:
    # scipy.stats.theilslopes, after Sen (1968), is the reference library
    from scipy.stats import theilslopes

    rng = np.random.default_rng(3)
    x, y = rng.uniform(0, 10, 12), rng.normal(0, 1, 12)
    assert sen_slope(x, y) == pytest.approx(theilslopes(y, x)[0])
    assert math.isnan(sen_slope([1.0], [2.0]))


def trend_of(readings: list[Reading], along: str) -> object:
    return next(trend for trend in gas_trends(readings) if trend.along == along)


def test_a_rise_with_depth_in_eight_cores_is_told() -> None:
    readings = [
        Reading("ch4_pct", 10 + 3 * depth, f"C{core}", depth_m=depth)
        for core in range(8) for depth in (1.0, 4.0)
    ]  # fmt: skip
    trend = trend_of(readings, "depth")
    assert (trend.rising, trend.falling) == (8, 0)
    assert trend.median_slope == pytest.approx(3.0)
    assert trend.probability == pytest.approx(2 / 2**8)  # two-sided sign test, by hand
    assert "rises with depth" in trend.in_words


def test_as_many_up_as_down_is_no_trend() -> None:
    readings = [
        Reading("ch4_pct", 20 + sign * depth, f"C{sign}", depth_m=depth)
        for sign in (-1, 1) for depth in (1.0, 4.0)
    ]  # fmt: skip
    assert "no clear trend" in trend_of(readings, "depth").in_words


def test_visits_to_the_same_places_give_a_trend_in_time() -> None:
    readings = [
        Reading("co_ppm", 10.0 + 90 * visit, f"C{core}", depth_m=2.0, date=f"2025-0{1 + visit}-01")
        for core in range(6) for visit in (0, 1)
    ]  # fmt: skip
    trend = trend_of(readings, "time")
    assert trend.median_slope == pytest.approx(90 / 31)
    assert "rises from visit to visit" in trend.in_words


def test_readings_without_depth_have_no_depth_trend() -> None:
    assert gas_trends([Reading("ch4_pct", 5.0, "C1"), Reading("ch4_pct", 9.0, "C1")]) == ()


@pytest.mark.parametrize("profile", ["all", "us", "uk", "eu"])
def test_trigger_levels_are_the_strictest_limits_and_rise(profile: str) -> None:
    book = rule_book(profile)
    triggers = trigger_levels(book)
    by_key = {(row.gas, row.direction, row.level): row.value for row in triggers}
    for limit in book.gas:
        strictest = by_key[limit.gas, limit.direction, limit.level]
        assert strictest <= limit.value if limit.direction == "above" else strictest >= limit.value
    for gas in {limit.gas for limit in gas_limits()} - {"o2_pct"}:
        values = [by_key[key] for level in ("watch", "act", "stop")
                  if (key := (gas, "above", level)) in by_key]  # fmt: skip
        assert values == sorted(values), gas


def test_a_local_limit_sets_the_trigger_even_where_looser() -> None:
    local = LocalLimit(
        "city",
        2.0,
        "ch4_pct",
        "above",
        "% v/v",
        "act",
        "city code",
        "Newtown",
        "",
        "",
        "l.csv row 2",
    )
    triggers = trigger_levels(rule_book("all", (local,)))
    row = next(row for row in triggers if (row.gas, row.level) == ("ch4_pct", "act"))
    assert (row.value, row.jurisdiction, row.source) == (2.0, "Newtown", "l.csv row 2")


@pytest.mark.parametrize(("rising", "falling"), [(9, 1), (1, 9), (5, 5), (40, 22), (0, 3), (0, 0)])
def test_sign_test_against_scipy(rising, falling) -> None:
    from scipy.stats import binomtest

    expected = binomtest(rising, rising + falling).pvalue if rising + falling else 1.0
    assert sign_test(rising, falling) == pytest.approx(expected, rel=1e-12)
