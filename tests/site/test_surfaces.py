"""Surfaces on other grids, in other units and CRSs, and from the core logs."""

from __future__ import annotations

import numpy as np
import pytest
from affine import Affine

from reclaim.site import Window
from reclaim.site.coresurface import CoreSurface, base_elevations, cover_thicknesses
from reclaim.site.surfaces import RasterSurface, sample
from reclaim.site.units import METRES_PER_UNIT

FEET_PER_METRE = 1 / 0.3048  # NIST SP 811 (2008), app. B.6: 1 ft = 0.3048 m exactly


def values_of(surface, window):
    with surface.reader() as read:
        return read(window)


def centres(grid, window):
    """Metres east and north of the corner of the small site, at cell centres."""
    u = grid.west_m + (window.column + np.arange(window.columns) + 0.5) * grid.cell_x_m - 500_000
    v = grid.north_m - (window.row + np.arange(window.rows) + 0.5) * grid.cell_y_m - 5_400_000
    return np.meshgrid(u, v)


def test_units_are_as_defined():
    # NIST SP 811 (2008), app. B.6: international foot 0.3048 m, US survey foot 1200/3937 m.
    assert METRES_PER_UNIT["ft"] == 0.3048
    assert METRES_PER_UNIT["us-ft"] == pytest.approx(0.3048006096, abs=1e-10)


def test_survey_is_read_as_rasterio_reads_it(site):
    import rasterio

    read = site.read()
    window = Window(17, 31, 40, 50)
    with rasterio.open(site.folder / "survey.tif") as file:
        expected = file.read(1)[17:57, 31:81]
    np.testing.assert_array_equal(values_of(read.survey, window), expected)


def test_a_plane_on_another_grid_comes_out_as_the_plane(site):
    site.write_raster("base.tif", 2.5, lambda u, v: 12 + 0.01 * u + 0.03 * v, west=-5, south=-5)
    read = site.read()
    assert read.base.offset is None
    window = Window(10, 0, 80, 100)
    u, v = centres(read.grid, window)
    np.testing.assert_allclose(values_of(read.base, window), 12 + 0.01 * u + 0.03 * v, atol=1e-9)


def test_a_plane_in_another_crs_comes_out_as_the_plane(site):
    # Reference: coordinates from pyproj; the base is a plane in the neighbouring UTM zone.
    from pyproj import Transformer

    transformer = Transformer.from_crs("EPSG:32633", "EPSG:32632", always_xy=True)
    x0, y0 = transformer.transform(500_060, 5_400_050)
    site.write_raster(
        "base.tif", 2.0, lambda u, v: 12 + 0.02 * u + 0.01 * v,
        crs="EPSG:32632", transform=Affine(2, 0, x0 - 60, 0, -2, y0 + 50),
    )  # fmt: skip
    read = site.read()
    window = Window(30, 30, 40, 60)
    u, v = centres(read.grid, window)
    x, y = transformer.transform(u + 500_000, v + 5_400_000)
    expected = 12 + 0.02 * (x - (x0 - 60)) + 0.01 * (y - (y0 - 50))
    np.testing.assert_allclose(values_of(read.base, window), expected, atol=1e-4)


def test_an_aligned_raster_is_read_without_warping(site):
    site.write_raster("base.tif", 1.0, lambda u, _: 12 + 0.01 * u, west=20, south=-10)
    base = site.read().base
    assert base.offset == (10, 20)
    values = values_of(base, Window(8, 18, 4, 4))
    assert np.isnan(values[:2]).all()
    assert np.isnan(values[:, :2]).all()
    np.testing.assert_allclose(values[2:, 2:], [[12.205, 12.215]] * 2)


def test_nodata_and_impossible_elevations_are_unknown(site):
    def holed(u, v):
        values = 20 + 0.02 * u + 0.01 * v
        values[0, 0], values[0, 1], values[0, 2] = -9999, -32768, 1e30
        return values

    for nodata in (-9999.0, None):
        site.write_raster("survey.tif", 1.0, holed, nodata=nodata)
        values = values_of(site.read().survey, Window(0, 0, 1, 4))
        assert np.isnan(values[0]).tolist() == [True, True, True, False]


def test_surfaces_in_feet_become_metres(site):
    feet = lambda level: lambda u, v: level(u, v) * FEET_PER_METRE  # noqa: E731
    site.write_raster("survey.tif", 1.0, feet(lambda u, v: 20 + 0.02 * u + 0.01 * v))
    site.write_raster("base.tif", 2.0, feet(lambda u, v: 12 + 0.01 * u + 0 * v))
    site.edit('base = "base.tif"', 'base = "base.tif"\nvertical_unit = "ft"')
    for name, columns in (
        ("collars.csv", (3, 4)), ("intervals.csv", (1, 2)), ("samples.csv", (1, 2)),
        ("lab.csv", (1, 2)), ("gas.csv", (1,)),
    ):  # fmt: skip
        header, *rows = [line.split(",") for line in site.tables[name].splitlines()]
        for row in rows:
            for column in columns:
                row[column] = repr(float(row[column]) * FEET_PER_METRE)
        site.tables[name] = "\n".join(",".join(row) for row in [header, *rows])
    read = site.read()
    assert [check.level for check in read.checks] == ["note"]
    assert values_of(read.survey, Window(99, 0, 1, 1))[0, 0] == pytest.approx(20.015)
    assert read.cores.collars["elevation_m"].iloc[0] == pytest.approx(20.6)
    assert read.cores.intervals["to_m"].iloc[1] == pytest.approx(8.4)
    assert read.cores.gas["depth_m"].iloc[0] == pytest.approx(3)


