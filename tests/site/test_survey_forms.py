"""Survey and base as points, point clouds, lines and triangles: one plane in every form."""

from __future__ import annotations

import json

import numpy as np
import pytest

from reclaim.site import Window
from reclaim.site.points import GriddedSurface
from reclaim.site.tinsurface import TinSurface

WEST, SOUTH = 500_000.0, 5_400_000.0
FOOT = 0.3048  # NIST SP 811 (2008), app. B.6


def plane(u, v):
    return 20 + 0.02 * u + 0.01 * v


def base_plane(u, v):
    return 12 + 0.01 * u + 0 * v


def scattered(count=400, seed=5):
    """Points over the whole small site, corners first, so that the hull is the site."""
    rng = np.random.default_rng(seed)
    corners = [[0, 0], [120, 0], [120, 100], [0, 100]]
    return np.vstack([corners, rng.uniform([0, 0], [120, 100], (count, 2))])


def values_and_places(site, which="survey"):
    read = site.read()
    window = Window(0, 0, read.grid.rows, read.grid.columns)
    with getattr(read, which).reader() as values:
        u = read.grid.west_m + (np.arange(window.columns) + 0.5) * read.grid.cell_x_m - WEST
        v = read.grid.north_m - (np.arange(window.rows) + 0.5) * read.grid.cell_y_m - SOUTH
        return read, values(window), *np.meshgrid(u, v)


def assert_is_plane(site, formula, which="survey", share=0.97):
    read, values, u, v = values_and_places(site, which)
    within = (u > 5) & (u < 115) & (v > 5) & (v < 95)
    assert np.isfinite(values[within]).all()
    known = np.isfinite(values)
    np.testing.assert_allclose(values[known], formula(u, v)[known], atol=1e-5)
    inside = (u >= 0) & (u <= 120) & (v >= 0) & (v <= 100)
    # Nothing is extrapolated; a cell with a point in it is known up to its centre.
    slack = 0.51 * read.grid.cell_x_m if isinstance(read.survey, GriddedSurface) else 1e-6
    assert not known[(u < -slack) | (u > 120 + slack) | (v < -slack) | (v > 100 + slack)].any()
    assert known[inside].mean() > share
    return read


def write_points(site, name, text_of=None, formula=plane, unit=1.0):
    uv = scattered()
    lines = text_of or "{:.6f} {:.6f} {:.8f}".format
    rows = [lines(WEST + u, SOUTH + v, formula(u, v) / unit) for u, v in uv]
    (site.folder / name).write_text("\n".join(rows) + "\n")


def with_crs(site):
    site.edit("[surfaces]", '[surfaces]\ncrs = "EPSG:32633"')


@pytest.mark.parametrize(
    ("name", "header", "text_of"),
    [
        ("survey.xyz", "", "{:.6f} {:.6f} {:.8f}".format),
        ("survey.csv", "Easting,Northing,Elevation\n", "{:.6f},{:.6f},{:.8f}".format),
        (
            "survey.csv",
            "id;z;x;y\n",
            lambda x, y, z: f"7;{z:.8f};{x:.6f};{y:.6f}".replace(".", ","),
        ),
        ("survey.txt", "# exported\n", "{:.6f}\t{:.6f}\t{:.8f}\t99".format),
    ],
    ids=["xyz", "named columns", "decimal commas", "comment and a fourth column"],
)
def test_points_carry_the_plane(site, name, header, text_of):
    write_points(site, name, text_of)
    file = site.folder / name
    file.write_text(header + file.read_text())
    site.edit("survey.tif", name)
    with_crs(site)
    read = assert_is_plane(site, plane)
    assert read.grid.cell_x_m == 1.0  # spacing 5.4 m, no wider than a metre
    assert any("cells of 1 m" in str(check) for check in read.checks)


def test_the_cell_size_can_be_stated(site):
    write_points(site, "survey.xyz")
    site.edit("survey.tif", "survey.xyz")
    site.edit("[surfaces]", '[surfaces]\ncell_m = 2.5\ncrs = "EPSG:32633"')
    assert assert_is_plane(site, plane, share=0.95).grid.cell_x_m == 2.5


