"""Every form that is read: a good file of each, how it is read, and what comes of the reading."""

from __future__ import annotations

import dataclasses
import io
import json
import warnings
from dataclasses import dataclass, field

import mutations as m
import numpy as np

from reclaim.site import Findings, SiteError, Window
from reclaim.site.ags import read_ags
from reclaim.site.coretables import (
    read_collars,
    read_gas,
    read_intervals,
    read_lab,
    read_sizes,
    read_water,
)
from reclaim.site.footprint import FootprintRequest, read_footprint
from reclaim.site.hazardfiles import read_local_limits, read_local_words
from reclaim.site.plantfile import read_line, shipped_lines
from reclaim.site.reach import Reach
from reclaim.site.receptors import read_receptors
from reclaim.site.sampletable import read_samples
from reclaim.site.sitefile import read_site_file
from reclaim.site.spreadsheet import read_sheet
from reclaim.site.surfacefile import SurfaceRequest, open_survey
from reclaim.site.tablewords import TableWords

CRS = "EPSG:32633"
WEST, SOUTH = 500_000.0, 5_400_000.0


def crs_wkt():
    import pyproj

    return pyproj.CRS.from_user_input(CRS).to_wkt()


@dataclass(frozen=True)
class Format:
    """A form of file.

    Attributes
    ----------
    name, file
        What it is called here, and the name of the file.
    data
        A good file.
    read
        Takes path and findings, and gives something to compare.
    harmless, damaging
        Mutations after which it must read as before, and those after which anything but a
        traceback may come.
    """

    name: str
    file: str
    data: bytes
    read: object
    damaging: tuple = m.BYTES
    harmless: tuple = ()
    beside: dict[str, bytes] = field(default_factory=dict)


@dataclass(frozen=True)
class Outcome:
    """What came of reading: ``read``, ``warned``, ``refused`` or ``crashed``, and the value."""

    kind: str
    value: object = None
    messages: tuple[str, ...] = ()


def outcome(form, data, folder):
    """Read a file of a form, with every Python warning an error."""
    path = folder / form.file
    path.write_bytes(data)
    findings = Findings()
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            value = plain(form.read(path, findings))
    except SiteError as error:
        findings.extend(error.checks)
        value = None
    except BaseException as error:  # noqa: BLE001 - what is looked for
        return Outcome("crashed", None, (f"{type(error).__name__}: {error}"[:300],))
    messages = tuple(str(check) for check in findings.checks)
    if findings.errors:
        whole = all(check.where and check.what and check.what_to_do for check in findings.errors)
        leaks = any(str(folder) in message for message in messages)
        return Outcome("refused" if whole and not leaks else "crashed", None, messages)
    if value is None:
        return Outcome("crashed", None, ("None, and nothing was said",))
    warned = any(check.level == "warning" for check in findings.checks)
    return Outcome("warned" if warned else "read", value, messages)


def plain(value):
    """Return something that compares by value."""
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        named = ((f.name, plain(getattr(value, f.name))) for f in dataclasses.fields(value))
        return (type(value).__name__, *(pair for pair in named if pair[0] not in {"path", "row"}))
    if hasattr(value, "to_dict") and hasattr(value, "columns"):
        return {
            str(name): [plain(cell) for cell in value[name]]
            for name in sorted(map(str, value.columns))
            if name != "row"
        }
    if isinstance(value, np.ndarray):
        with np.errstate(all="ignore"):  # a damaged raster may hold numbers that are none
            return (value.shape, np.round(np.asarray(value, dtype=float), 6).tobytes())
    if isinstance(value, dict) or hasattr(value, "items"):
        return {str(key): plain(part) for key, part in sorted(value.items(), key=str)}
    if isinstance(value, list | tuple):
        return tuple(plain(part) for part in value)
    if hasattr(value, "wkt"):
        return value.normalize().wkt
    return "nan" if isinstance(value, float) and value != value else value  # noqa: PLR0124


