"""What a file may not do: leave its folder, reach the network, or run code."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys

import numpy as np
import pytest
from click.testing import CliRunner

from reclaim.cli import cli
from reclaim.site import Findings, SiteError, read_site
from reclaim.site.rasteraccess import opened
from reclaim.site.reach import READ_FROM, REMOTE, Reach
from reclaim.site.vectorfile import read_vector

SERVER = """
import sys
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

class Handler(BaseHTTPRequestHandler):
    def do_GET(self):
        with open(sys.argv[2], "a") as log:
            log.write(self.path + chr(10))
        file = Path(sys.argv[1]) / self.path.lstrip("/").partition("?")[0]
        body = file.read_bytes() if file.is_file() else b""
        part = self.headers.get("Range", "").removeprefix("bytes=")
        first, _, last = part.partition("-") if part else ("0", "", "")
        piece = body[int(first) : int(last) + 1 if last else None]
        self.send_response((206 if part else 200) if body else 404)
        if part:
            last = int(first) + len(piece) - 1
            self.send_header("Content-Range", f"bytes {first}-{last}/{len(body)}")
        self.send_header("Content-Length", str(len(piece)))
        self.end_headers()
        if self.command == "GET":
            self.wfile.write(piece)

    do_HEAD = do_GET

    def log_message(self, *_):
        pass

server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
print(server.server_port, flush=True)
server.serve_forever()
"""
# A process of its own: the raster library may hold this one still while it waits for an answer.


class Server:
    """A server on this machine that remembers what it was asked for."""

    def __init__(self, folder) -> None:
        self._log = folder.with_suffix(".log")
        self.process = subprocess.Popen(
            [sys.executable, "-c", SERVER, str(folder), str(self._log)],
            stdout=subprocess.PIPE,
            text=True,
        )
        self.address = f"http://127.0.0.1:{self.process.stdout.readline().strip()}"

    @property
    def asked(self) -> list[str]:
        return self._log.read_text().splitlines() if self._log.exists() else []


@pytest.fixture
def server(tmp_path):
    folder = tmp_path / "served"
    folder.mkdir()
    server = Server(folder)
    yield server
    server.process.kill()
    server.process.wait()
    server.process.stdout.close()


@pytest.fixture(autouse=True)
def _nothing_allowed(monkeypatch):
    monkeypatch.delenv(READ_FROM, raising=False)
    monkeypatch.delenv(REMOTE, raising=False)


def vrt(source, *, relative=1, attributes="", band="", extra=""):
    return f"""<VRTDataset rasterXSize="120" rasterYSize="100">
  <SRS>EPSG:32633</SRS>
  <GeoTransform>500000, 1, 0, 5400100, 0, -1</GeoTransform>
  <VRTRasterBand dataType="Float64" band="1" {attributes}>
    {band}
    <SimpleSource>
      <SourceFilename relativeToVRT="{relative}">{source}</SourceFilename>
      <SourceBand>1</SourceBand>
      <SrcRect xOff="0" yOff="0" xSize="120" ySize="100"/>
      <DstRect xOff="0" yOff="0" xSize="120" ySize="100"/>
    </SimpleSource>
  </VRTRasterBand>
  {extra}
