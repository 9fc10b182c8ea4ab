"""Shared terrain as a mosaic, over a network, with missing tiles, and kept open between sites."""

from __future__ import annotations

import csv
import re
import threading
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

import numpy as np
import pytest
import rasterio
from click.testing import CliRunner

from reclaim.cli import cli
from reclaim.portfolio import mosaic
from reclaim.site import Window

MOSAIC = """<VRTDataset rasterXSize="480" rasterYSize="120"><SRS>EPSG:32631</SRS>
<GeoTransform>500000,2,0,5800000,0,-2</GeoTransform>
<VRTRasterBand dataType="Float32" band="1"><NoDataValue>-9999</NoDataValue>{}</VRTRasterBand>
</VRTDataset>"""
TILE = """<ComplexSource><SourceFilename relativeToVRT="1">tile_{0}.tif</SourceFilename>
<SourceBand>1</SourceBand><SrcRect xOff="0" yOff="0" xSize="120" ySize="120"/>
<DstRect xOff="{1}" yOff="0" xSize="120" ySize="120"/><NODATA>-9999</NODATA></ComplexSource>"""


def run(arguments, expected=0):
    shown = CliRunner().invoke(cli, [str(part) for part in arguments])
    assert shown.exit_code == expected, shown.output
    return shown


def table(path):
    with path.open(encoding="utf-8-sig", newline="") as file:
        return list(csv.DictReader(file))


def as_mosaic(place, tiles=4):
    """Cut the terrain into a tile for each mound and return a mosaic of them."""
    with rasterio.open(place.ground) as raster:
        values, profile = raster.read(1), raster.profile
    for tile in range(tiles):
        part = values[:, 120 * tile : 120 * (tile + 1)]
        placed = profile["transform"] @ rasterio.Affine.translation(120 * tile, 0)
        profile.update(width=120, height=120, transform=placed, blockxsize=64, blockysize=64)
        with rasterio.open(place.folder / f"tile_{tile}.tif", "w", **profile) as raster:
            raster.write(part, 1)
        profile["transform"] = rasterio.Affine(2, 0, 500_000, 0, -2, 5_800_000)
    path = place.folder / "ground.vrt"
    path.write_text(MOSAIC.format("".join(TILE.format(t, 120 * t) for t in range(tiles))))
    return path


def over(place, survey, *more):
    arguments = place.arguments(*more)
    arguments[arguments.index("--survey") + 1] = str(survey)
    return arguments


def numbers(path):
    """Return the ranking without the columns that name files."""
    return [{k: v for k, v in row.items() if k != "site_file"} for row in table(path)]


def test_a_mosaic_gives_what_one_raster_gives(place, tmp_path) -> None:
    run(place.arguments("--out", tmp_path / "one"))
    run(over(place, as_mosaic(place), "--out", tmp_path / "tiles"))
    one, tiles = (numbers(tmp_path / name / "ranking.csv") for name in ("one", "tiles"))
    assert one == tiles


def test_a_missing_tile_is_told_by_site_and_mended_by_the_next_run(place, tmp_path) -> None:
    path = as_mosaic(place)
    lost, kept = place.folder / "tile_1.tif", place.folder / "kept"
    lost.rename(kept)
    shown = run(over(place, path, "--out", tmp_path / "o"), expected=3)
    assert "1 site left out" in shown.output
    (wrong,) = [row for row in table(tmp_path / "o/problems.csv") if row["level"] == "error"]
    assert wrong["site"] == "Tip 2"
    assert "survey cannot be read here" in wrong["what"]
    assert str(place.folder) not in wrong["what"]
    assert wrong["whose"] == "the input's"
    kept.rename(lost)
    again = run(over(place, path, "--out", tmp_path / "o", "--json"))
    assert '"screened_now": 1' in again.output


def test_the_mosaic_is_opened_once_for_all_sites(place, tmp_path, monkeypatch) -> None:
    """Headers aside: opening many tiles anew for each site would take longer than the sites."""
    opened = []
    really = mosaic.open_plain

    def noted(path):
        opened.append(str(path))
        return really(path)

    path = as_mosaic(place)
    monkeypatch.setattr(mosaic, "open_plain", noted)
    run(over(place, path, "--out", tmp_path / "o"))
    assert opened == [str(path)]


def test_terrain_over_a_network_gives_the_same_in_parts(place, tmp_path) -> None:
    """A tiled raster behind an address: only the parts that sites need are sent."""
    run(place.arguments("--out", tmp_path / "local"))
    size = place.ground.stat().st_size
    with served(place.folder) as (address, sent):
        run(over(place, f"{address}/ground.tif", "--remote", "--out", tmp_path / "far"))
    assert all(part < size for part in sent)
    assert sent
    local, far = (numbers(tmp_path / name / "ranking.csv") for name in ("local", "far"))
    assert local == far


