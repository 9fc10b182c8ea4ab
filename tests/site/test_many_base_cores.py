"""A base kriged from more cores than one system can hold."""

from __future__ import annotations

import numpy as np
import pytest

from reclaim.geostatistics import CovarianceModel, ordinary_kriging
from reclaim.site.krigedsurface import CoreValues, KrigedSurface
from reclaim.site.model import Grid, Window

GRID = Grid(0.0, 600.0, 3.0, 3.0, 200, 200)


def rough(x_m, y_m):
    return 12 + 2 * np.sin(x_m / 70) * np.cos(y_m / 90) + 0.01 * x_m


@pytest.fixture(scope="module")
def cores() -> CoreValues:
    places_m = np.random.default_rng(8).uniform(0, 600, (500, 2))
    return CoreValues(places_m, rough(*places_m.T))


@pytest.fixture(scope="module")
def surface(cores) -> KrigedSurface:
    return KrigedSurface(cores, CovarianceModel("spherical", 4.0, 250.0), "base", GRID)


def read(surface: KrigedSurface, window: Window) -> np.ndarray:
    with surface.reader() as values:
        return values(window)


def test_neighbourhoods_give_what_one_system_of_all_gives(cores, surface):
    """Against the whole system: Isaaks and Srivastava (1989), chapter 14, on what is lost."""
    window = Window(60, 80, 50, 60)
    x_m = (window.column + np.arange(window.columns) + 0.5) * 3.0
    y_m = 600.0 - (window.row + np.arange(window.rows) + 0.5) * 3.0
    cells = np.column_stack([axis.ravel() for axis in np.meshgrid(x_m, y_m)])
    whole, variance = ordinary_kriging(cores.places_m, cores.value_m, cells, surface.model)
    off = read(surface, window).ravel() - whole
    assert np.abs(off).max() < 0.1 * np.sqrt(variance.mean())
    assert np.abs(off).max() > 0  # it is not the whole system under another name


def test_a_cell_has_one_value_in_every_window(surface):
    whole = read(surface, Window(0, 0, 90, 90))
    row = read(surface, Window(37, 21, 1, 40))
    np.testing.assert_allclose(row, whole[37:38, 21:61], rtol=1e-13)


def test_cores_left_out_are_met_as_by_all_others(cores, surface):
    """Each from a system made without it, by definition."""
    errors_m = surface.left_out_m()
    for number in (3, 471):
        rest = np.delete(np.arange(500), number)
        found, _ = ordinary_kriging(
            cores.places_m[rest], cores.value_m[rest], cores.places_m[[number]], surface.model
        )
        assert errors_m[number] == pytest.approx(cores.value_m[number] - found[0], abs=0.02)


def test_the_covariance_of_many_is_fitted_to_a_part_of_them(cores, monkeypatch):
    fitted = []
    monkeypatch.setattr(
        "reclaim.site.krigedsurface.likeliest_covariance",
        lambda places_m, value_m: fitted.append((places_m, value_m)),
    )
    cores.model(0.5, 60.0)
    ((places_m, value_m),) = fitted
    assert len(places_m) == 400
    np.testing.assert_array_equal(value_m, rough(*places_m.T))


def test_the_surface_still_goes_through_its_cores():
    """No nugget, a core in the middle of a cell."""
    column, row = np.meshgrid(np.arange(30), np.arange(30))
    places_m = np.column_stack([(column.ravel() * 6 + 0.5) * 3, 600 - (row.ravel() * 6 + 0.5) * 3])
    cores = CoreValues(places_m, rough(*places_m.T))
    model = CovarianceModel("spherical", 4.0, 90.0)
    found = read(KrigedSurface(cores, model, "base", GRID), Window(0, 0, 175, 175))
    np.testing.assert_allclose(found[::6, ::6].ravel(), cores.value_m, atol=1e-9)
