"""Surveys and bases that cannot be used, or only with a warning."""

from __future__ import annotations

import pytest
from affine import Affine


def plane(u, v):
    return 20 + 0.02 * u + 0.01 * v


@pytest.mark.parametrize(
    ("changes", "parts"),
    [
        ({"crs": None}, ("survey.tif", "coordinate system", '[surfaces] crs = "EPSG:...')),
        (
            {"crs": "EPSG:4326", "transform": Affine(1e-5, 0, 15, 0, -1e-5, 48.7)},
            ("survey.tif", "degrees", "Warp it to a projected system"),
        ),
        (
            {"transform": Affine(1, 0.2, 500_000, 0.2, -1, 5_400_100)},
            ("survey.tif", "rotated", "north-up"),
        ),
        (
            {"transform": Affine(1, 0, 500_000, 0, 1, 5_400_000)},
            ("survey.tif", "south-up", "north-up"),
        ),
    ],
    ids=["no crs", "degrees", "rotated", "south-up"],
)
def test_bad_survey(site, changes, parts):
    site.write_raster("survey.tif", 1.0, plane, **changes)
    (message,) = site.errors()
    assert all(part in message for part in parts), message


def test_survey_without_crs_takes_the_one_given(site):
    site.write_raster("survey.tif", 1.0, plane, crs=None)
    site.edit("[surfaces]", '[surfaces]\ncrs = "EPSG:32633"')
    read = site.read()
    assert read.footprint.outline.area == pytest.approx(8000)
    assert read.checks == ()


def test_crs_that_contradicts_the_survey_is_told(site):
    site.footprint_crs = "EPSG:25833"
    site.edit("[surfaces]", '[surfaces]\ncrs = "EPSG:25833"')
    assert any("site file says" in text for text in site.warnings())


def test_crs_that_does_not_exist(site):
    site.edit("[surfaces]", '[surfaces]\ncrs = "EPSG:99999"')
    (message,) = site.errors()
    assert "[surfaces] crs" in message
    assert "'EPSG:99999'" in message


def test_no_georeference(site):
    from PIL import Image

    Image.new("L", (120, 100), 20).save(site.folder / "survey.tif")
    (message,) = site.errors()
    assert "does not say where it lies" in message


def test_a_file_that_is_no_raster(site):
    (site.folder / "survey.tif").write_text("not a raster")
    (message,) = site.errors()
    assert "survey.tif" in message
    assert "cannot be read as a raster" in message


def test_base_off_the_survey(site):
    site.write_raster("base.tif", 2.0, plane, west=5000)
    (message,) = site.errors()
    assert "base.tif" in message
    assert "outside the survey" in message


def test_base_without_crs_is_taken_for_the_surveys_and_told(site):
    site.write_raster("base.tif", 2.0, lambda u, _: 12 + 0.01 * u, crs=None)
    assert any("base.tif" in text and "the survey's" in text for text in site.warnings())


def test_bands_of_an_image_are_warned_of(site):
    import rasterio

    with rasterio.open(site.folder / "survey.tif") as file:
        profile, values = file.profile, file.read(1)
    profile["count"] = 3
    with rasterio.open(site.folder / "survey.tif", "w", **profile) as file:
        for band in (1, 2, 3):
            file.write(values, band)
    assert any("3 bands" in text for text in site.warnings())


def test_surface_and_footprint_problems_come_with_those_of_the_tables(site):
    site.write_raster("survey.tif", 1.0, plane, crs=None)
    site.edit("A,1,4,100", "A,1,4,-100", "samples.csv")
    site.edit("A,3,35", "A,3,135", "gas.csv")
    messages = site.errors()
    for part in ("survey.tif", "samples.csv row 2", "gas.csv row 2"):
        assert any(part in message for message in messages)


def test_heights_in_feet_by_the_crs_are_told(site):
    # EPSG:6360 is NAVD88 height in US survey feet; the site file says metres.
    site.write_raster("survey.tif", 1.0, plane, crs="EPSG:32633+6360")
    assert any("heights in US survey foot" in text for text in site.warnings())