def test_a_server_without_the_file_is_told(place, tmp_path) -> None:
    with served(place.folder) as (address, _):
        shown = run(
            over(place, f"{address}/no.tif", "--remote", "--out", tmp_path / "far"), expected=2
        )
    assert "no.tif" in shown.output
    assert "cannot be read as a raster" in shown.output


def test_a_survey_without_crs_takes_the_one_of_the_shared_file(place, tmp_path) -> None:
    run(place.arguments("--out", tmp_path / "with"))
    with rasterio.open(place.ground) as raster:
        values, profile = raster.read(1), {**raster.profile, "crs": None}
    with rasterio.open(place.ground, "w", **profile) as raster:
        raster.write(values, 1)
    run(place.arguments("--out", tmp_path / "without"), expected=2)
    with place.shared.open("a") as file:
        file.write('\n[surfaces]\ncrs = "EPSG:32631"\n')
    run(place.arguments("--out", tmp_path / "without"))
    one, other = (table(tmp_path / name / "ranking.csv") for name in ("with", "without"))
    assert [row["waste_m3"] for row in one] == [row["waste_m3"] for row in other]


def test_what_is_suspect_about_shared_terrain_is_told_once(place, tmp_path) -> None:
    with rasterio.open(place.ground) as raster:
        values, profile = raster.read(1), {**raster.profile, "count": 2}
    with rasterio.open(place.ground, "w", **profile) as raster:
        raster.write(np.stack([values, values]))
    run(place.arguments("--out", tmp_path / "o"))
    bands = [row for row in table(tmp_path / "o/problems.csv") if "2 bands" in row["what"]]
    assert len(bands) == 1


def test_a_base_that_lies_elsewhere_is_refused_as_a_whole(place, tmp_path) -> None:
    with rasterio.open(place.ground) as raster:
        values, profile = raster.read(1), raster.profile
    profile["transform"] = rasterio.Affine(2, 0, 700_000, 0, -2, 5_800_000)
    base = place.folder / "base.tif"
    with rasterio.open(base, "w", **profile) as raster:
        raster.write(values, 1)
    shown = run([*place.arguments("--out", tmp_path / "o"), "--base", base], expected=2)
    assert "outside the survey" in shown.output
    assert not (tmp_path / "o").exists()


def test_each_thread_reads_through_a_raster_of_its_own(place) -> None:
    """The raster library's open files are not to be shared between threads."""
    found = mosaic.shared_survey(str(place.ground), None, 1.0)
    window = Window(0, 0, 100, 100)
    here = mosaic.read_window(found.surface, window)
    there = []
    threads = [
        threading.Thread(target=lambda: there.append(mosaic.read_window(found.surface, window)))
        for _ in range(4)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(there) == 4
    for values in there:
        np.testing.assert_array_equal(values, here)
    mosaic.forget_after_run("another")


class served:  # noqa: N801 - reads as a word
    """A folder behind an address on this machine that sends parts of files; the sizes sent."""

    def __init__(self, folder) -> None:
        sent = self.sent = []

        class Handler(BaseHTTPRequestHandler):
            protocol_version = "HTTP/1.1"

            def do_HEAD(self) -> None:
                self.answer(body=False)

            def do_GET(self) -> None:
                self.answer(body=True)

            def answer(self, *, body) -> None:
                path = folder / self.path.strip("/")
                if not path.is_file():
                    self.send_response(404)
                    self.send_header("Content-Length", "0")
                    self.end_headers()
                    return
                data = path.read_bytes()
                asked = re.fullmatch(r"bytes=(\d+)-(\d+)", self.headers.get("Range", ""))
                part = data[int(asked[1]) : int(asked[2]) + 1] if asked else data
                self.send_response(206 if asked else 200)
                self.send_header("Accept-Ranges", "bytes")
                if asked:
                    last = int(asked[1]) + len(part) - 1
                    self.send_header("Content-Range", f"bytes {asked[1]}-{last}/{len(data)}")
                self.send_header("Content-Length", str(len(part)))
                self.end_headers()
                if body:
                    sent.append(len(part))
                    self.wfile.write(part)

            def log_message(self, *_) -> None:
                """Stay quiet."""

        self.server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)

    def __enter__(self):
        threading.Thread(target=self.server.serve_forever, daemon=True).start()
        return f"http://127.0.0.1:{self.server.server_port}", self.sent

    def __exit__(self, *_) -> None:
        self.server.shutdown()
        self.server.server_close()


@pytest.fixture(autouse=True)
def no_proxy(monkeypatch) -> None:
    """Tests reach this machine directly."""
    for name in ("http_proxy", "HTTP_PROXY", "all_proxy", "ALL_PROXY"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("NO_PROXY", "127.0.0.1")
