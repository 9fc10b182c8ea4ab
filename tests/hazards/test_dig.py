"""Depth, slope and edge, each on both sides of its limit."""

from __future__ import annotations

import pytest
from shapely import MultiPolygon, Point, box

from reclaim.hazards.dig import (
    EdgeDistance,
    depth_cautions,
    dig_cautions,
    edge_cautions,
    edge_distance,
    remaining_fill,
    slope_cautions,
)
from reclaim.hazards.rules import rule_book

from .conftest import make_map

# 29 CFR 1926.651 and 652: 5 ft "or deeper", more than 4 ft, more than 20 ft
FOOT_M = 0.3048
US = rule_book("us")
ALWAYS = {"edge_setback", "plant_setback"}


def keys_of(cautions: tuple[object, ...]) -> set[str]:
    return {caution.key for caution in cautions}  # type: ignore[attr-defined]


@pytest.mark.parametrize(
    ("feet", "raised"),
    [
        (3.9, set()),
        (4.1, {"atmosphere_test"}),
        (4.9, {"atmosphere_test"}),
        (5.0, {"atmosphere_test", "protective_system"}),
        (19.9, {"atmosphere_test", "protective_system"}),
        (20.1, {"atmosphere_test", "protective_system", "engineer_designs"}),
    ],
)
def test_depth_limits(feet: float, raised: set[str]) -> None:
    assert keys_of(depth_cautions(feet * FOOT_M, US)) == raised | ALWAYS


# DIN 4124:2012 (from memory): vertical to 1.25 m, proof of stability above 5 m
@pytest.mark.parametrize(
    ("depth_m", "raised"),
    [
        (1.24, set()),
        (1.25, {"protective_system_din"}),
        (5.0, {"protective_system_din"}),
        (5.01, {"protective_system_din", "engineer_designs_din"}),
    ],
)
def test_depth_limits_of_the_eu_profile(depth_m: float, raised: set[str]) -> None:
    found = keys_of(depth_cautions(depth_m, rule_book("eu"))) - {"atmosphere_test"}
    assert found == raised | {"edge_setback_din", "plant_setback"}


def test_all_profiles_together_take_the_strictest_and_name_the_others() -> None:
    found = {caution.key: caution for caution in depth_cautions(7.0)}
    assert "protective_system_din" in found
    assert "protective_system" not in found
    assert "5 ft (1.5 m)" in found["protective_system_din"].why
    assert "20 ft" in found["engineer_designs_din"].why


@pytest.mark.parametrize(
    ("side_slope", "raised"),
    [
        (2.0, set()),
        (1.5, set()),
        (1.49, {"slope_too_steep"}),
        (0.5, {"slope_too_steep"}),
        (0.0, {"vertical_faces"}),
    ],
)
def test_slope_limits(side_slope: float, raised: set[str]) -> None:
    assert keys_of(slope_cautions(side_slope, depth_m=5.0)) == raised


def test_the_eu_profile_takes_forty_five_degrees() -> None:
    # DIN 4124:2012 (from memory): 45 degrees in loose or soft ground
    book = rule_book("eu")
    assert slope_cautions(1.0, 4.0, book) == ()
    assert keys_of(slope_cautions(0.99, 4.0, book)) == {"slope_too_steep_din"}


def test_a_steep_slope_in_a_shallow_scrape_needs_none() -> None:
    assert slope_cautions(0.0, depth_m=1.0) == ()


def test_vertical_faces_stop_the_work_and_steep_ones_name_their_angle() -> None:
    assert slope_cautions(0.0, 5.0)[0].level == "stop"
    assert "1 H : 1 V (45 degrees)" in slope_cautions(1.0, 5.0)[0].why


@pytest.mark.parametrize(
    ("edge", "raised"),
    [
        (None, set()),
        (EdgeDistance("A", 3.0, 10.0, 12.0, 0.1), {"undercut"}),
        (EdgeDistance("A", 9.9, 10.0, 18.0, -3.0), {"edge_near_exclusion"}),
        (EdgeDistance("A", 10.1, 10.0, 18.0, -3.0), set()),
    ],
)
def test_edge_limits(edge: EdgeDistance | None, raised: set[str]) -> None:
    assert keys_of(edge_cautions(edge)) == raised


def test_the_edge_of_the_footprint_is_told_only_where_it_is_undercut() -> None:
    near = EdgeDistance("The edge", 0.0, 9.0, 14.0, -1.0)
    assert edge_cautions(near, "boundary_undercut") == ()


@pytest.mark.parametrize("gap_m", [0.0, 5.0, 12.0])
def test_reach_of_a_vertical_cut_by_hand(gap_m: float) -> None:
    # A face 10 m high: the line of 1.5 : 1 from its toe comes out 15 m back from the face.
    east = MultiPolygon([box(100 + gap_m, 0, 150, 100)])
    found = edge_distance("A", east, make_map(depth_m=10.0, side_slope=0), 0.0, 1.5)
    assert found.reach_m == pytest.approx(15.0 - gap_m, abs=1.7)  # half a cell, slanted
    assert found.distance_m == pytest.approx(gap_m, abs=0.8)
    assert found.depth_m == pytest.approx(10.0)


def test_a_slope_at_the_line_itself_undercuts_nothing() -> None:
    east = MultiPolygon([box(100, 0, 150, 100)])
    found = edge_distance("A", east, make_map(depth_m=10.0, side_slope=1.5), 0.0, 1.5)
    assert found.reach_m <= 0
    assert found.distance_m == pytest.approx(0.0, abs=0.8)


def test_far_away_nothing_is_felt_and_an_empty_shape_is_none() -> None:
    dug = make_map(depth_m=10.0)
    found = edge_distance("A", Point(200, 50), dug, 0.3, 1.5)
    assert found.depth_m == 0.0
    assert keys_of(edge_cautions(found)) == set()
    assert edge_distance("A", MultiPolygon(), dug, 0.3, 1.5) is None


def test_fill_that_stays_settles() -> None:
    (caution,) = remaining_fill(1000.0, 12.0)
    assert "1,000 m3 stay" in caution.why
    assert "0.6 m or more" in caution.why
    assert remaining_fill(0.0, 12.0) == ()


def test_overdig_counts_into_the_depth() -> None:
    cautions, _ = dig_cautions(deepest_m=6.0, overdig_m=0.3, side_slope=1.5, book=US)
    assert "engineer_designs" in keys_of(cautions)
    assert "6.3 m deep, over-dig included" in cautions[0].why


@pytest.mark.parametrize("deepest_m", [0.0, float("nan")])
def test_a_dig_of_nothing_is_said(deepest_m: float) -> None:
    cautions, not_assessed = dig_cautions(deepest_m=deepest_m, overdig_m=0.3, side_slope=1.5)
    assert cautions == ()
    assert any("nothing is dug" in sentence for sentence in not_assessed)


def test_the_soil_type_assumed_is_said() -> None:
    _, not_assessed = dig_cautions(deepest_m=5.0, overdig_m=0.0, side_slope=1.5)
    assert any("weakest class of soil (type C" in sentence for sentence in not_assessed)