def test_points_in_feet_as_a_base(site):
    write_points(site, "base.xyz", formula=base_plane)
    site.edit('base = "base.tif"', 'base = "base.xyz"')
    assert_is_plane(site, base_plane, "base")


@pytest.fixture
def cloud(site):
    laspy = pytest.importorskip("laspy")

    def write(name, classes=(2, 5), crs=None, point_format=6):
        from pyproj import CRS

        header = laspy.LasHeader(point_format=point_format, version="1.4")
        header.scales, header.offsets = [1e-6] * 3, [WEST, SOUTH, 0]
        if crs:
            header.add_crs(CRS.from_user_input(crs))
        ground = scattered(1000)
        las = laspy.LasData(header)
        z = plane(*ground.T)
        # Trees of 10 m over every point, in the second class, and one withheld point.
        las.x = np.concatenate([ground[:, 0] + WEST] * 2 + [[WEST + 60]])
        las.y = np.concatenate([ground[:, 1] + SOUTH] * 2 + [[SOUTH + 50]])
        las.z = np.concatenate([z, z + 10, [90.0]])
        las.classification = np.repeat([classes[0], classes[1], classes[0]], [len(z), len(z), 1])
        las.withheld = np.concatenate([np.zeros(2 * len(z)), [1]]).astype(np.uint8)
        las.write(site.folder / name)

    return write


@pytest.mark.parametrize("name", ["survey.las", "survey.laz"])
def test_only_the_ground_of_a_point_cloud_is_read(site, cloud, name):
    """Written by laspy; class 2 is ground in the LAS 1.4 R15 specification, table 17."""
    cloud(name, crs="EPSG:32633")
    site.edit("survey.tif", name)
    assert_is_plane(site, plane)


def test_tiles_of_a_point_cloud_are_one_survey(site, cloud):
    laspy = pytest.importorskip("laspy")
    cloud("whole.las", crs="EPSG:32633")
    whole = laspy.read(site.folder / "whole.las")
    for name, west in (("a.las", True), ("b.las", False)):
        half = laspy.LasData(whole.header, whole.points[(whole.x < WEST + 60) == west].copy())
        half.write(site.folder / name)
    site.edit('"survey.tif"', '"a.las"\nsurvey_tiles = ["b.las"]')
    read = assert_is_plane(site, plane)
    assert {"a.las", "b.las"} <= {file.path for file in read.inputs}


def test_tiles_with_a_gap_are_told(site):
    """Two halves 30 m apart: the ground between them is a straight line, with its area."""
    u, v = (axis.ravel() for axis in np.meshgrid(np.arange(0, 121, 2.0), np.arange(0, 101, 2.0)))
    for name, chosen in (("a.xyz", u < 45), ("b.xyz", u > 75)):
        xyz = np.column_stack([WEST + u, SOUTH + v, plane(u, v)])[chosen]
        np.savetxt(site.folder / name, xyz, fmt="%.4f")
    site.edit('"survey.tif"', '"a.xyz"\nsurvey_tiles = ["b.xyz"]')
    with_crs(site)
    (warning,) = [text for text in site.warnings() if "where tiles leave a gap" in text]
    assert 2000 < float(warning.split("About ")[1].split(" m2")[0]) < 3000  # 80 m by 32 m


def test_tiles_of_rasters_are_left_to_gdal(site):
    site.edit('"survey.tif"', '"survey.tif"\nsurvey_tiles = ["base.tif"]')
    (message,) = site.errors()
    assert "gdalbuildvrt" in message


def test_a_point_cloud_without_ground_is_refused(site, cloud):
    cloud("survey.las", classes=(1, 5), crs="EPSG:32633")
    site.edit("survey.tif", "survey.las")
    (message,) = site.errors()
    assert "no points of class 2 (classes found: 1, 5)" in message
    assert "point_class" in message
    site.edit("[surfaces]", "[surfaces]\npoint_class = 1")
    assert_is_plane(site, plane)


def test_a_damaged_point_cloud(site):
    pytest.importorskip("laspy")
    (site.folder / "survey.las").write_bytes(b"LASF" + b"\0" * 50)
    site.edit("survey.tif", "survey.las")
    (message,) = site.errors()
    assert "survey.las: The point cloud cannot be read" in message


