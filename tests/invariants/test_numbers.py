"""Numbers at their edges, against exact fractions: the bounds that docs/methods.md states."""

from __future__ import annotations

from fractions import Fraction
from math import fsum

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from reclaim.appraisal import (
    annuity_factor,
    equivalent_annual_cost,
    internal_rate_of_return,
    net_present_value,
    nominal_flow,
    payback_years,
)
from reclaim.appraisal.airspace import life_years
from reclaim.geostatistics import CovarianceModel, OrdinaryKriging, likeliest_covariance
from reclaim.ground import measure
from reclaim.ground.known_surfaces import KnownSurface, level, plain_footprint
from reclaim.site.model import Grid

ROUNDING = 1e-12
NUMBERS = {
    "side_slope": 0.0,
    "overdig_m": 0.0,
    "lift_m": 5.0,
    "survey_sd_m": 0.05,
    "base_sd_m": 0.4,
    "error_range_m": 60.0,
}


def exact_volume(ring, height, east, north):
    """Volume under height + east x + north y over a ring, by Green's theorem in fractions."""
    points = [(Fraction(x), Fraction(y)) for x, y in ring]
    volume = Fraction(0)
    for (x1, y1), (x2, y2) in zip(points, [*points[1:], points[0]], strict=True):
        cross = x1 * y2 - x2 * y1
        volume += cross * (height / 2 + east * (x1 + x2) / 6 + north * (y1 + y2) / 6)
    return abs(volume)


@pytest.mark.parametrize(
    ("corner", "bound"),
    [
        ((0.0, 0.0), 1e-13),
        ((500_000.0, 6_250_000.0), 1e-12),  # a usual northing
        ((3_500_000.0, 15_000_000.0), 1e-12),  # false origins added to it
        ((-2e9, 1e9), 1e-8),  # no origin in use lies so far off
    ],
)
def test_volume_far_from_the_origin(corner, bound):
    """A plane over an irregular polygon; coordinates are eighths, so that fractions are exact."""
    rng = np.random.default_rng(4)
    angle = np.sort(rng.random(40)) * 2 * np.pi
    reach = 30 + 15 * rng.random(40)
    ring = np.round(8 * np.stack([60 + reach * np.cos(angle), 60 + reach * np.sin(angle)], 1)) / 8
    west, south = corner

    def tilted(x, y):
        return 10 + 0.03125 * (x - west) - 0.015625 * (y - south)

    grid = Grid(west, south + 120.0, 1.5, 1.5, 80, 80)
    surfaces = [KnownSurface(grid, each) for each in (tilted, level(0), level(0))]
    found = measure(plain_footprint(shapely.Polygon(ring + corner)), grid, *surfaces, **NUMBERS)
    exact = exact_volume(ring, Fraction(10), Fraction(1, 32), Fraction(-1, 64))
    assert float(found.waste_m3.sum()) == pytest.approx(float(exact), rel=bound)


class SinglePrecision(KnownSurface):
    """A surface as most rasters hold it."""

    def _read(self, window):
        return KnownSurface._read(self, window).astype(np.float32)


def test_single_precision_rasters_are_summed_in_double():
    """A million cells high above the sea: the sum is that of the stored numbers, exactly."""
    grid = Grid(0.0, 1000.0, 1.0, 1.0, 1000, 1000)
    heights = {}

    def rough(x, y):
        noise = np.sin(12.9898 * x + 78.233 * y) * 43758.5453
        return 2100 + 5 * (noise - np.floor(noise))

    survey = SinglePrecision(grid, rough)
    base = SinglePrecision(grid, level(2077.7))
    cover = SinglePrecision(grid, level(0.1))
    found = measure(plain_footprint(shapely.box(0, 0, 1000, 1000)), grid, survey, base, cover,
                    **NUMBERS)  # fmt: skip
    x, y = np.meshgrid(np.arange(1000) + 0.5, 1000 - np.arange(1000) - 0.5)
    heights = rough(x, y).astype(np.float32).astype(np.float64)
    low, thin = float(np.float32(2077.7)), float(np.float32(0.1))
    exact = fsum((heights - low).ravel())
    dug = float(found.waste_m3.sum() + found.cover_m3.sum())
    assert dug == pytest.approx(exact, rel=ROUNDING)
    assert found.cover_m3.sum() == pytest.approx(1e6 * thin, rel=1e-9)
    # Summed in single precision the same numbers are off by far more.
    single = np.cumsum((heights - low).ravel().astype(np.float32))[-1]
    assert abs(float(single) / exact - 1) > 1e-7


