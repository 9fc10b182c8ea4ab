"""The chance that waste is thicker than a depth, against draws and the published threshold."""

import numpy as np
import pytest
import shapely

from reclaim.ground import chance_map, measure
from reclaim.ground.known_surfaces import KnownSurface, level, plain_footprint, plane, rough_outline
from reclaim.ground.volume_error import DugArea, ground_default, volume_error
from reclaim.site.model import Grid, Window

GRID = Grid(0.0, 100.0, 1.0, 1.0, 100, 100)
SQUARE = plain_footprint(shapely.box(10, 10, 90, 90))


def surfaces(*formulas) -> list[KnownSurface]:
    return [KnownSurface(GRID, each) for each in formulas]


def fixed_sd() -> float:
    names = [f"{surface}_{part}_sd_m" for surface in ("survey", "base") for part in
             ("random", "datum")]  # fmt: skip
    return float(np.sqrt(sum(ground_default(name) ** 2 for name in names)))


@pytest.mark.parametrize(
    ("sds", "chance"), [(0.0, 0.5), (1.0, 0.841345), (1.281552, 0.9), (-1.96, 0.024998)]
)
def test_chance_is_that_of_the_normal_distribution(sds: float, chance: float):
    # Table of the standard normal distribution, any handbook of statistics.
    spread = np.sqrt(fixed_sd() ** 2 + 0.1**2 + 0.4**2)
    ground = surfaces(level(5.5 + sds * spread), level(0), level(0.5))
    found = chance_map(SQUARE, GRID, *ground, thicker_than_m=5, survey_sd_m=0.1, base_sd_m=0.4)
    assert np.nanmin(found.chance) == pytest.approx(chance, abs=1e-6)
    assert found.expected_area_m2 == pytest.approx(chance * 6400, abs=1e-2)


def test_threshold_of_a_difference_of_elevation_models():
    # Lane, Westaway and Hicks (2003): a change is seen with confidence 95 % where it exceeds
    # 1.96 sqrt(sd1^2 + sd2^2); Wheaton et al. (2010) repeat it as a chance. From memory.
    rest = fixed_sd()
    survey_sd, base_sd = 0.12, 0.35
    seen_m = 1.96 * np.sqrt(survey_sd**2 + base_sd**2 + rest**2)
    ground = surfaces(level(seen_m), level(0), level(0))
    found = chance_map(
        SQUARE, GRID, *ground, thicker_than_m=0, survey_sd_m=survey_sd, base_sd_m=base_sd
    )
    # Two-sided 95 % leaves 2.5 % on the one side.
    assert np.nanmean(found.chance) == pytest.approx(0.975, abs=1e-5)


def test_map_follows_the_thickness_and_its_own_error():
    def worse_in_the_east(x: np.ndarray, y: np.ndarray) -> np.ndarray:
        return np.where(x + 0 * y < 50, 0.2, 3.0)

    ground = surfaces(level(7), level(0), level(1), worse_in_the_east)
    found = chance_map(
        SQUARE, GRID, *ground[:3], thicker_than_m=5, survey_sd_m=0.05, base_sd_m=0.4,
        base_sd=ground[3],
    )  # fmt: skip
    assert found.chance.shape == (80, 80)
    assert found.extent == (10, 90, 10, 90)
    assert found.chance[:, :40].min() > 0.999
    assert found.chance[:, 40:].max() < 0.64


def test_expected_area_against_draws():
    # Draws of the whole surfaces' shift, which alone is not independent from cell to cell: the
    # expectation does not care.
    outline = rough_outline(50, 50, 50, 35, jag=1)
    ground = surfaces(plane(4, 0.05, 0, 50, 0), level(0), level(0.5))
    found = chance_map(
        plain_footprint(outline), GRID, *ground, thicker_than_m=3, survey_sd_m=0.3, base_sd_m=0.6,
        most_cells=900,
    )  # fmt: skip
    rng = np.random.default_rng(2)
    sd = np.sqrt(fixed_sd() ** 2 + 0.3**2 + 0.6**2)
    areas = []
    for shift in rng.normal(0, sd, 4000):
        # East of the line where the shifted waste is 3 m thick.
        west = 50 - (0.5 + shift) / 0.05
        areas.append(shapely.area(shapely.intersection(outline, shapely.box(west, 0, 200, 100))))
    assert found.expected_area_m2 == pytest.approx(np.mean(areas), rel=0.02)
    assert found.chance.size <= 900


def test_kriged_error_of_the_base_counts_in_the_volume():
    # Half the site at sd 0.2 m, half at 0.6 m, range far longer than the site: the volume error is
    # that of the mean sd, 0.4 m, times the area.
    def two_halves(x: np.ndarray, y: np.ndarray) -> np.ndarray:
        return np.where(x + 0 * y < 50, 0.2, 0.6)

    ground = surfaces(level(7), level(0), level(1))
    numbers = {
        "side_slope": 0.0, "overdig_m": 0.0, "lift_m": 3.0, "survey_sd_m": 0.0, "base_sd_m": 9.0,
        "error_range_m": 1e7,
    }  # fmt: skip
    found = measure(SQUARE, GRID, *ground, **numbers, base_sd=KnownSurface(GRID, two_halves))
    assert found.error.correlated_m3 == pytest.approx(0.4 * 6400, rel=1e-3)


def test_kriged_error_against_simulated_fields():
    # Brute force: fields with the spherical covariance scaled by a sd that varies, 20 000 of them.
    rng = np.random.default_rng(4)
    grid = Grid(0.0, 60.0, 3.0, 3.0, 20, 24)
    area = DugArea(Window(0, 0, 20, 24), grid)
    area.area_m2[:] = 9.0
    row, column = np.meshgrid(np.arange(20), np.arange(24), indexing="ij")
    sd = 0.2 + 0.03 * column
    x, y = column.reshape(-1) * 3.0, row.reshape(-1) * 3.0
    h = np.minimum(np.hypot(x[:, None] - x, y[:, None] - y) / 20.0, 1)
    factor = np.linalg.cholesky(1 - 1.5 * h + 0.5 * h**3 + 1e-10 * np.eye(x.size))
    weights = (sd * area.area_m2).reshape(-1) @ factor
    simulated = (weights @ rng.standard_normal((x.size, 20_000))).std()
    found = volume_error(area, area, survey_sd_m=0.0, base_sd_m=sd, error_range_m=20.0)
    assert found.correlated_m3 == pytest.approx(simulated, rel=0.025)