</VRTDataset>
"""


def with_mosaic(site, text, name="survey.vrt"):
    site.edit('survey = "survey.tif"', f'survey = "{name}"')
    (site.folder / name).write_text(text, encoding="utf-8")


def assert_refused(site, *parts):
    messages = site.errors()
    assert any(all(part in message for part in parts) for message in messages), messages


WMS = """<GDAL_WMS><Service name="TMS"><ServerUrl>{0}/${{z}}/${{x}}/${{y}}</ServerUrl></Service>
<DataWindow><UpperLeftX>500000</UpperLeftX><UpperLeftY>5400100</UpperLeftY>
<LowerRightX>500120</LowerRightX><LowerRightY>5400000</LowerRightY><TileLevel>1</TileLevel>
</DataWindow><Projection>EPSG:32633</Projection><BandsCount>1</BandsCount></GDAL_WMS>"""

REMOTE_RASTERS = {
    "map service under the name of a raster": WMS,
    "coverage service": "<WCS_GDAL><ServiceURL>{0}/?</ServiceURL><CoverageName>a</CoverageName>"
    "</WCS_GDAL>",
    "tile service": "<GDAL_WMTS><GetCapabilitiesUrl>{0}/?</GetCapabilitiesUrl></GDAL_WMTS>",
    "catalogue of remote files": '{{"type": "FeatureCollection", "stac_version": "1.0.0", '
    '"features": [{{"type": "Feature", "stac_version": "1.0.0", "properties": {{}}, "assets": '
    '{{"a": {{"href": "{0}/a.tif"}}}}}}]}}',
    "tiles of a catalogue": '{{"stac_version": "1.0.0", "stac_extensions": ["tiled-assets"], '
    '"asset_templates": {{"a": {{"href": "{0}/a.tif"}}}}}}',
    "remote part": vrt("/vsicurl/{0}/a.tif", relative=0),
    "remote part by its address": vrt("{0}/a.tif", relative=0),
    "part in a remote archive": vrt("/vsizip//vsicurl/{0}/a.zip/a.tif", relative=0),
    "service inside a mosaic": vrt("&lt;GDAL_WMS&gt;{0}&lt;/GDAL_WMS&gt;", relative=0),
    "remote mask": vrt("survey.tif", extra="<MaskBand><VRTRasterBand dataType='Byte'><SimpleSource>"
                       "<SourceFilename>/vsicurl/{0}/m.tif</SourceFilename></SimpleSource>"
                       "</VRTRasterBand></MaskBand>"),
    "remote overviews": vrt("survey.tif", band="<Overview><SourceFilename>/vsicurl/{0}/o.tif"
                            "</SourceFilename><SourceBand>1</SourceBand></Overview>"),
}  # fmt: skip


@pytest.mark.parametrize("case", REMOTE_RASTERS)
def test_a_survey_that_would_fetch_is_refused_and_fetches_nothing(site, server, case) -> None:
    with_mosaic(site, REMOTE_RASTERS[case].format(server.address), "elsewhere.tif")
    messages = site.errors()
    assert any("elsewhere.tif" in message for message in messages)
    assert server.asked == []


def test_the_server_of_these_tests_would_notice(server) -> None:
    with pytest.raises(Exception, match=r"."), opened(f"{server.address}/a.tif", remote=True):
        pass
    assert server.asked[0] == "/a.tif"


def test_a_part_that_is_a_service_is_refused(site, server) -> None:
    (site.folder / "part.tif").write_text(WMS.format(server.address), encoding="utf-8")
    with_mosaic(site, vrt("part.tif"))
    assert_refused(site, "survey.vrt", "no raster but a description")
    assert server.asked == []


def test_a_mosaic_in_a_mosaic_is_followed(site, server) -> None:
    (site.folder / "inner.dat").write_text(vrt(f"{server.address}/a.tif", relative=0))
    with_mosaic(site, vrt("inner.dat"))
    assert_refused(site, "survey.vrt", "remote part")
    assert server.asked == []


def test_a_mosaic_that_names_itself_is_refused(site) -> None:
    with_mosaic(site, vrt("survey.vrt"))
    assert_refused(site, "survey.vrt", "names itself")


@pytest.mark.parametrize(
    ("attributes", "band"),
    [
        ('subClass="VRTDerivedRasterBand"', "<PixelFunctionType>sum</PixelFunctionType>"),
        (
            'subClass="VRTDerivedRasterBand"',
            (
                "<PixelFunctionType>f</PixelFunctionType><PixelFunctionLanguage>Python"
                "</PixelFunctionLanguage><PixelFunctionCode><![CDATA[\nopen({0!r}, 'w')\n"
                "def f(*args, **kwargs): pass\n]]></PixelFunctionCode>"
            ),
        ),
        ("", "<PixelFunctionLanguage>Python</PixelFunctionLanguage>"),
        ('subClass="VRTRawRasterBand"', ""),
    ],
)
def test_bands_computed_or_cut_raw_out_of_files_are_refused(site, attributes, band) -> None:
    mark = site.folder / "ran"
    with_mosaic(site, vrt("survey.tif", attributes=attributes, band=band.format(str(mark))))
    assert_refused(site, "survey.vrt", "by a mosaic")
    assert not mark.exists()


def test_a_mosaic_of_files_in_the_folder_reads_as_they_do(site) -> None:
    before = site.read()
    with_mosaic(site, vrt("survey.tif"))
    after = site.read()
    with before.survey.reader() as one, after.survey.reader() as other:
        whole = before.grid.window_around(500_000, 5_400_000, 500_120, 5_400_100)
        np.testing.assert_array_equal(one(whole), other(whole))


def test_overviews_beside_a_raster_that_are_a_service_are_refused(site, server) -> None:
    (site.folder / "survey.tif.ovr").write_text(WMS.format(server.address), encoding="utf-8")
    assert_refused(site, "survey.tif", "survey.tif.ovr")
    (site.folder / "survey.tif.ovr").unlink()
    (site.folder / "survey.tif.aux.xml").write_text(
        '<PAMDataset><Metadata domain="OVERVIEWS"><MDI key="OVERVIEW_FILE">'
        f"/vsicurl/{server.address}/o.tif</MDI></Metadata></PAMDataset>"
    )
    assert_refused(site, "survey.tif", "survey.tif.aux.xml")
    assert server.asked == []


REMOTE_VECTORS = {
    "feature service": "<OGRWFSDataSource><URL>{0}/?</URL></OGRWFSDataSource>",
    "virtual layer": '<OGRVRTDataSource><OGRVRTLayer name="a"><SrcDataSource>{0}/a.geojson'
    "</SrcDataSource></OGRVRTLayer></OGRVRTDataSource>",
    "commands": '{{"type": "gdal_streamed_alg", "command_line": "gdal vector pipeline read '
    '{0}/a.geojson ! write x"}}',
    "schema of GML": '<gml:FeatureCollection xmlns:gml="http://www.opengis.net/gml" '
    'xmlns:xsi="http://www.w3.org/2001/XMLSchema-instance" '
    'xsi:schemaLocation="http://x {0}/a.xsd"><gml:featureMember><a><b>1</b></a>'
    "</gml:featureMember></gml:FeatureCollection>",
    "entities": '<!DOCTYPE kml [<!ENTITY a SYSTEM "{0}/a">]><kml>&a;</kml>',
    "link in KML": '<kml xmlns="http://www.opengis.net/kml/2.2"><NetworkLink><Link><href>{0}/a.kml'
    "</href></Link></NetworkLink></kml>",
}


@pytest.mark.parametrize("case", REMOTE_VECTORS)
def test_a_footprint_that_would_fetch_is_refused_and_fetches_nothing(site, server, case) -> None:
    path = site.write()
    (site.folder / "footprint.geojson").write_text(REMOTE_VECTORS[case].format(server.address))
    with pytest.raises(SiteError) as caught:
        read_site(path)
    assert any("footprint.geojson" in check.where for check in caught.value.checks)
    assert server.asked == []


def test_landxml_and_workbook_entities_are_not_fetched(site, server) -> None:
    site.edit('survey = "survey.tif"', 'survey = "survey.xml"')
    (site.folder / "survey.xml").write_text(
        f'<!DOCTYPE LandXML SYSTEM "{server.address}/a.dtd"><LandXML/>'
    )
    assert_refused(site, "survey.xml", "document type")
    assert server.asked == []


def test_a_packed_vector_is_refused(site) -> None:
    path = site.write()
    shutil.make_archive(str(site.folder / "footprint"), "zip", site.folder, "footprint.geojson")
    (site.folder / "footprint.zip").rename(site.folder / "footprint.geojson")
    with pytest.raises(SiteError, match="packed"):
        read_site(path)


def moved_survey(site):
    """Put the survey into a folder beside the site's and return its path."""
    beside = site.folder.parent / f"{site.folder.name}-beside"
    beside.mkdir()
    (site.folder / "survey.tif").rename(beside / "survey.tif")
    return beside / "survey.tif"