def landxml(
    triangles, unit='Metric linearUnit="meter"', *, more="", crs='epsgCode="32633"', scale=1.0
):
    """A LandXML-1.2 file by hand from the schema: P is northing, easting, elevation."""
    points = np.unique(np.concatenate(triangles), axis=0)
    number = {tuple(point): index + 1 for index, point in enumerate(points)}
    p = "".join(
        f'<P id="{number[tuple(q)]}">{q[1] / scale!r} {q[0] / scale!r} {q[2] / scale!r}</P>'
        for q in points.tolist()
    )
    f = "".join(
        "<F>" + " ".join(str(number[tuple(q)]) for q in t.tolist()) + "</F>" for t in triangles
    )
    return f"""<?xml version="1.0"?>
<LandXML xmlns="http://www.landxml.org/schema/LandXML-1.2" version="1.2">
<Units><{unit} areaUnit="squareMeter"/></Units>
<CoordinateSystem {crs}/>
<Surfaces><Surface name="ground"><Definition surfType="TIN"><Pnts>{p}</Pnts>
<Faces>{f}{more}</Faces></Definition></Surface></Surfaces></LandXML>"""


def tin_of(formula=plane):
    from scipy.spatial import Delaunay

    uv = scattered(60)
    points = np.column_stack([WEST + uv[:, 0], SOUTH + uv[:, 1], formula(*uv.T)])
    return [points[t] for t in Delaunay(uv).simplices]


def test_landxml_carries_the_plane(site):
    (site.folder / "survey.xml").write_text(landxml(tin_of()))
    site.edit("survey.tif", "survey.xml")
    assert_is_plane(site, plane)


def test_an_imperial_landxml_base_is_in_feet_whatever_the_site_file_says(site):
    text = landxml(tin_of(base_plane), 'Imperial linearUnit="foot"', crs="", scale=FOOT)
    (site.folder / "base.xml").write_text(text)
    site.edit('base = "base.tif"', 'base = "base.xml"')
    read = assert_is_plane(site, base_plane, "base")
    assert any("own unit of 0.3048 m" in str(check) for check in read.checks)


def test_invisible_faces_of_landxml_are_holes(site):
    """LandXML-1.2 schema, element F: i="1" marks a face that is not part of the surface."""
    triangles = tin_of()
    (site.folder / "survey.xml").write_text(landxml(triangles).replace("<F>", '<F i="1">', 1))
    site.edit("survey.tif", "survey.xml")
    read = site.read()
    assert len(read.survey.corners_m) == len(triangles) - 1


@pytest.mark.parametrize(
    ("change", "parts"),
    [
        (("<LandXML ", '<!DOCTYPE LandXML [<!ENTITY a "x">]><LandXML '), ("document type",)),
        (("</Pnts>", "</Pnt>"), ("no whole XML",)),
        (("</F>", "9999</F>"), ("points that are not there, ",)),
        (("<F>", "<F>5 "), ("corners instead of three",)),
        (('<P id="1">', '<P id="1">north '), ("Point '1' is not northing",)),
        (('linearUnit="meter"', 'linearUnit="rod"'), ("in which unit it is (rod)",)),
        (("Surfaces>", "Nothing>"), ("has no triangles",)),
    ],
)
def test_bad_landxml(site, change, parts):
    text = landxml(tin_of())
    if change[0] == "Surfaces>":
        text = text[: text.index("<Faces>")] + text[text.index("</Faces>") + 8 :]
    else:
        text = text.replace(*change, 1)
    (site.folder / "survey.xml").write_text(text)
    site.edit("survey.tif", "survey.xml")
    (message,) = site.errors()
    assert message.startswith("survey.xml")
    assert all(part in message for part in parts), message


def test_xml_that_begins_with_a_point_is_refused(site):
    (site.folder / "survey.xml").write_text('<P id="1">1 2 3</P>')
    site.edit("survey.tif", "survey.xml")
    (message,) = site.errors()
    assert message.startswith("survey.xml")


