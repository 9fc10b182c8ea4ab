"""Footprints: zones, holes, setback, exclusions and repair, checked by areas worked by hand."""

from __future__ import annotations

import numpy as np
import pytest


def test_area_with_a_hole(site):
    site.footprint = [({}, [site.square(10, 10, 110, 90), site.square(40, 40, 60, 60)])]
    assert site.read().footprint.outline.area == pytest.approx(100 * 80 - 20 * 20)


def test_several_parts_without_zones_are_one_zone(site):
    site.footprint = [({}, [site.square(10, 10, 50, 90)]), ({}, [site.square(60, 10, 110, 90)])]
    footprint = site.read().footprint
    assert [zone.name for zone in footprint.zones] == ["whole"]
    assert footprint.outline.area == pytest.approx(40 * 80 + 50 * 80)


def test_zones_are_dissolved_by_field_in_the_order_of_the_file(site):
    site.edit('geojson"', 'geojson"\nzone_field = "cell"')
    site.footprint = [
        ({"cell": "old"}, [site.square(60, 10, 110, 90)]),
        ({"cell": "new"}, [site.square(10, 10, 60, 50)]),
        ({"cell": "new"}, [site.square(10, 50, 60, 90)]),
    ]
    read = site.read()
    assert [zone.name for zone in read.footprint.zones] == ["old", "new"]
    assert [zone.polygon.area for zone in read.footprint.zones] == pytest.approx([4000, 4000])
    assert list(read.cores.collars["zone"]) == ["new", "old", "new", "old"]


def test_setback_and_exclusion_are_taken_off(site):
    site.edit('geojson"', 'geojson"\nsetback_m = 5\nexclusions = "keep.geojson"')
    site.write_polygons("keep.geojson", [({}, [site.square(50, 40, 70, 60)])])
    footprint = site.read().footprint
    assert footprint.as_given.area == pytest.approx(100 * 80)
    assert footprint.exclusions.area == pytest.approx(400)
    assert footprint.outline.area == pytest.approx(90 * 70 - 400)


def test_setback_of_a_circle_takes_the_radius_down(site):
    # Closed form: an inward buffer of a circle is a circle; as a polygon, within 1e-3.
    angle = np.linspace(0, 2 * np.pi, 721)
    ring = np.column_stack([500_060 + 40 * np.cos(angle), 5_400_050 + 40 * np.sin(angle)])
    ring[-1] = ring[0]
    site.footprint = [({}, [ring.tolist()])]
    site.edit('geojson"', 'geojson"\nsetback_m = 10')
    assert site.read().footprint.outline.area == pytest.approx(np.pi * 30**2, rel=1e-3)


def test_a_core_in_the_setback_or_an_exclusion_keeps_its_zone(site):
    site.edit('geojson"', 'geojson"\nsetback_m = 15\nexclusions = "keep.geojson"')
    site.write_polygons("keep.geojson", [({}, [site.square(90, 70, 105, 88)])])
    read = site.read()
    assert list(read.cores.collars["zone"]) == ["whole"] * 4
    assert read.checks == ()


def test_degrees_are_brought_to_the_survey(site):
    # Reference: pyproj, which made the degrees.
    from pyproj import Transformer

    back = Transformer.from_crs("EPSG:32633", "EPSG:4326", always_xy=True)
    ring = [list(back.transform(x, y)) for x, y in site.square(10, 10, 110, 90)]
    site.footprint, site.footprint_crs = [({}, [ring])], None  # RFC 7946: WGS 84 degrees
    footprint = site.read().footprint
    assert footprint.outline.area == pytest.approx(8000, rel=1e-6)
    assert footprint.outline.bounds == pytest.approx((500_010, 5_400_010, 500_110, 5_400_090))


def test_a_bow_tie_is_repaired_and_told(site):
    ring = site.square(10, 10, 110, 90)
    ring[1], ring[2] = ring[2], ring[1]
    site.footprint = [({}, [ring])]
    read = site.read()
    assert read.footprint.outline.area == pytest.approx(4000)  # two triangles of 100 by 40 m
    assert any(
        "feature 1" in warning and "not valid" in warning and "repaired" in warning
        for warning in site.warnings()
    )