def spherical(distance):
    """Covariance of sill 1 and range 100 m, in fractions."""
    step = abs(distance) / 100
    return Fraction(0) if step >= 1 else 1 - (3 * step - step**3) / 2


def exact_kriging(places, values, target):
    """Ordinary kriging on a line, by Gaussian elimination in fractions: estimate and variance."""
    count = len(places)
    rows = [[spherical(a - b) for b in places] + [Fraction(1), spherical(a - target)]
            for a in places]  # fmt: skip
    rows.append([Fraction(1)] * count + [Fraction(0), Fraction(1)])
    right = [row[-1] for row in rows]
    for pivot in range(count + 1):
        best = max(range(pivot, count + 1), key=lambda row: abs(rows[row][pivot]))
        rows[pivot], rows[best] = rows[best], rows[pivot]
        for row in range(count + 1):
            if row != pivot and rows[row][pivot]:
                factor = rows[row][pivot] / rows[pivot][pivot]
                rows[row] = [a - factor * b for a, b in zip(rows[row], rows[pivot], strict=True)]
    weights = [rows[row][-1] / rows[row][row] for row in range(count + 1)]
    estimate = sum(w * v for w, v in zip(weights, values, strict=False))
    return estimate, 1 - sum(w * c for w, c in zip(weights, right, strict=True))


MODEL = CovarianceModel("spherical", 1.0, 100.0)


@pytest.mark.parametrize(
    ("apart", "bound"),
    [(10.0, 1e-14), (1.0, 1e-13), (1e-3, 1e-10), (1e-6, 1e-7), (1e-8, 1e-5), (1e-10, 1e-3)],
)
def test_kriging_with_cores_ever_closer(apart, bound):
    """Cores on one line, two of them nearly at one place with different values."""
    places = [Fraction(0), Fraction(apart), Fraction(37), Fraction(80)]
    values = [Fraction(3), Fraction(5), Fraction(1), Fraction(7)]
    data = np.array([[float(place), 0.0] for place in places])
    kriging = OrdinaryKriging(data, MODEL)
    targets = [Fraction(5), Fraction(50), Fraction(140)]
    found, variance = kriging.estimate(
        np.array([float(value) for value in values]),
        np.array([[float(target), 0.0] for target in targets]),
    )
    for place, target in enumerate(targets):
        estimate, exact = exact_kriging(places, values, target)
        assert found[place] == pytest.approx(float(estimate), abs=7 * bound)
        assert variance[place] == pytest.approx(float(exact), abs=bound)


@pytest.mark.parametrize("apart", [0.0, 1e-14, 1e-15])
def test_cores_at_one_place_are_refused(apart):
    with pytest.raises(ValueError, match="at one place"):
        OrdinaryKriging(np.array([[0.0, 0.0], [apart, 0.0], [30.0, 9.0]]), MODEL)


@given(
    value=st.floats(-1e12, 1e12),
    east=st.floats(-1e6, 1e6),
    north=st.floats(-1e7, 1e7),
    lined=st.booleans(),
)
def test_equal_values_are_kriged_to_themselves(value, east, north, lined):
    rng = np.random.default_rng(3)
    data = rng.uniform(0, 200, (15, 2))
    if lined:
        data[:, 1] = 0.5 * data[:, 0]
    origin = np.array([east, north])
    kriging = OrdinaryKriging(data + origin, MODEL)
    found, variance = kriging.estimate(np.full(15, value), rng.uniform(-50, 250, (40, 2)) + origin)
    np.testing.assert_allclose(found, value, rtol=1e-10, atol=1e-300)
    assert (variance >= 0).all()


def test_equal_values_have_no_covariance():
    with pytest.raises(ValueError, match="differ"):
        likeliest_covariance(np.array([[0.0, 0], [5, 1], [9, 9], [2, 7]]), np.full(4, 0.3))