@pytest.mark.parametrize("way", ["dots", "absolute", "link", "folder link", "mosaic"])
def test_a_file_outside_the_folder_is_read_only_where_allowed(site, way, monkeypatch) -> None:
    place = moved_survey(site)
    named = {
        "dots": f"../{place.parent.name}/survey.tif",
        "absolute": str(place),
        "link": "survey.tif",
        "folder link": "there/survey.tif",
        "mosaic": "survey.vrt",
    }[way]
    if way == "mosaic":
        (site.folder / "survey.vrt").write_text(vrt(f"../{place.parent.name}/survey.tif"))
    elif way == "link":
        (site.folder / "survey.tif").symlink_to(place)
    elif way == "folder link":
        (site.folder / "there").symlink_to(place.parent)
    site.edit('survey = "survey.tif"', f'survey = "{named}"')
    assert_refused(site, "outside", "--read-from")
    monkeypatch.setenv(READ_FROM, str(place.parent))
    assert site.read().grid.columns == 120


def test_a_refusal_does_not_tell_whether_the_file_is_there(site) -> None:
    place = moved_survey(site)
    site.edit('survey = "survey.tif"', f'survey = "{place}"')
    there = site.errors()
    place.unlink()
    assert site.errors() == there


def test_a_part_of_a_shapefile_that_is_a_link_is_refused(site) -> None:
    import geopandas

    path = site.write()
    geopandas.read_file(site.folder / "footprint.geojson").to_file(site.folder / "edge.shp")
    beside = site.folder.parent / f"{site.folder.name}.dbf"
    (site.folder / "edge.dbf").rename(beside)
    (site.folder / "edge.dbf").symlink_to(beside)
    path.write_text(path.read_text().replace("footprint.geojson", "edge.shp"))
    with pytest.raises(SiteError, match="outside the folder"):
        read_site(path)