def of_table(reader):
    def read(path, findings):
        sheet = read_sheet(path, path.name, findings, kind=path.stem)
        return None if sheet is None else reader(sheet, "m", findings)

    return read


def survey(path, findings):
    request = SurfaceRequest(
        path=path, written=path.name, unit_m=1.0, cell_m=5.0, crs_text=CRS,
        reach=Reach.of_site(path.parent),
    )  # fmt: skip
    found = open_survey(request, findings)
    if found is None:
        return None
    grid, surface = found
    with surface.reader() as values:
        whole = values(Window(0, 0, min(grid.rows, 200), min(grid.columns, 200)))
    return grid.rows, grid.columns, grid.west_m, grid.north_m, grid.cell_x_m, np.array(whole)


def footprint(path, findings):
    request = FootprintRequest(path, path.name, "cell", 0.0, None, "")
    return read_footprint(request, crs_wkt(), 1.0, findings)


SITE = b"""[site]
name = "Small Tip"
currency = "EUR"
price_year = 2025
opened = 1961
closed = 1987
[footprint]
file = "footprint.geojson"
setback_m = 5.0
[surfaces]
survey = "survey.tif"
base = "base.tif"
cover_m = 0.5
[excavation]
lift_m = 2.5
[cores]
collars = "collars.csv"
intervals = "intervals.csv"
samples = "samples.csv"
[cores.units]
moisture = "%"
[waste]
moisture = { low = 0.2, mode = 0.3, high = 0.4 }
bulk_density_t_m3 = { mean = 1.1, sd = 0.1 }
[waste.names]
"Film & bags" = "plastic_film"
[money]
discount_rate = 0.04
[schedule]
closed_months = [1, 2, 12]
[scenarios.wet]
waste.moisture = 0.4
[uncertainty]
draws = 50
seed = 7
[[uncertainty.correlations]]
between = ["money.price_ferrous_per_t", "money.price_nonferrous_per_t"]
rank = 0.5
"""
COLLARS = b"""core_id,x,y,elevation_m,depth_m,drilled_on,method,diameter_mm
A,500020,5400020,20.6,9.4,2024-05-01,auger,900
B,500100,5400020,22.2,10.2,2024-05-01,auger,900
C,500020,5400080,21.2,10.5,2024-05-02,auger,900
"""
INTERVALS = b"""core_id,from_m,to_m,layer,note
A,0,0.5,cover,clayey soil
A,0.5,8.4,waste,
A,8.4,9.4,natural,sand
B,0,0.5,cover,
"""
SAMPLES = b"""\
core_id,from_m,to_m,wet_mass_kg,moisture,bulk_density_t_m3,plastic_film,wood,glass,fines
A,1,4,100,0.30,1.1,20,10,10,60
A,4,8,80,0.25,,16,8,8,48
B,1,8,100,0.35,1.2,10,10,20,60
"""
LAB = b"""core_id,from_m,to_m,ncv_mj_kg,ash,chlorine,mercury_mg_kg
A,1,4,8.5,0.45,0.006,0.4
B,1,4,9.5,0.40,0.004,0.2
"""
GAS = b"""core_id,depth_m,ch4_pct,co2_pct,o2_pct,h2s_ppm,co_ppm,date,flow_l_h
A,3,35,28,0.5,12,3,2024-06-01,-0.2
B,3,12,18,4,0,0,2024-06-01,0.1
"""
WATER = b"core_id,water_m,date\nA,3.5,2024-06-01\nB,4.25,2024-06-02\n"
SIZES = b"core_id,from_m,to_m,size_mm,passing\nA,1,4,10,0.4\nA,1,4,40,0.7\nA,1,4,80,0.95\n"
AGS = b""""GROUP","LOCA"
"HEADING","LOCA_ID","LOCA_NATE","LOCA_NATN","LOCA_GL","LOCA_FDEP"
"UNIT","","m","m","m","m"
"TYPE","ID","2DP","2DP","2DP","2DP"
"DATA","A","500020.00","5400020.00","20.60","9.40"

"GROUP","GEOL"
"HEADING","LOCA_ID","GEOL_TOP","GEOL_BASE","GEOL_DESC","GEOL_GEOL"
"UNIT","","m","m","",""
"TYPE","ID","2DP","2DP","X","PA"
"DATA","A","0.00","0.50","Clay, soft","COVER"
"DATA","A","0.50","8.40","Made ground","WASTE"
"""
TINY_TIN = b"""<?xml version="1.0"?>
<LandXML xmlns="http://www.landxml.org/schema/LandXML-1.2" version="1.2">
<Units><Metric linearUnit="meter" areaUnit="squareMeter"/></Units>
<CoordinateSystem epsgCode="32633"/>
<Surfaces><Surface name="ground"><Definition surfType="TIN"><Pnts>
<P id="1">5400000 500000 20</P>
<P id="2">5400000 500120 22</P>
<P id="3">5400100 500120 23</P>
<P id="4">5400100 500000 21</P>
</Pnts>
<Faces>
<F>1 2 3</F>
<F>1 3 4</F>
</Faces></Definition></Surface></Surfaces></LandXML>
"""