def test_other_vector_formats(site):
    import geopandas

    site.write()
    frame = geopandas.read_file(site.folder / "footprint.geojson")
    for name in ("footprint.gpkg", "footprint.shp"):
        frame.to_file(site.folder / name)
        site.toml = site.toml.replace("footprint.geojson", name)
        read = site.read()
        assert read.footprint.outline.area == pytest.approx(8000)
        site.toml = site.toml.replace(name, "footprint.geojson")
    assert {"footprint.shp", "footprint.dbf", "footprint.prj", "footprint.shx"} <= {
        item.path for item in read.inputs
    }


def test_partly_off_the_survey_is_a_warning_with_the_area(site):
    site.footprint = [({}, [site.square(10, 10, 130, 90)])]
    assert any("800 m2 of the footprint lie off the survey" in text for text in site.warnings())


@pytest.mark.parametrize(
    ("zones", "parts"),
    [
        ([("a", (10, 10, 70, 90)), ("b", (60, 10, 110, 90))], ("'a' and 'b'", "800.0 m2")),
        ([("a", (10, 10, 60, 90)), (None, (60, 10, 110, 90))], ("feature 2", "no name")),
        ([("a", (10, 10, 60, 90)), ("site", (60, 10, 110, 90))], ("feature 2", "'site'")),
    ],
    ids=["overlap", "no name", "reserved name"],
)
def test_bad_zones(site, zones, parts):
    site.edit('geojson"', 'geojson"\nzone_field = "cell"')
    site.footprint = [({"cell": name}, [site.square(*box)]) for name, box in zones]
    (message,) = site.errors()
    assert message.startswith("footprint.geojson")
    assert all(part in message for part in parts)


def test_misspelt_zone_field(site):
    site.edit('geojson"', 'geojson"\nzone_field = "Cells"')
    (message,) = site.errors()
    assert "footprint.geojson field 'Cells'" in message
    assert "Did you mean 'cell'?" in message


def test_setback_that_leaves_nothing(site):
    site.edit('geojson"', 'geojson"\nsetback_m = 40')
    (message,) = site.errors()
    assert "40 m" in message
    assert "setback_m" in message


def test_wholly_off_the_survey(site):
    site.footprint = [({}, [[[x + 5000, y] for x, y in site.square(10, 10, 110, 90)]])]
    (message,) = site.errors()
    assert "off the survey" in message
    assert "505060" in message


def test_metres_that_claim_to_be_degrees(site):
    site.footprint_crs = None
    (message,) = site.errors()
    assert "footprint.geojson" in message
    assert "degrees" in message


def write_without_crs(site, shape):
    import geopandas

    frame = geopandas.GeoDataFrame({"cell": ["a"]}, geometry=[shape], crs="EPSG:32633")
    frame.to_file(site.folder / "bare.shp")
    (site.folder / "bare.prj").unlink()
    site.edit("footprint.geojson", "bare.shp")


def test_degrees_without_a_coordinate_system(site):
    from shapely import box

    write_without_crs(site, box(15.0, 48.7, 15.001, 48.701))
    (message,) = site.errors()
    assert "bare.shp" in message
    assert "look like degrees" in message


def test_no_coordinate_system_is_taken_for_the_surveys_and_told(site):
    from shapely import box

    write_without_crs(site, box(500_010, 5_400_010, 500_110, 5_400_090))
    assert site.read().footprint.outline.area == pytest.approx(8000)
    assert any("bare.shp" in text and "the survey's" in text for text in site.warnings())


def test_no_polygons(site):
    import geopandas
    from shapely import LineString

    geopandas.GeoDataFrame(
        geometry=[LineString([(500_010, 5_400_010), (500_020, 5_400_020)])], crs="EPSG:32633"
    ).to_file(site.folder / "line.gpkg")
    site.edit("footprint.geojson", "line.gpkg")
    assert any("no polygons" in message for message in site.errors())


def test_slivers_are_told(site):
    site.footprint.append(({"cell": "all"}, [site.square(10, 90, 110, 90.2)]))
    (warning,) = [text for text in site.warnings() if "sliver" in text]
    assert "feature 2" in warning
    assert "20 square units" in warning


def test_an_empty_feature_is_left_out_and_told(site):
    path = site.write()
    text = (site.folder / "footprint.geojson").read_text()
    empty = '{"type": "Feature", "properties": {}, "geometry": null}'
    (site.folder / "footprint.geojson").write_text(
        text.replace('"features": [', f'"features": [{empty}, ')
    )
    from reclaim.site import read_site

    read = read_site(path)
    assert read.footprint.outline.area == pytest.approx(8000)
    assert any("The feature is empty" in str(check) for check in read.checks)
