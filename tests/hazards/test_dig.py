"""Depth, slope and edge, each on both sides of its limit."""

from __future__ import annotations

from types import SimpleNamespace

import pytest
from shapely import MultiPolygon, box

from reclaim.hazards.dig import (
    depth_cautions,
    dig_cautions,
    edge_cautions,
    exclusion_distance,
    slope_cautions,
)

# 29 CFR 1926.651 and 652: 5 ft "or deeper", more than 4 ft, more than 20 ft
FOOT_M = 0.3048


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
    assert keys_of(depth_cautions(feet * FOOT_M)) == raised | {"edge_setback"}


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


def test_a_steep_slope_in_a_shallow_scrape_needs_none() -> None:
    assert slope_cautions(0.0, depth_m=1.0) == ()


def test_vertical_faces_stop_the_work_and_steep_ones_name_their_angle() -> None:
    assert slope_cautions(0.0, 5.0)[0].level == "stop"
    assert "1 H : 1 V (45 degrees)" in slope_cautions(1.0, 5.0)[0].why


@pytest.mark.parametrize(
    ("distance_m", "side_slope", "raised"),
    [
        (None, 0.0, set()),
        (0.0, 1.5, {"edge_near_exclusion"}),  # the slope itself keeps the line clear
        (0.0, 1.0, {"undercut"}),
        (4.9, 1.0, {"undercut"}),  # toe 14.9 m away, line comes out at 15 m
        (5.1, 1.0, {"edge_near_exclusion"}),
        (9.9, 1.5, {"edge_near_exclusion"}),
        (10.1, 1.5, set()),
    ],
)
def test_edge_limits_over_ten_metres_of_depth(
    distance_m: float | None, side_slope: float, raised: set[str]
) -> None:
    assert keys_of(edge_cautions(distance_m, side_slope, depth_m=10.0)) == raised


def test_overdig_counts_into_the_depth() -> None:
    cautions, _ = dig_cautions(
        deepest_m=6.0, overdig_m=0.3, side_slope=1.5, exclusion_distance_m=None
    )
    assert "engineer_designs" in keys_of(cautions)
    assert "6.3 m deep, over-dig included" in cautions[0].why


@pytest.mark.parametrize("deepest_m", [0.0, float("nan")])
def test_a_dig_of_nothing_is_said(deepest_m: float) -> None:
    cautions, not_assessed = dig_cautions(
        deepest_m=deepest_m, overdig_m=0.3, side_slope=1.5, exclusion_distance_m=None
    )
    assert cautions == ()
    assert any("nothing is dug" in sentence for sentence in not_assessed)


def test_distance_to_exclusions() -> None:
    outline = MultiPolygon([box(0, 0, 10, 10)])
    apart = SimpleNamespace(outline=outline, exclusions=MultiPolygon([box(13, 14, 20, 20)]))
    assert exclusion_distance(apart) == pytest.approx(5.0)  # 3-4-5 triangle
    none = SimpleNamespace(outline=outline, exclusions=MultiPolygon())
    assert exclusion_distance(none) is None