def polygons(*rings, names=("north", "south")):
    return {
        "type": "FeatureCollection",
        "crs": {"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::32633"}},
        "features": [
            {
                "type": "Feature",
                "properties": {"cell": name, "name": name},
                "geometry": {"type": "Polygon", "coordinates": [ring]},
            }
            for name, ring in zip(names, rings, strict=False)
        ],
    }


def square(west, south, east, north):
    corners = [(west, south), (east, south), (east, north), (west, north), (west, south)]
    return [[WEST + x, SOUTH + y] for x, y in corners]


def contours():
    lines = [
        {
            "type": "Feature",
            "properties": {"elev": float(20 + step)},
            "geometry": {
                "type": "LineString",
                "coordinates": [[WEST + 20 * step, SOUTH], [WEST + 20 * step, SOUTH + 100]],
            },
        }
        for step in range(5)
    ]
    return polygons() | {"features": lines}


def as_bytes(document):
    return json.dumps(document, indent=1).encode()


def ring_backwards(data, _rng):
    document = json.loads(data)
    for feature in document["features"]:
        feature["geometry"]["coordinates"] = [r[::-1] for r in feature["geometry"]["coordinates"]]
    return as_bytes(document)


def ring_begun_elsewhere(data, rng):
    document = json.loads(data)
    for feature in document["features"]:
        ring = feature["geometry"]["coordinates"][0][:-1]
        first = int(rng.integers(len(ring)))
        ring = ring[first:] + ring[:first]
        feature["geometry"]["coordinates"] = [[*ring, ring[0]]]
    return as_bytes(document)


def with_heights(data, _rng):
    document = json.loads(data)
    for feature in document["features"]:
        rings = feature["geometry"]["coordinates"]
        feature["geometry"]["coordinates"] = [[[*p[:2], 7.5] for p in ring] for ring in rings]
    return as_bytes(document)


def crossing_ring(data, rng):
    document = json.loads(data)
    ring = document["features"][0]["geometry"]["coordinates"][0]
    one, other = (int(n) for n in rng.integers(1, len(ring) - 1, size=2))
    ring[one], ring[other] = ring[other], ring[one]
    return as_bytes(document)


def far_coordinates(data, rng):
    document = json.loads(data)
    ring = document["features"][0]["geometry"]["coordinates"][0]
    ring[int(rng.integers(len(ring)))] = [float(rng.choice([1e300, -1e12, 0.0, 1e9])), 0.0]
    return as_bytes(document)


def other_crs(data, rng):
    codes = [b"EPSG::4326", b"EPSG::32733", b"EPSG::3857", b"EPSG::9999", b"OGC:1.3:CRS84", b"x"]
    return data.replace(b"EPSG::32633", codes[int(rng.integers(len(codes)))])