def test_several_surfaces_are_told_and_can_be_chosen(site):
    text = landxml(tin_of())
    second = landxml(tin_of(base_plane))
    second = second[second.index("<Surface ") : second.index("</Surfaces>")]
    text = text.replace("</Surfaces>", second.replace('"ground"', '"old ground"') + "</Surfaces>")
    (site.folder / "both.xml").write_text(text)
    site.edit("survey.tif", "both.xml")
    assert any("2 surfaces (ground, old ground); 'ground' was read" in w for w in site.warnings())
    site.edit("base.tif", "both.xml")
    site.edit("[surfaces]", '[surfaces]\nsurvey_surface = "ground"\nbase_surface = "old ground"')
    read = assert_is_plane(site, base_plane, "base")
    assert not any("surfaces (" in str(check) for check in read.checks)
    site.edit('"old ground"', '"old grund"')
    (message,) = site.errors()
    assert "no surface 'old grund'" in message
    assert "old ground" in message


def test_overlapping_triangles_are_refused(site):
    triangles = tin_of()
    lifted = triangles[0] + [0, 0, 3]
    (site.folder / "survey.xml").write_text(landxml([*triangles, lifted]))
    site.edit("survey.tif", "survey.xml")
    (message,) = site.errors()
    assert "lie over each other at different elevations" in message


def contours(site, name="contours.geojson", *, field="elev", z=False, levels=range(20, 25)):
    """Level lines of the plane: at each level v is a straight line of u."""
    features = []
    for level in levels:
        for offset in (0, 0.25, 0.5, 0.75):
            height = level + offset
            ends = [(u, (height - 20 - 0.02 * u) / 0.01) for u in (0.0, 120.0)]
            line = [[WEST + u, SOUTH + v, height] if z else [WEST + u, SOUTH + v] for u, v in ends]
            features.append(
                {
                    "type": "Feature",
                    "properties": {field: height} if field else {},
                    "geometry": {"type": "LineString", "coordinates": line},
                }
            )
    crs = {"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::32633"}}
    (site.folder / name).write_text(
        json.dumps({"type": "FeatureCollection", "crs": crs, "features": features})
    )


@pytest.mark.parametrize(("field", "z"), [("elev", False), ("ELEVATION", False), (None, True)])
def test_contours_carry_the_plane(site, field, z):
    contours(site, field=field, z=z)
    site.edit("survey.tif", "contours.geojson")
    _, values, u, v = values_and_places(site)
    inside = (u > 10) & (u < 110) & (v > 10) & (v < 90)
    np.testing.assert_allclose(values[inside], plane(u, v)[inside], atol=1e-6)


def test_contours_without_elevations(site):
    contours(site, field="name")
    site.edit("survey.tif", "contours.geojson")
    (message,) = site.errors()
    assert "neither a field with their elevation nor a third coordinate" in message
    assert "elevation_field" in message
    site.edit("[surfaces]", '[surfaces]\nelevation_field = "nam"')
    (message,) = site.errors()
    assert "contours.geojson field 'nam'" in message
    assert "name" in message


def test_contours_as_a_base_are_brought_to_the_grid(site):
    features = [
        (12.0 + step / 10, [[WEST + step * 10, SOUTH - 5], [WEST + step * 10, SOUTH + 105]])
        for step in range(-1, 14)
    ]
    document = {
        "type": "FeatureCollection",
        "crs": {"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::32633"}},
        "features": [
            {
                "type": "Feature",
                "properties": {"z": level},
                "geometry": {"type": "LineString", "coordinates": line},
            }
            for level, line in features
        ],
    }
    (site.folder / "base.geojson").write_text(json.dumps(document))
    site.edit("base.tif", "base.geojson")
    _, values, u, v = values_and_places(site, "base")
    np.testing.assert_allclose(values, base_plane(u, v), atol=1e-6)