def test_a_crs_in_feet_is_scaled_to_metres(site):
    # EPSG:2263, New York Long Island: unit is the US survey foot.
    foot = 1200 / 3937
    site.footprint_crs = "EPSG:2263"
    site.write_raster("survey.tif", 1.0, lambda u, v: 20 + 0.02 * u + 0.01 * v, crs="EPSG:2263")
    site.write_raster("base.tif", 2.0, lambda u, v: 12 + 0.01 * u + 0 * v, crs="EPSG:2263")
    read = site.read()
    assert read.grid.crs_unit_m == pytest.approx(foot)
    assert read.grid.cell_area_m2 == pytest.approx(foot**2)
    assert read.footprint.outline.area == pytest.approx(100 * 80 * foot**2)
    assert read.cores.collars["x_m"].iloc[0] == pytest.approx(500_020 * foot)
    assert list(read.cores.collars["zone"]) == ["whole"] * 4
    assert read.checks == ()


def test_points_are_read_bilinear(site):
    read = site.read()
    x = np.array([500_020.3, 500_000.1, 499_000.0])
    y = np.array([5_400_020.7, 5_400_099.9, 5_400_000.0])
    values = sample(read.survey, read.grid, x, y)
    assert values[0] == pytest.approx(20 + 0.02 * 20.3 + 0.01 * 20.7)
    assert values[1] == pytest.approx(20 + 0.02 * 0.5 + 0.01 * 99.5)  # nearest cell at the rim
    assert np.isnan(values[2])


def test_gdal_cache_is_bound_while_a_raster_is_open(site):
    from rasterio._env import get_gdal_config

    surface = site.read().survey
    assert isinstance(surface, RasterSurface)
    with surface.reader() as read:
        read(Window(0, 0, 5, 5))
        assert get_gdal_config("GDAL_CACHEMAX") == 12 * 2**20


def test_base_and_cover_in_the_logs(site):
    cores = site.read().cores
    np.testing.assert_allclose(base_elevations(cores), [12.2, 13.0, 12.2, 13.0])
    np.testing.assert_allclose(cover_thicknesses(cores), 0.5)


def test_base_from_cores_is_the_plane_the_logs_lie_on(site):
    site.edit('base = "base.tif"', "base_from_cores = true")
    site.edit("cover_m = 0.5", "cover_from_cores = true")
    read = site.read()
    assert read.base_sampled
    assert read.cover_sampled
    between = Window(20, 20, 60, 80)  # the square between the four cores
    u, _ = centres(read.grid, between)
    np.testing.assert_allclose(values_of(read.base, between), 12 + 0.01 * u, atol=1e-9)
    np.testing.assert_allclose(values_of(read.cover, Window(0, 0, 100, 120)), 0.5)
    beyond = values_of(read.base, Window(50, 0, 1, 120))[0]
    np.testing.assert_allclose(beyond[:20], 12.2)
    np.testing.assert_allclose(beyond[100:], 13.0)
    messages = [str(check) for check in read.checks]
    # Footprint 100 by 80 m, square between cores 80 by 60 m.
    assert any("3,200 m2 of the footprint (40 %)" in message for message in messages)


def test_a_core_that_ends_in_waste_gives_no_base_and_is_noted(site):
    site.edit('base = "base.tif"', "base_from_cores = true")
    site.edit("A,8.4,9.4,natural,sand\n", "", "intervals.csv")
    read = site.read()
    assert any("give no base: A." in str(check) for check in read.checks)
    with read.base.reader() as values:
        assert np.isfinite(values(Window(0, 0, 100, 120))).all()


@pytest.mark.parametrize(
    ("x", "y", "value", "expected"),
    [
        ([60.0], [50.0], [5.0], 5.0),
        ([20.0, 100.0], [50.0, 50.0], [4.0, 6.0], 5.0),
        ([20.0, 60.0, 100.0], [50.0, 50.0, 50.0], [4.0, 5.5, 6.0], 5.5),
        ([20.0, 100.0, 20.0, 100.0], [50.0, 50.0, 50.0, 50.0], [3.0, 6.0, 5.0, 6.0], 5.0),
    ],
    ids=["one core", "two cores", "three on a line", "twin cores"],
)
def test_few_cores_still_carry_a_surface(site, x, y, value, expected):
    grid = site.read().grid
    surface = CoreSurface.through(
        500_000 + np.array(x), 5_400_000 + np.array(y), np.array(value), "base", grid
    )
    values = sample(surface, grid, np.array([500_060.0]), np.array([5_400_070.0]))
    assert values[0] == pytest.approx(expected, abs=0.02)


def test_core_surface_agrees_with_matplotlib_triangulation(site):
    # Reference: matplotlib's linear interpolation on its own Delaunay triangles.
    from matplotlib.tri import LinearTriInterpolator, Triangulation

    grid = site.read().grid
    generator = np.random.default_rng(3)
    u, v, z = generator.uniform(5, 95, 12), generator.uniform(5, 95, 12), generator.random(12)
    surface = CoreSurface.through(500_000 + u, 5_400_000 + v, z, "base", grid)
    window = Window(0, 0, 100, 100)
    expected = LinearTriInterpolator(Triangulation(u, v), z)(*centres(grid, window))
    values = values_of(surface, window)
    assert np.isfinite(values).all()
    inside = ~expected.mask
    np.testing.assert_allclose(values[inside], expected.data[inside], atol=1e-6)
    assert values.min() >= z.min()
    assert values.max() <= z.max()
