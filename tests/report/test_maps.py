"""The maps: layout, place, unit and sum of the raster; layers and attributes of the vectors."""

from __future__ import annotations

from dataclasses import replace

import geopandas as gpd
import numpy as np
import pyogrio
import pytest
import rasterio

from reclaim.ground import thickness_blocks
from reclaim.report.maps import write_thickness, write_vectors
from reclaim.report.results import results
from reclaim.site.model import Grid, Window

# Length of a US survey foot [m]: 1200/3937, NIST Special Publication 811.
US_SURVEY_FOOT_M = 1200 / 3937


@pytest.fixture(scope="module")
def thickness(estimate, tmp_path_factory):
    path = tmp_path_factory.mktemp("maps") / "thickness.tif"
    site = estimate.site
    blocks = thickness_blocks(
        site.footprint, site.grid, site.survey, site.base, side_slope=site.side_slope
    )
    write_thickness(path, site.grid, blocks)
    return path


def test_the_raster_is_a_cloud_optimised_geotiff(thickness) -> None:
    with rasterio.open(thickness) as raster:
        # GDAL's COG driver writes this tag (GDAL documentation, COG driver).
        assert raster.tags(ns="IMAGE_STRUCTURE")["LAYOUT"] == "COG"
        assert raster.profile["tiled"]
        assert raster.dtypes == ("float32",)
        assert np.isnan(raster.nodata)
        assert "[m]" in raster.descriptions[0]


def test_the_draft_is_gone(thickness) -> None:
    assert [path.name for path in thickness.parent.iterdir()] == ["thickness.tif"]


def test_the_raster_lies_on_the_grid(thickness, estimate) -> None:
    grid = estimate.site.grid
    with rasterio.open(thickness) as raster:
        assert raster.crs.to_epsg() == 25832
        assert (raster.width, raster.height) == (grid.columns, grid.rows)
        assert raster.bounds.left == grid.west_m
        assert raster.bounds.top == grid.north_m


def test_the_raster_holds_the_dug_volume(thickness, estimate) -> None:
    with rasterio.open(thickness) as raster:
        cells = raster.read(1)
    volume = np.nansum(cells) * estimate.site.grid.cell_area_m2
    dug = estimate.excavation.waste_m3.sum() + estimate.excavation.cover_m3.sum()
    # Whole cells on the edge, and the fixture has no side slopes; a few per cent either way.
    assert volume == pytest.approx(dug, rel=0.06)


def test_blocks_land_where_their_window_says_in_feet_too(tmp_path) -> None:
    unit = US_SURVEY_FOOT_M
    grid = Grid(1000 * unit, 2000 * unit, 3 * unit, 3 * unit, 40, 50, "EPSG:2263", unit)
    block = np.full((2, 3), 7.5, dtype=np.float32)
    write_thickness(tmp_path / "t.tif", grid, iter([(Window(10, 20, 2, 3), block)]))
    with rasterio.open(tmp_path / "t.tif") as raster:
        cells = raster.read(1)
        assert (raster.bounds.left, raster.bounds.top) == pytest.approx((1000, 2000))
        assert raster.res == pytest.approx((3, 3))
    assert np.isfinite(cells).sum() == 6
    assert cells[10:12, 20:23] == pytest.approx(block)


def test_the_geopackage_has_its_layers_and_numbers(estimate, document, tmp_path) -> None:
    path = tmp_path / "site.gpkg"
    write_vectors(path, estimate, document)
    layers = {name for name, _ in pyogrio.list_layers(path)}
    assert layers == {"zones", "footprint", "exclusions", "cores", "hazards"}
    zones = gpd.read_file(path, layer="zones")
    assert zones.crs.to_epsg() == 25832
    assert zones.geometry.area.to_numpy() == pytest.approx(zones["area_m2"], rel=1e-6)
    assert zones["waste_m3"].sum() == pytest.approx(document["excavation"]["waste_m3"]["value"])
    assert (zones["waste_m3_p10"] < zones["waste_m3_p90"]).all()
    cores = gpd.read_file(path, layer="cores")
    collars = estimate.site.cores.collars
    assert list(cores["core_id"]) == list(collars["core_id"])
    assert cores.geometry.x.to_numpy() == pytest.approx(collars["x_m"].to_numpy())
    assert {"moisture", "fines", "depth_m", "zone"} <= set(cores.columns)


def test_shapes_go_back_to_the_units_of_the_crs(estimate, tmp_path) -> None:
    unit = US_SURVEY_FOOT_M
    feet = replace(
        estimate,
        site=replace(
            estimate.site, grid=replace(estimate.site.grid, crs_unit_m=unit, crs_wkt="EPSG:2263")
        ),
    )
    write_vectors(tmp_path / "feet.gpkg", feet, results(feet))
    footprint = gpd.read_file(tmp_path / "feet.gpkg", layer="footprint")
    exact = estimate.site.footprint.as_given.area
    assert footprint.geometry.area[0] * unit**2 == pytest.approx(exact, rel=1e-9)


def test_a_site_without_exclusions_and_cores_keeps_all_layers(estimate, tmp_path) -> None:
    from shapely import MultiPolygon

    cores = estimate.site.cores
    bare = replace(
        estimate,
        site=replace(
            estimate.site,
            footprint=replace(estimate.site.footprint, exclusions=MultiPolygon()),
            cores=replace(cores, collars=cores.collars.iloc[:0]),
        ),
        core_summary=None,
    )
    write_vectors(tmp_path / "bare.gpkg", bare, results(bare))
    assert len(pyogrio.list_layers(tmp_path / "bare.gpkg")) == 5
    assert len(gpd.read_file(tmp_path / "bare.gpkg", layer="exclusions")) == 0