def test_a_breakline_makes_the_edge_sharp(site):
    """A bank of 5 m along u = 60: between points 10 m apart without, exact with its lines."""

    def bank(u):
        return np.where(u < 60, 30.0, 25.0)

    u, v = (axis.ravel() for axis in np.meshgrid(np.arange(0, 121, 10.0), np.arange(0, 101, 10.0)))
    off = u != 60
    rows = [
        f"{WEST + x:.3f} {SOUTH + y:.3f} {z:.3f}"
        for x, y, z in zip(u[off], v[off], bank(u[off]), strict=True)
    ]
    (site.folder / "survey.xyz").write_text("\n".join(rows))
    site.edit("survey.tif", "survey.xyz")
    with_crs(site)
    lines = [
        [[WEST + x, SOUTH, height], [WEST + x, SOUTH + 100, height]]
        for x, height in ((59.25, 30.0), (60.75, 25.0))
    ]
    document = {
        "type": "FeatureCollection",
        "crs": {"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::32633"}},
        "features": [
            {"type": "Feature", "properties": {},
             "geometry": {"type": "LineString", "coordinates": line}}
            for line in lines
        ],
    }  # fmt: skip
    (site.folder / "breaks.geojson").write_text(json.dumps(document))
    _, values, at, _ = values_and_places(site)
    away = np.abs(at - 60) > 1.3
    assert np.nanmax(np.abs(values - bank(at))[away]) > 1.9
    site.edit('survey.xyz"', 'survey.xyz"\nsurvey_breaklines = "breaks.geojson"')
    _, values, at, _ = values_and_places(site)
    assert np.nanmax(np.abs(values - bank(at))[away]) < 1e-6


def test_breaklines_do_not_go_with_a_raster(site):
    contours(site)
    site.edit('survey.tif"', 'survey.tif"\nsurvey_breaklines = "contours.geojson"')
    (message,) = site.errors()
    assert "Breaklines go with points or contour lines only" in message


def test_many_points_are_averaged_by_cell_and_gaps_bridged(site, monkeypatch):
    """More points than are triangulated: the same plane, a hole of 8 m bridged and warned of."""
    from reclaim.site import points

    usual = points.limit
    monkeypatch.setattr(
        points, "limit", lambda name: 10_000 if name == "triangulated_points" else usual(name)
    )
    rng = np.random.default_rng(2)
    uv = rng.uniform([0, 0], [120, 100], (40_000, 2))
    uv = uv[(np.abs(uv[:, 0] - 60) > 4) | (np.abs(uv[:, 1] - 50) > 4)]
    xyz = np.column_stack([WEST + uv[:, 0], SOUTH + uv[:, 1], plane(*uv.T)])
    np.savetxt(site.folder / "survey.xyz", xyz, fmt="%.6f")
    site.edit("survey.tif", "survey.xyz")
    site.edit("[surfaces]", '[surfaces]\ncell_m = 0.5\ncrs = "EPSG:32633"')
    read = assert_is_plane(site, plane, share=0.99)
    assert isinstance(read.survey, GriddedSurface)
    messages = [str(check) for check in read.checks]
    assert any("thinned to" in text for text in messages)
    assert any("as under a building" in text for text in messages)


@pytest.mark.parametrize(
    ("text", "parts"),
    [
        ("", ("holds no points",)),
        ("500000 5400000 20\n500100 5400000 20\n", ("2 points",)),
        ("500000 5400000 20\n500050 5400000 20\n500100 5400000 20\n", ("on one line",)),
        ("500000 5400000 20\n500050 north 20\n500100 5400100 20\n", ("row 2", "north")),
        ("1 500000 5400000 20\n2 500100 5400000 20\n3 500100 5400100 20\n", ("point numbers",)),
        ("name,north,up\na,1,2\nb,1,2\n", ("not clear which columns",)),
    ],
    ids=["empty", "two", "line", "text", "numbers", "no x"],
)
def test_points_that_make_no_surface(site, text, parts):
    (site.folder / "survey.xyz").write_text(text)
    site.edit("survey.tif", "survey.xyz")
    with_crs(site)
    (message,) = site.errors()
    assert message.startswith("survey.xyz")
    assert all(part in message for part in parts), message


def test_points_need_a_coordinate_system(site):
    write_points(site, "survey.xyz")
    site.edit("survey.tif", "survey.xyz")
    (message,) = site.errors()
    assert '[surfaces] crs = "EPSG:..."' in message


def test_points_of_nodata_are_left_out_and_told(site):
    write_points(site, "survey.xyz")
    with (site.folder / "survey.xyz").open("a") as file:
        file.write(f"{WEST + 50} {SOUTH + 50} -9999\n")
    site.edit("survey.tif", "survey.xyz")
    with_crs(site)
    read = assert_is_plane(site, plane)
    assert any("1 points have no real elevation" in str(check) for check in read.checks)


