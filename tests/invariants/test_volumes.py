"""What no volume may depend on: where the origin lies, how things are cut up, turned or listed."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import assume, given
from hypothesis import strategies as st
from shapely import affinity

from reclaim.ground import measure
from reclaim.ground.known_surfaces import KnownSurface, plain_footprint
from reclaim.site.model import Grid

SUMS = ("area_m2", "cover_m3", "waste_m3", "overdig_m3", "left_in_slopes_m3")
slopes = st.sampled_from([0.0, 1.5])


def sums_of(found):
    return {name: float(getattr(found, name).sum()) for name in SUMS} | {
        "dug_m3": float(found.waste_m3.sum() + found.cover_m3.sum()),
        "inverted_m2": found.inverted_area_m2,
        "unknown_m2": found.unknown_area_m2,
    }


def assert_same(one, other, rel=1e-11):
    first, second = sums_of(one), sums_of(other)
    scale = first["dug_m3"] + first["area_m2"]
    for name, value in first.items():
        assert second[name] == pytest.approx(value, rel=rel, abs=rel * scale), name


def halves(outline, bearing):
    """Cut an outline in two along a line through its middle."""
    far = 500.0
    middle = np.array([60.0, 60.0])
    along = np.array([np.cos(bearing), np.sin(bearing)])
    across = np.array([-along[1], along[0]])
    side = shapely.Polygon(
        [middle - far * along, middle + far * along, middle + far * (along + across),
         middle - far * (along - across)]
    )  # fmt: skip
    return outline.intersection(side), outline.difference(side)


@given(data=st.data(), bearing=st.floats(0, 3.1), lift_m=st.floats(0.7, 6))
def test_volumes_add_up_over_zones_and_lifts(deep_grounds, data, bearing, lift_m):
    ground = data.draw(deep_grounds)
    one, other = halves(ground.outline, bearing)
    assume(min(one.area, other.area) > 100)
    whole = ground.dig(lift_m=1000.0)
    parts = ground.dig(plain_footprint(ground.outline, a=one, b=other), lift_m=lift_m)
    assert_same(whole, parts)
    alone = [ground.dig(plain_footprint(part), lift_m=lift_m) for part in (one, other)]
    for name in SUMS:
        by_zone = getattr(parts, name).reshape(2, -1).sum(axis=1)
        apart = [getattr(each, name).sum() for each in alone]
        np.testing.assert_allclose(by_zone, apart, rtol=1e-11, atol=1e-7)


@given(data=st.data(), side_slope=slopes)
def test_lifts_by_depth_and_by_elevation_hold_the_same(grounds, data, side_slope):
    ground = data.draw(grounds)
    level = ground.dig(side_slope=side_slope)
    deep = ground.dig(side_slope=side_slope, lifts_by="depth")
    assert_same(level, deep)


@given(
    data=st.data(),
    east=st.floats(-1e6, 1e6),
    north=st.floats(-1e7, 1e7),
    side_slope=slopes,
)
def test_another_origin_changes_nothing(grounds, data, east, north, side_slope):
    ground = data.draw(grounds)
    moved = plain_footprint(affinity.translate(ground.outline, east, north))
    here = ground.dig(side_slope=side_slope)
    there = ground.dig(moved, origin=(east, north), side_slope=side_slope)
    # Ten million metres leave 2 nm to a coordinate; a face 6 m high and 100 m round feels that.
    assert_same(here, there, rel=1e-8)


@given(data=st.data(), side_slope=slopes, wide=st.sampled_from([(2.0, 2.0), (1.0, 3.0)]))
def test_a_quarter_turn_changes_nothing(grounds, data, side_slope, wide):
    ground = data.draw(grounds)
    survey, base, cover = ground.formulas()
    turned = [
        lambda x, y, of=each: of(y, 120.0 - x)
        for each in (survey, base, cover)
    ]  # fmt: skip
    outline = shapely.transform(
        ground.outline, lambda points: np.stack([120 - points[:, 1], points[:, 0]], axis=1)
    )
    one = ground.dig(side_slope=side_slope, cell_m=wide)
    two = ground.dig(plain_footprint(outline), turned, side_slope=side_slope, cell_m=wide[::-1])
    assert_same(one, two, rel=1e-10)
    assert two.error.total_m3 == pytest.approx(one.error.total_m3, rel=1e-9)


@given(data=st.data(), start=st.integers(0, 24), back=st.booleans(), side_slope=slopes)
def test_the_order_of_vertices_and_extra_ones_change_nothing(
    grounds, data, start, back, side_slope
):
    """Exactly; under slopes to a part in a thousand, since the rim is read at more places."""
    ground = data.draw(grounds)
    ring = shapely.get_coordinates(ground.outline)[:-1]
    ring = np.roll(ring, start, axis=0)[:: -1 if back else 1]
    dense = shapely.segmentize(shapely.Polygon(ring), data.draw(st.floats(0.5, 20)))
    one = ground.dig(side_slope=side_slope)
    two = ground.dig(plain_footprint(dense), side_slope=side_slope)
    assert_same(one, two, rel=1e-3 if side_slope else 1e-10)


@given(data=st.data(), bearing=st.floats(0, 3.1), side_slope=slopes)
def test_the_order_of_zones_changes_nothing(grounds, data, bearing, side_slope):
    ground = data.draw(grounds)
    one, other = halves(ground.outline, bearing)
    assume(min(one.area, other.area) > 100)
    first = ground.dig(plain_footprint(ground.outline, a=one, b=other), side_slope=side_slope)
    second = ground.dig(plain_footprint(ground.outline, b=other, a=one), side_slope=side_slope)
    assert first.zones == second.zones[::-1]
    np.testing.assert_allclose(second.waste_m3[::-1], first.waste_m3, rtol=1e-12, atol=1e-9)
    np.testing.assert_allclose(second.area_m2[::-1], first.area_m2, rtol=1e-12)


@given(data=st.data(), squares=st.floats(11, 50), deep=st.booleans())
def test_polygons_cut_into_squares_hold_the_same(grounds, deep_grounds, data, squares, deep):
    """Exactly; where waste runs out inside a cell that is cut, to a part in a thousand."""
    ground = data.draw(deep_grounds if deep else grounds)
    edges = np.arange(0, 120 + squares, squares)
    zones = {}
    for row, south in enumerate(edges[:-1]):
        for column, west in enumerate(edges[:-1]):
            box = shapely.box(west, south, west + squares, south + squares)
            piece = shapely.intersection(ground.outline, box)
            if piece.area > 0:
                zones[f"{row}_{column}"] = piece
    parts = ground.dig(plain_footprint(ground.outline, **zones))
    assert_same(ground.dig(), parts, rel=1e-10 if deep else 1e-3)


@given(data=st.data(), cell_m=st.sampled_from([3.0, 4.0, 5.0, 6.0]), side_slope=slopes)
def test_coarser_cells_stay_within_the_stated_error(grounds, data, cell_m, side_slope):
    """The stated error is one standard deviation of what surveys of this kind miss."""
    ground = replace(data.draw(grounds), cell_m=1.0)
    fine = ground.dig(side_slope=side_slope)
    coarse = ground.dig(side_slope=side_slope, cell_m=cell_m)
    assert coarse.area_m2.sum() == pytest.approx(fine.area_m2.sum(), rel=1e-11)
    assert abs(sums_of(coarse)["dug_m3"] - sums_of(fine)["dug_m3"]) < fine.error.total_m3
    assert coarse.error.total_m3 == pytest.approx(fine.error.total_m3, rel=0.2)


@given(data=st.data(), wider=st.floats(0.2, 8), longer=st.floats(0.2, 8), taller=st.floats(0.2, 8))
def test_volumes_scale_with_area_and_with_height(grounds, data, wider, longer, taller):
    """Twice as wide is twice as much, and so with length and height."""
    ground = data.draw(grounds)
    formulas = ground.formulas()
    one = ground.dig()
    stretched = affinity.scale(ground.outline, wider, longer, origin=(0, 0))
    grid = Grid(0.0, 120.0 * longer, 2.0 * wider, 2.0 * longer, 60, 60)
    surfaces = [
        KnownSurface(grid, lambda x, y, of=each: taller * of(x / wider, y / longer))
        for each in formulas
    ]
    two = measure(
        plain_footprint(stretched), grid, *surfaces, side_slope=0.0, overdig_m=0.3 * taller,
        lift_m=3.0, survey_sd_m=0.05, base_sd_m=0.4, error_range_m=60.0,
    )  # fmt: skip
    assert two.area_m2.sum() == pytest.approx(wider * longer * one.area_m2.sum(), rel=1e-10)
    for name in ("cover_m3", "waste_m3", "overdig_m3"):
        expected = wider * longer * taller * getattr(one, name).sum()
        assert getattr(two, name).sum() == pytest.approx(expected, rel=1e-9, abs=1e-6)


@given(
    data=st.data(),
    shift=st.floats(-3, 3),
    sds=st.tuples(*[st.floats(0, 1)] * 2),
    more=st.tuples(*[st.floats(0, 1)] * 2),
)
def test_a_less_certain_surface_never_narrows_the_error(grounds, data, shift, sds, more):
    ground = data.draw(grounds)
    wider = [one + plus for one, plus in zip(sds, more, strict=True)]
    one, two = (
        ground.dig(survey_sd_m=survey, base_sd_m=base).error for survey, base in (sds, wider)
    )
    for name in ("random_m3", "correlated_m3", "systematic_m3"):
        assert getattr(two, name) >= getattr(one, name) * (1 - 1e-12)
    # A datum that is off by the same everywhere moves nothing but the lifts.
    survey, base, cover = ground.formulas()
    lifted = [lambda x, y: survey(x, y) + shift, lambda x, y: base(x, y) + shift, cover]
    assert_same(ground.dig(), ground.dig(formulas=lifted), rel=1e-10)