def other_type(data, rng):
    kinds = [b"Point", b"LineString", b"MultiPolygon", b"GeometryCollection", b"Circle", b"7"]
    return data.replace(b'"Polygon"', b'"' + kinds[int(rng.integers(len(kinds)))] + b'"', 1)


GEOJSON = (*m.DOCUMENT, crossing_ring, far_coordinates, other_crs, other_type)


def raster(driver="GTiff", **profile):
    import rasterio
    from affine import Affine

    v, u = np.mgrid[99.5:0:-5, 2.5:120:5]
    with rasterio.MemoryFile() as memory:
        with memory.open(
            driver=driver, width=24, height=20, count=1, dtype="float32", nodata=-9999.0,
            crs=CRS, transform=Affine(5, 0, WEST, 0, -5, SOUTH + 100), **profile,
        ) as file:  # fmt: skip
            file.write((20 + 0.02 * u + 0.01 * v).astype("float32"), 1)
        return memory.read()


def ascii_grid():
    v, u = np.mgrid[97.5:0:-5, 2.5:120:5]
    rows = "\n".join(" ".join(f"{z:.3f}" for z in row) for row in 20 + 0.02 * u + 0.01 * v)
    head = f"ncols 24\nnrows 20\nxllcorner {WEST}\nyllcorner {SOUTH}\ncellsize 5\n"
    return f"{head}NODATA_value -9999\n{rows}\n".encode()


def points():
    rng = np.random.default_rng(3)
    places = np.vstack([[[0, 0], [120, 0], [120, 100], [0, 100]], rng.uniform(0, 100, (60, 2))])
    rows = [f"{WEST + u:.2f},{SOUTH + v:.2f},{20 + 0.02 * u:.3f}" for u, v in places]
    return ("x,y,z\n" + "\n".join(rows) + "\n").encode()


def cloud(*, packed):
    import laspy

    rng = np.random.default_rng(4)
    header = laspy.LasHeader(point_format=6, version="1.4")
    header.scales, header.offsets = np.full(3, 0.01), np.array([WEST, SOUTH, 0])
    las = laspy.LasData(header)
    u, v = rng.uniform(0, 120, 80), rng.uniform(0, 100, 80)
    las.x, las.y, las.z = WEST + u, SOUTH + v, 20 + 0.02 * u
    las.classification = np.full(80, 2, dtype=np.uint8)
    held = io.BytesIO()
    las.write(held, do_compress=packed)
    return held.getvalue()


def workbook():
    import openpyxl

    book = openpyxl.Workbook()
    book.active.title = "collars"
    for line in COLLARS.decode().splitlines():
        book.active.append([_typed(cell) for cell in line.split(",")])
    held = io.BytesIO()
    book.save(held)
    return held.getvalue()


def _typed(cell):
    try:
        return float(cell)
    except ValueError:
        return cell


def vector(folder, name):
    """Return the footprint in another form, by file of it."""
    import geopandas

    path = folder / "made.geojson"
    path.write_bytes(as_bytes(SQUARES))
    frame = geopandas.read_file(path)
    place = folder / "made"
    place.mkdir(exist_ok=True)
    frame.to_file(place / name)
    return {
        file.name: file.read_bytes() for file in place.iterdir() if file.stem == name.split(".")[0]
    }


SQUARES = polygons(square(10, 10, 110, 50), square(10, 50, 110, 90))


LIMITS = b"""\
key,value,gas,direction,unit,level,limit,jurisdiction,edition,who_decides
our_methane,0.5,ch4_pct,above,% v/v,act,half the usual,ours,2025,the county
our_oxygen,19.5,o2_pct,below,% v/v,stop,no entry,ours,2025,the county
"""

WORDS = b"""\
key,word,language,match
asbestos,eternit,de,part
drums,cask,en,near
"""


