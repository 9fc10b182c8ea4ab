"""Sections through ground of known shape, and the volumes by sections beside the grid's."""

import numpy as np
import pytest
import shapely

from reclaim.ground import (
    default_sections,
    end_area_volume,
    measure,
    prismoidal_volume,
    second_opinion,
    section,
    thickness_map,
)
from reclaim.ground.known_surfaces import (
    KnownSurface,
    hummocks,
    level,
    plain_footprint,
    plane,
    rough_outline,
)
from reclaim.site.model import Grid

GRID = Grid(0.0, 200.0, 1.0, 1.0, 200, 400)
LONG = shapely.box(50, 80, 250, 120)


def surfaces(*formulas) -> list[KnownSurface]:
    return [KnownSurface(GRID, each) for each in formulas]


def test_section_over_a_plane_is_exact():
    ground = surfaces(plane(10, 0.02, 0.01, 0, 0), plane(2, 0.01, 0, 0, 0), level(1))
    cut = section(plain_footprint(LONG), GRID, *ground, (40, 90), (260, 110), 0.7, side_slope=0.0)
    x, y = 40 + cut.distance_m / cut.distance_m[-1] * 220, 90 + cut.distance_m * 0
    y = 90 + cut.distance_m / cut.distance_m[-1] * 20
    assert cut.distance_m[-1] == pytest.approx(np.hypot(220, 20))
    assert np.diff(cut.distance_m).max() <= 0.7
    np.testing.assert_allclose(cut.survey_m, 10 + 0.02 * x + 0.01 * y, rtol=1e-12)
    np.testing.assert_allclose(cut.cover_base_m, cut.survey_m - 1, rtol=1e-12)
    inside = (x > 50) & (x < 250)
    np.testing.assert_allclose(cut.dig_m[inside], 2 + 0.01 * x[inside], rtol=1e-12)
    assert np.all(np.isnan(cut.dig_m[(x < 50) | (x > 250)]))


def test_section_shows_the_slopes_of_the_dig():
    ground = surfaces(level(10), level(4), level(0))
    cut = section(plain_footprint(LONG), GRID, *ground, (100, 70), (100, 130), 0.5, side_slope=2)
    from_rim = 20 - np.abs(cut.distance_m - 30)
    inside = from_rim > 0.01
    expected = np.maximum(4, 10 - from_rim[inside] / 2)
    np.testing.assert_allclose(cut.dig_m[inside], expected, atol=1e-9)


def test_cover_ends_on_the_base_and_unknown_stays_unknown():
    def known_in_the_east(x: np.ndarray, _: np.ndarray) -> np.ndarray:
        return np.where(x < 100, np.nan, 5.0)

    ground = surfaces(known_in_the_east, level(4), level(3))
    cut = section(plain_footprint(LONG), GRID, *ground, (60, 100), (200, 100), 1, side_slope=0)
    assert np.all(cut.cover_base_m[cut.distance_m > 41] == 4)
    assert np.all(np.isnan(cut.survey_m[cut.distance_m < 39]))
    assert np.all(np.isnan(cut.dig_m[cut.distance_m < 39]))


def test_default_sections_follow_the_axis_and_cross_the_thickest_part():
    def bowl(x: np.ndarray, y: np.ndarray) -> np.ndarray:
        return -8 * np.exp(-((x - 190.5) ** 2) / 800) + 0 * y

    footprint = plain_footprint(shapely.affinity.rotate(LONG, 0))
    ground = surfaces(level(2), bowl, level(0.5))
    thick = thickness_map(footprint, GRID, *ground[:2], side_slope=0.0)
    along, across = default_sections(footprint, GRID, *ground, thick, side_slope=0.0)
    assert along.start == pytest.approx((40, 100))
    assert along.end == pytest.approx((260, 100))
    assert across.start[0] == pytest.approx(190.5)
    assert abs(across.start[1] - across.end[1]) == pytest.approx(44)
    assert np.nanmax(across.survey_m - across.dig_m) == pytest.approx(10, rel=1e-3)


@pytest.mark.parametrize("turned", [0, 30, 90])
@pytest.mark.parametrize("side_slope", [0.0, 1.5])
def test_second_opinion_agrees_with_the_grid(turned: float, side_slope: float):
    outline = shapely.affinity.rotate(shapely.box(100, 70, 240, 130), turned)
    footprint = plain_footprint(outline)
    ground = surfaces(hummocks(20, 20, 0, 0), level(12), level(0))
    numbers = {
        "overdig_m": 0.0, "lift_m": 3.0, "survey_sd_m": 0.05, "base_sd_m": 0.4,
        "error_range_m": 60.0,
    }  # fmt: skip
    grid_m3 = measure(footprint, GRID, *ground, side_slope=side_slope, **numbers)
    dug_m3 = grid_m3.cover_m3.sum() + grid_m3.waste_m3.sum()
    opinion = second_opinion(footprint, GRID, *ground[:2], side_slope=side_slope)
    assert opinion.prismoidal_m3 == pytest.approx(dug_m3, rel=2e-3)
    assert opinion.end_area_m3 == pytest.approx(dug_m3, rel=5e-3)


def test_second_opinion_on_an_outline_in_two_parts_with_a_hole():
    outline = rough_outline(60, 100, 100, 45).union(rough_outline(50, 260, 100, 40, seed=4))
    footprint = plain_footprint(outline, shapely.Point(105, 100).buffer(10))
    ground = surfaces(level(9), level(0))
    opinion = second_opinion(footprint, GRID, *ground, side_slope=0.0, sections=401)
    assert opinion.end_area_m3 == pytest.approx(9 * footprint.outline.area, rel=1e-3)


def test_formulas_refuse_what_they_cannot_use():
    with pytest.raises(ValueError, match="odd number"):
        prismoidal_volume([0, 1, 2, 3], [1, 1, 1, 1])
    with pytest.raises(ValueError, match="middle"):
        prismoidal_volume([0, 1, 3], [1, 1, 1])
    with pytest.raises(ValueError, match="in order"):
        end_area_volume([0, 2, 1], [1, 1, 1])
    with pytest.raises(ValueError, match="one area each"):
        end_area_volume([0, 1], [1, 1, 1])
    with pytest.raises(ValueError, match="Two sections"):
        end_area_volume([0], [1])