def test_base_points_off_the_survey(site):
    write_points(site, "base.xyz", "{0:.0f} {2:.0f} {1:.0f}".format)
    (site.folder / "base.xyz").write_text("1 2 3\n100 90 4\n5 80 6\n")
    site.edit("base.tif", "base.xyz")
    (message,) = site.errors()
    assert "base.xyz: The points lie wholly outside the survey" in message


def test_matplotlib_finds_the_same_elevations_on_the_same_triangles(site):
    """Reference: matplotlib's own linear interpolation on the same triangulation."""
    from matplotlib.tri import LinearTriInterpolator, Triangulation

    grid = site.read().grid
    rng = np.random.default_rng(9)
    uv, z = rng.uniform([-20, -20], [140, 120], (300, 2)), rng.uniform(10, 30, 300)
    theirs = Triangulation(*uv.T)
    points = np.column_stack([uv + np.array([WEST, SOUTH]), z])
    surface = TinSurface(points[theirs.triangles], "test", grid)
    window = Window(-3, -3, 110, 130)
    with surface.reader() as read:
        values = read(window)
    u, v = np.meshgrid(np.arange(120) + 0.5, 100 - np.arange(100) - 0.5)
    expected = LinearTriInterpolator(theirs, z)(u, v)
    np.testing.assert_array_equal(np.isnan(values[3:103, 3:123]), np.ma.getmaskarray(expected))
    np.testing.assert_allclose(values[3:103, 3:123], expected.filled(np.nan), atol=1e-6)
    assert np.isnan(values[:3]).all()
    assert surface.overlap_m2() == 0


def test_tiles_read_alone_are_those_of_the_whole(site):
    grid = site.read().grid
    rng = np.random.default_rng(4)
    points = np.column_stack(
        [rng.uniform([WEST, SOUTH], [WEST + 120, SOUTH + 100], (80, 2)), rng.uniform(10, 30, 80)]
    )
    surface = TinSurface.through(points, "test", grid)
    with surface.reader() as read:
        whole = read(Window(0, 0, 100, 120))
        for row in range(0, 100, 33):
            for column in range(0, 120, 50):
                part = read(Window(row, column, 33, 50))
                known = whole[row : row + 33, column : column + 50]
                np.testing.assert_array_equal(part[: known.shape[0], : known.shape[1]], known)


def test_volume_of_prisms_under_triangles_is_that_of_the_grid(site):
    """Sum of prisms (plan area times mean corner height, closed form) against cell sums."""
    grid = site.read().grid
    rng = np.random.default_rng(11)
    uv = np.vstack(
        [[[0, 0], [120, 0], [120, 100], [0, 100]], rng.uniform([0, 0], [120, 100], (40, 2))]
    )
    points = np.column_stack([uv + np.array([WEST, SOUTH]), rng.uniform(5, 10, len(uv))])
    surface = TinSurface.through(points, "test", grid)
    prisms = (surface.plan_areas_m2() * surface.corners_m[:, :, 2].mean(axis=1)).sum()
    with surface.reader() as read:
        cells = read(Window(0, 0, 100, 120)).sum() * grid.cell_area_m2
    assert surface.plan_areas_m2().sum() == pytest.approx(12_000)
    assert cells == pytest.approx(prisms, rel=2e-4)


@pytest.mark.parametrize("name", ["lines.gpkg", "lines.shp", "lines.dxf", "lines.fgb"])
def test_contours_in_other_vector_formats(site, name):
    """Written by GDAL's own drivers; elevations in the third coordinate, as DXF keeps them."""
    import geopandas

    contours(site, field=None, z=True)
    frame = geopandas.read_file(site.folder / "contours.geojson")
    frame[["geometry"]].to_file(site.folder / name)
    site.edit("survey.tif", name)
    if name.endswith(".dxf"):
        with_crs(site)
    _, values, u, v = values_and_places(site)
    inside = (u > 10) & (u < 110) & (v > 10) & (v < 90)
    np.testing.assert_allclose(values[inside], plane(u, v)[inside], atol=1e-6)
