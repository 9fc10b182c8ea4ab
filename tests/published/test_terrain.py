"""Surfaces through points and contours on real terrain, against the terrain itself.

Terrain: the elevation model of a fault in Tennessee that matplotlib ships as sample data, cut from
the National Elevation Dataset of the US Geological Survey (public domain); cells taken as 30 m.
"""

from __future__ import annotations

import json

import numpy as np
import pytest
from scipy.interpolate import LinearNDInterpolator

from reclaim.site.model import Grid, Window
from reclaim.site.problems import Findings
from reclaim.site.surfacefile import SurfaceRequest, open_base, open_survey

CELL_M = 30.0
WEST, NORTH = 700_000.0, 4_060_000.0


@pytest.fixture(scope="module")
def terrain():
    from matplotlib import cbook

    with cbook.get_sample_data("jacksboro_fault_dem.npz") as data:
        return np.asarray(data["elevation"], dtype=float)[:300, :300]


@pytest.fixture(scope="module")
def grid(terrain) -> Grid:
    from pyproj import CRS

    wkt = CRS.from_epsg(32616).to_wkt()
    return Grid(WEST, NORTH, CELL_M, CELL_M, *terrain.shape, crs_wkt=wkt)


def centres(grid):
    x = grid.west_m + (np.arange(grid.columns) + 0.5) * grid.cell_x_m
    y = grid.north_m - (np.arange(grid.rows) + 0.5) * grid.cell_y_m
    return np.meshgrid(x, y)


def read_on(grid, path, **request):
    findings = Findings()
    surface = open_base(SurfaceRequest(path, path.name, 1.0, **request), grid, findings)
    assert findings.errors == ()
    with surface.reader() as read:
        return read(Window(0, 0, grid.rows, grid.columns))


def test_every_cell_as_a_point_gives_the_terrain_back(tmp_path, terrain, grid) -> None:
    x, y = centres(grid)
    path = tmp_path / "all.xyz"
    np.savetxt(path, np.column_stack([x.ravel(), y.ravel(), terrain.ravel()]), fmt="%.3f")
    np.testing.assert_allclose(read_on(grid, path), terrain, atol=1e-3)


def test_a_fifth_of_the_points_is_what_scipy_makes_of_them(tmp_path, terrain, grid) -> None:
    """Reference library: scipy's linear interpolation; and the terrain left out, as a survey."""
    x, y = centres(grid)
    rng = np.random.default_rng(1)
    chosen = rng.random(terrain.shape) < 0.2
    points = np.column_stack([x[chosen], y[chosen], terrain[chosen]])
    path = tmp_path / "some.xyz"
    np.savetxt(path, points, fmt="%.3f")
    found = read_on(grid, path)
    centre = points[:, :2].mean(axis=0)
    library = LinearNDInterpolator(points[:, :2] - centre, points[:, 2])
    expected = library(np.column_stack([x.ravel(), y.ravel()]) - centre).reshape(x.shape)
    both = np.isfinite(found) & np.isfinite(expected)
    assert both.mean() > 0.97
    # Four points on a circle may be cut either way, so a few cells differ.
    assert (np.abs(found - expected)[both] < 1e-3).mean() > 0.8
    assert np.nanmean(found - expected) == pytest.approx(0, abs=0.05)
    error = (found - terrain)[both & ~chosen]
    assert abs(error.mean()) < 0.5
    assert error.std() < 0.1 * terrain.std()  # points some 67 m apart on rough ground


def test_volume_above_a_level_from_contours_is_near_that_of_the_terrain(
    tmp_path, terrain, grid
) -> None:
    """Contours at 10 m drawn by matplotlib, read as lines: within a share of the interval."""
    from matplotlib.figure import Figure

    x, y = centres(grid)
    drawn = Figure().add_subplot().contour(x, y, terrain, levels=np.arange(200, 1100, 10))
    features = [
        {"type": "Feature", "properties": {"elev": float(level)},
         "geometry": {"type": "LineString", "coordinates": line.tolist()}}
        for level, path in zip(drawn.levels, drawn.get_paths(), strict=True)
        for line in path.to_polygons(closed_only=False)
        if len(line) > 1
    ]  # fmt: skip
    crs = {"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::32616"}}
    path = tmp_path / "contours.geojson"
    path.write_text(json.dumps({"type": "FeatureCollection", "crs": crs, "features": features}))
    found = read_on(grid, path)
    inside = np.s_[30:270, 30:270]
    assert np.isfinite(found[inside]).all()
    difference = (found - terrain)[inside]
    assert abs(difference.mean()) < 1.0  # a tenth of the contour interval
    assert np.abs(difference).max() < 20  # two intervals, on a flat top
    above = terrain[inside].sum() - terrain[inside].size * terrain.min()
    assert difference.sum() / above == pytest.approx(0, abs=0.005)


def test_dense_points_keep_the_volume_of_the_terrain(tmp_path, terrain, monkeypatch) -> None:
    """Points far denser than the cells: cell means, gaps bridged, no bias of the mean."""
    from scipy.interpolate import RegularGridInterpolator

    from reclaim.site import points

    usual = points.limit
    monkeypatch.setattr(
        points, "limit", lambda name: 2000 if name == "triangulated_points" else usual(name)
    )
    rows = np.arange(100) * CELL_M
    true = RegularGridInterpolator((rows, rows), terrain[:100, :100])
    rng = np.random.default_rng(2)
    yx = rng.uniform(0, 99 * CELL_M, (60_000, 2))
    z = true(yx)
    path = tmp_path / "dense.xyz"
    np.savetxt(path, np.column_stack([WEST + yx[:, 1], NORTH - yx[:, 0], z]), fmt="%.4f")
    findings = Findings()
    request = SurfaceRequest(path, path.name, 1.0, cell_m=20.0, crs_text="EPSG:32616")
    grid, surface = open_survey(request, findings)
    assert isinstance(surface, points.GriddedSurface)
    with surface.reader() as read:
        found = read(Window(0, 0, grid.rows, grid.columns))
    x, y = centres(grid)
    yx = np.stack([NORTH - y, x - WEST], axis=-1)
    within = ((yx >= 0) & (yx <= 99 * CELL_M)).all(axis=-1) & np.isfinite(found)
    assert within.mean() > 0.95
    error = found[within] - true(yx[within])
    assert abs(error.mean()) < 0.05
    assert error.std() < 1.5