RATES = [-0.9, -0.5, -1e-9, -1e-15, 0.0, 1e-30, 1e-15, 1e-13, 1e-9, 1e-4, 0.04, 1.0, 10.0]


@pytest.mark.parametrize("rate", RATES)
@pytest.mark.parametrize("years", [1, 30, 250])
def test_annuities_at_every_rate(rate, years):
    one = 1 + Fraction(rate)
    exact = float(sum(one**-year for year in range(1, years + 1)))
    assert annuity_factor(rate, years) == pytest.approx(exact, rel=ROUNDING)
    paid = equivalent_annual_cost(np.array([1e6]), np.array([rate]), np.array([float(years)]))[0]
    assert paid == pytest.approx(1e6 / exact, rel=ROUNDING)


@pytest.mark.parametrize("rate", RATES)
@pytest.mark.parametrize("size", [1e-150, 1.0, 1e150])
def test_present_value_at_every_rate_and_size(rate, size):
    """Relative to the largest discounted flow, since income and cost may cancel."""
    rng = np.random.default_rng(8)
    flow = size * rng.normal(0, 1, 60)
    one = 1 + Fraction(rate)
    parts = [Fraction(each) / one**year for year, each in enumerate(flow)]
    found = net_present_value(flow[None, :], np.array([rate]))[0]
    largest = float(max(abs(part) for part in parts))
    assert found == pytest.approx(float(sum(parts)), abs=1e-12 * largest)


@pytest.mark.parametrize("size", [1e-150, 1.0, 1e150])
@pytest.mark.parametrize("rate", [-0.8, -0.3, -1e-6, 0.0, 1e-6, 0.04, 1.0, 9.0])
def test_rate_of_return_is_found_again_at_every_size(rate, size):
    """Built in fractions so that its present value at the rate is nothing."""
    back = [Fraction(1, 5), Fraction(2, 5), Fraction(7, 10)]
    one = 1 + Fraction(rate)
    cost = sum(part / one ** (year + 1) for year, part in enumerate(back))
    flow = size * np.array([-float(cost), *map(float, back)])
    found, roots = internal_rate_of_return(flow[None, :])
    assert roots[0] == 1
    assert found[0] == pytest.approx(rate, abs=1e-12 * (1 + abs(rate)))
    if rate > 0:
        paid = payback_years(flow[None, :] / size)
        assert payback_years(flow[None, :]) == pytest.approx(paid, rel=ROUNDING)


@pytest.mark.parametrize("inflation", [-0.5, -1e-12, 0.0, 1e-12, 0.02, 1.0])
def test_money_of_the_day_in_fractions(inflation):
    found = nominal_flow(np.ones((1, 60)), np.array([inflation]))[0]
    exact = [float((1 + Fraction(inflation)) ** year) for year in range(60)]
    np.testing.assert_allclose(found, exact, rtol=ROUNDING)


def exact_life(space, rate, growth):
    """Fill year by year in fractions, evenly within a year."""
    years, left, step = 0, Fraction(space), Fraction(rate)
    while left > step:
        left -= step
        step *= 1 + Fraction(growth)
        years += 1
    return years + left / step


@pytest.mark.parametrize("growth", [-0.02, -1e-4, -1e-8, -1e-10, 0.0, 1e-12, 1e-9, 1e-8, 1e-3, 0.5])
@pytest.mark.parametrize("space", [1.0, 49_999.0, 50_000.0, 120_000.0, 1_234_567.0])
def test_life_of_a_space_near_even_filling(growth, space):
    exact = float(exact_life(space, 50_000.0, growth))
    found = life_years(np.array([space]), np.array([50_000.0]), np.array([growth]))[0]
    assert found == pytest.approx(exact, rel=1e-9)


def test_a_falling_rate_that_never_fills_the_space():
    """Filling that falls by a tenth a year comes to ten times the first year, and no further."""
    space = np.array([9.99e5, 1e6, 1.1e6])
    found = life_years(space, np.full(3, 1e5), np.full(3, -0.1))
    assert np.isfinite(found[0])
    assert np.isinf(found[2])
