"""Swell, heaps, restoration fill and the soil balance, against closed forms."""

from dataclasses import replace

import numpy as np
import pytest
import shapely

from reclaim.assumptions import Draws, default_assumption
from reclaim.ground import (
    DugVolumes,
    Restoration,
    domed_surface,
    heap_area_m2,
    prismoidal_volume,
    restoration_volumes,
    soil_balance,
)
from reclaim.ground.known_surfaces import KnownSurface, level, plain_footprint
from reclaim.reference import assumption_defaults
from reclaim.site.model import Grid

GRID = Grid(0.0, 100.0, 0.5, 0.5, 200, 200)


def assumptions(**numbers: float) -> dict:
    found = {key: default_assumption(each) for key, each in assumption_defaults().items()}
    for name, value in numbers.items():
        key = f"excavation.{name}"
        found[key] = replace(found[key], kind="exact", numbers=(value,), given=True)
    return found


def volumes(draws: Draws) -> DugVolumes:
    n = draws.n_draws
    waste = np.full(n, 10_000.0)
    return DugVolumes(np.full(n, 2000.0), waste, np.full(n, 500.0), waste[:, None])


@pytest.mark.parametrize("slope", [0.5, 1.5, 2.0])
@pytest.mark.parametrize("height_m", [2.0, 5.0])
@pytest.mark.parametrize("base_m", [30.0, 90.0])
def test_flat_topped_heap_by_the_prismoidal_formula(slope: float, height_m: float, base_m: float):
    # End areas and middle of the frustum, any surveying handbook.
    sides = [base_m - 2 * slope * z for z in (0, height_m / 2, height_m)]
    volume = prismoidal_volume([0, height_m / 2, height_m], [side**2 for side in sides])
    found = heap_area_m2(np.array([volume]), np.array([height_m]), np.array([slope]))
    assert found[0] == pytest.approx(base_m**2)


def test_small_heap_is_a_pyramid_below_the_height():
    # b 6 m, 1.5:1, so 2 m high: V = A h / 3 = 24 m3.
    found = heap_area_m2(np.array([24.0]), np.array([5.0]), np.array([1.5]))
    assert found[0] == pytest.approx(36)
    assert heap_area_m2(np.zeros(1), np.full(1, 3.0), np.ones(1))[0] == 0


def test_balance_by_hand():
    draws = Draws.best_estimate()
    stated = assumptions(
        waste_swell=1.3, soil_swell=1.2, soil_shrinkage=0.9, heap_height_m=3, heap_slope=2,
        waste_waiting=0.1,
    )  # fmt: skip
    found = soil_balance(volumes(draws), Restoration("flat", 4000, 100, 0), stated, draws)
    assert found.waste_loose_m3[0] == pytest.approx(13_000)
    assert found.cover_loose_m3[0] == pytest.approx(2400)
    assert found.overdig_loose_m3[0] == pytest.approx(600)
    assert found.soil_placed_m3[0] == pytest.approx(2340)
    assert found.import_m3[0] == pytest.approx(1660)
    assert found.export_m3[0] == 0
    assert found.waste_heap_m2[0] == pytest.approx(
        heap_area_m2(np.array([1300.0]), np.array([3.0]), np.array([2.0]))[0]
    )


def test_without_a_target_nothing_is_said_of_import():
    draws = Draws(50, 1)
    found = soil_balance(volumes(draws), None, assumptions(), draws)
    assert np.isnan(found.import_m3).all()
    assert np.isnan(found.export_m3).all()
    assert found.waste_loose_m3.std() > 0
    assert np.all(found.waste_loose_m3 > 10_000)


def test_defaults_lie_where_the_trade_puts_them():
    # Common practice, no source: earth bulks by a tenth to two fifths when dug.
    rows = assumption_defaults()
    for name in ("waste_swell", "soil_swell"):
        quantity = rows[f"excavation.{name}"].quantity
        assert 1 < quantity.low < quantity.mode < quantity.high < 2
    assert rows["excavation.soil_shrinkage"].quantity.high <= 1.1


def test_fill_of_a_rectangular_pit_in_closed_form():
    # The pit of 13 968 m3 (floor 50 x 30 m, 6 m deep, 1.5:1), 0.5 m of over-dig on its floor, up
    # to 1 m above the ground around.
    rim = plain_footprint(shapely.box(10, 20, 78, 68))
    surfaces = [KnownSurface(GRID, level(height)) for height in (6, 0)]
    flat = domed_surface(rim, GRID, edge_elevation_m=7, crown_m=0)
    found = restoration_volumes(rim, GRID, *surfaces, flat, side_slope=1.5, overdig_m=0.5)
    assert found.fill_m3 == pytest.approx(13_968 + 0.5 * 1500 + 68 * 48, rel=1e-3)
    assert found.cut_m3 == 0
    # A target below the rim cuts the slopes: 2 m down, what stands above is the pit's upper ring.
    low = domed_surface(rim, GRID, edge_elevation_m=4, crown_m=0)
    found = restoration_volumes(rim, GRID, *surfaces, low, side_slope=1.5, overdig_m=0.0)
    upper_pit = 2 * (68 * 48 - (68 + 48) * 3 + 4 / 3 * 9)
    assert found.cut_m3 == pytest.approx(2 * 68 * 48 - upper_pit, rel=2e-3)
    assert found.fill_m3 == pytest.approx(13_968 - upper_pit, rel=2e-3)


@pytest.mark.parametrize("turned", [0.0, 25.0])
def test_dome_in_closed_form(turned: float):
    # Elliptic paraboloid: V = pi a b c / 2.
    oval = shapely.affinity.scale(shapely.Point(50, 50).buffer(1, quad_segs=200), 40, 20)
    footprint = plain_footprint(shapely.affinity.rotate(oval, turned))
    surfaces = [KnownSurface(GRID, level(height)) for height in (0, -1e-9)]
    dome = domed_surface(footprint, GRID, edge_elevation_m=0, crown_m=3)
    assert dome.label == "a dome of 3 m above 0 m"
    found = restoration_volumes(footprint, GRID, *surfaces, dome, side_slope=0, overdig_m=0)
    assert found.fill_m3 == pytest.approx(np.pi * 40 * 20 * 3 / 2, rel=2e-3)


def test_unknown_target_is_told():
    def unknown_in_the_west(x: np.ndarray, _: np.ndarray) -> np.ndarray:
        return np.where(x < 50, np.nan, 8.0)

    rim = plain_footprint(shapely.box(40, 40, 60, 60))
    surfaces = [KnownSurface(GRID, each) for each in (level(6), level(0), unknown_in_the_west)]
    found = restoration_volumes(rim, GRID, *surfaces, side_slope=0, overdig_m=0)
    assert found.unknown_area_m2 == pytest.approx(200)
    assert found.fill_m3 == pytest.approx(1600)
