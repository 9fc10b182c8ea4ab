"""Side slopes with benches and with two faces: the profile, and volumes in closed form."""

import numpy as np
import pytest
import shapely

from reclaim.ground import SideSlope, measure
from reclaim.ground.known_surfaces import KnownSurface, level, plain_footprint
from reclaim.site.model import Grid

NUMBERS = {
    "overdig_m": 0.0, "lift_m": 3.0, "survey_sd_m": 0.05, "base_sd_m": 0.4, "error_range_m": 60.0,
}  # fmt: skip


def dug_m3(rim: shapely.Polygon, depth_m: float, side_slope: SideSlope, cell_m: float) -> float:
    cells = round(100 / cell_m)
    grid = Grid(0.0, 100.0, cell_m, cell_m, cells, cells)
    surfaces = [KnownSurface(grid, level(height)) for height in (depth_m, 0, 0)]
    found = measure(plain_footprint(rim), grid, *surfaces, side_slope=side_slope, **NUMBERS)
    return float(found.cover_m3.sum() + found.waste_m3.sum())


def pit_m3(length_m: float, width_m: float, stages: list[tuple[float, float]]) -> float:
    """Return the volume of a rectangular pit, from the top: (height, way in) of each stage.

    Each stage is the prismatoid L W h - (L + W) e h + 4/3 e^2 h, e being the way in: Simpson's
    rule on its end areas, exact. Any surveying handbook.
    """
    total = 0.0
    for height_m, in_m in stages:
        total += height_m * (length_m * width_m - (length_m + width_m) * in_m + 4 / 3 * in_m**2)
        length_m, width_m = length_m - 2 * in_m, width_m - 2 * in_m
    return total


def test_profile_of_benches():
    slope = SideSlope(1.5, bench_height_m=4, bench_width_m=2)
    # 4 m of face are 6 m wide; then 2 m of bench.
    distance = np.array([0.0, 3, 6, 7, 8, 9.5, 14, 16, 17.5])
    np.testing.assert_allclose(slope.drop(distance), [0, 2, 4, 4, 4, 5, 8, 8, 9])
    assert slope.reach_m(4) == 6
    assert slope.reach_m(9) == pytest.approx(17.5)
    assert slope.edges[:2].tolist() == [8, 16]


def test_profile_of_two_faces():
    slope = SideSlope(1, upper_face=3, upper_depth_m=2)
    np.testing.assert_allclose(slope.drop(np.array([3.0, 6, 10])), [1, 2, 6])
    assert slope.edges.tolist() == [6]
    assert SideSlope(1, upper_face=1, upper_depth_m=2).plain


def test_plain_profile_is_a_straight_line():
    assert SideSlope.of(2.0).drop(np.array([3.0])) == pytest.approx(1.5)
    assert SideSlope.of(0.0).upright
    assert not SideSlope(0.0, bench_height_m=3, bench_width_m=1).upright


@pytest.mark.parametrize("turned", [0.0, 31.0])
@pytest.mark.parametrize(
    ("side_slope", "stages"),
    [
        (
            SideSlope(1.0, bench_height_m=4, bench_width_m=3),
            [(4, 4), (0, 3), (4, 4), (0, 3), (1, 1)],
        ),
        (SideSlope(1.5, upper_face=3.0, upper_depth_m=2), [(2, 6), (7, 10.5)]),
        (
            SideSlope(0.0, bench_height_m=3, bench_width_m=3),
            [(3, 0), (0, 3), (3, 0), (0, 3), (3, 0)],
        ),
    ],
)  # fmt: skip
def test_stepped_pit_in_closed_form(turned: float, side_slope: SideSlope, stages: list):
    rim = shapely.affinity.rotate(shapely.box(15.2, 20.1, 15.2 + 60, 20.1 + 50), turned)
    expected = pit_m3(60, 50, stages)
    # Kinks inside cells; upright risers are a step inside a cell, hence the wider bound.
    bound = 3e-3 if side_slope.face == 0 else 3e-4
    assert dug_m3(rim, 9, side_slope, 0.5) == pytest.approx(expected, rel=bound)


def test_wider_benches_never_dig_more():
    rim = shapely.Point(50, 50).buffer(40)
    widths = (0, 1, 2, 4)
    found = [dug_m3(rim, 9, SideSlope(1.0, 3.0, width), 1.0) for width in widths]
    assert found == sorted(found, reverse=True)


@pytest.mark.parametrize(
    "numbers",
    [{"face": -1}, {"face": 1, "bench_width_m": 2}, {"face": 1, "upper_depth_m": -1}],
)
def test_numbers_that_make_no_slope_are_refused(numbers: dict):
    with pytest.raises(ValueError, match="bench"):
        SideSlope(**numbers)