def test_the_plant_file_and_tables_stay_in_the_folder_too(site) -> None:
    (site.folder.parent / "line.toml").write_text("[line]\n")
    site.edit("[uncertainty]", '[plant]\nfile = "../line.toml"\n\n[uncertainty]')
    site.edit('"collars.csv"', '"../collars.csv"')
    messages = site.errors()
    assert sum("outside the folder" in message for message in messages) == 2


def test_the_command_line_allows_a_folder_for_one_command(site) -> None:
    place = moved_survey(site)
    site.edit('survey = "survey.tif"', f'survey = "../{place.parent.name}/survey.tif"')
    path = str(site.write())
    refused_run = CliRunner().invoke(cli, ["check", path])
    allowed_run = CliRunner().invoke(cli, ["check", path, "--read-from", str(place.parent)])
    assert (refused_run.exit_code, allowed_run.exit_code) == (2, 0)
    assert "outside the folder" in refused_run.output
    assert READ_FROM not in os.environ


def test_a_raster_named_on_the_command_line_is_remote_only_where_allowed(
    site, server, monkeypatch
) -> None:
    from reclaim.portfolio.mosaic import forget_after_run, read_window, shared_survey

    shutil.copy(site.folder / "survey.tif", site.folder / "served" / "survey.tif")
    address = f"{server.address}/survey.tif"
    forget_after_run("a run of this test")
    with pytest.raises(SiteError, match="--remote"):
        shared_survey(address, None, 1.0)
    assert server.asked == []
    monkeypatch.setenv(REMOTE, "1")
    shared = shared_survey(address, None, 1.0)
    window = shared.grid.window_around(500_000, 5_400_000, 500_120, 5_400_100)
    values = read_window(shared.surface, window)
    forget_after_run("")
    assert values.shape == (100, 120)
    assert values[0, 0] == pytest.approx(20 + 0.02 * 0.5 + 0.01 * 99.5)
    assert server.asked


def test_a_mosaic_named_on_the_command_line_may_have_its_parts_anywhere(site) -> None:
    from reclaim.site.rasteraccess import may_be_opened

    place = moved_survey(site)
    (site.folder / "all.vrt").write_text(vrt(str(place), relative=0))
    for reach, allowed in ((Reach.of_command(), True), (Reach.of_site(site.folder), False)):
        assert may_be_opened(site.folder / "all.vrt", "all.vrt", reach, Findings()) is allowed


def test_settings_of_the_vector_library_are_put_back(site) -> None:
    import pyogrio

    site.write()
    before = pyogrio.get_gdal_config_option("GDAL_HTTP_PROXY")
    assert read_vector(site.folder / "footprint.geojson", "footprint", Findings()) is not None
    assert pyogrio.get_gdal_config_option("GDAL_HTTP_PROXY") == before