def formats(folder):
    """Return every form by name; `folder` is for making them."""
    tables = {
        "collars": (COLLARS, read_collars),
        "intervals": (INTERVALS, read_intervals),
        "samples": (SAMPLES, lambda sheet, unit, f: read_samples(sheet, unit, {}, f)),
        "lab": (LAB, read_lab),
        "gas": (GAS, read_gas),
        "water": (WATER, read_water),
        "sizes": (SIZES, read_sizes),
    }
    found = [
        Format(name, f"{name}.csv", data, of_table(reader), m.TABLE, m.HARMLESS_TABLE)
        for name, (data, reader) in tables.items()
    ]
    line = shipped_lines()["dry_then_separate"].read_bytes()
    shape = vector(folder, "edge.shp")
    layers = {"COVER": "cover", "WASTE": "waste", "cover": "cover", "waste": "waste"}
    words = TableWords(layers=layers)
    found += [
        Format("site", "site.toml", SITE, lambda p, f: read_site_file(p, ("site",), f),
               m.DOCUMENT, m.HARMLESS_TEXT),
        Format("plant", "line.toml", line, lambda p, f: read_line(p, p.name, f),
               m.DOCUMENT, m.HARMLESS_TEXT),
        Format("workbook", "collars.xlsx", workbook(), of_table(read_collars)),
        Format("AGS4", "cores.ags", AGS, lambda p, f: ags(p, f, words), m.TEXT,
               (*m.HARMLESS_TEXT,)),
        Format("limits", "limits.csv", LIMITS, lambda p, f: (
               len(read_local_limits(p, p.name, f)),), m.TEXT),
        Format("words", "words.csv", WORDS, lambda p, f: (
               len(read_local_words(p, p.name, f)),), m.TEXT),
        Format("GeoJSON", "edge.geojson", as_bytes(SQUARES), footprint, GEOJSON,
               (with_heights, ring_backwards, ring_begun_elsewhere, *m.HARMLESS_TEXT)),
        Format("receptors", "near.geojson", as_bytes(SQUARES), lambda p, f: read_receptors(
               p, p.name, crs_wkt(), 1.0, f), GEOJSON),
        Format("GeoPackage", "edge.gpkg", vector(folder, "edge.gpkg")["edge.gpkg"], footprint),
        Format("shapefile", "edge.shp", shape["edge.shp"], footprint, m.BYTES, (), shape),
        Format("shapefile index", "edge.shx", shape["edge.shx"], lambda p, f: footprint(
               p.with_suffix(".shp"), f), m.BYTES, (), shape),
        Format("shapefile table", "edge.dbf", shape["edge.dbf"], lambda p, f: footprint(
               p.with_suffix(".shp"), f), m.BYTES, (), shape),
        Format("contours", "lines.geojson", as_bytes(contours()), survey, m.DOCUMENT,
               m.HARMLESS_TEXT),
        Format("GeoTIFF", "survey.tif", raster(), survey),
        Format("GeoTIFF packed", "survey.tif", raster(compress="deflate", tiled=True, blockxsize=16,
               blockysize=16), survey),
        Format("ASCII grid", "survey.asc", ascii_grid(), survey, (*m.TEXT, *m.BYTES),
               (m.with_crlf,)),
        Format("points", "survey.csv", points(), survey, m.TEXT, (m.with_a_mark, m.with_crlf,
               m.swap_columns, m.in_another_delimiter, m.with_decimal_commas)),
        Format("LandXML", "survey.xml", TINY_TIN, survey, (*m.DOCUMENT, *m.BYTES),
               (m.with_crlf, m.with_a_mark)),
        Format("LAS", "survey.las", cloud(packed=False), survey),
        Format("LAZ", "survey.laz", cloud(packed=True), survey),
    ]  # fmt: skip
    return {form.name: form for form in found}


def ags(path, findings, words):
    sheets = read_ags(path, path.name, words, findings)
    if sheets is None:
        return None
    return (
        read_collars(sheets["collars"], "m", findings),
        read_intervals(sheets["intervals"], "m", findings),
    )
