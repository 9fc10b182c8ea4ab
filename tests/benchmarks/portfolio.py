"""Time and memory to screen many sites: one worker and two, overhead of a site, growth.

Invented mounds (seed 7), median 1.2 ha, on 1 m terrain in a mosaic of tiled and compressed rasters,
with a layer of their outlines. Each run is the command line in a process of its own, with one
thread of linear algebra; its processor time and memory are those of all its processes, looked at
five times a second. References: one worker for two; for the overhead a site's own time (reading it
and running the model, as timed where it is worked out); a bare loop in two processes for what the
machine itself gains by a second one.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
import threading
import time
from multiprocessing import get_context
from pathlib import Path
from typing import NamedTuple

import measure
import numpy as np

ROOT = Path(__file__).parents[2]
CRS = "EPSG:32631"
WEST, NORTH, CELL_M, BLOCK = 300_000.0, 5_900_000.0, 1.0, 256
PITCH, ACROSS = 512, 10  # cells from site to site, and sites along the side of a tile
SHARED = '[site]\ncurrency = "EUR"\nprice_year = 2025\n\n[plant]\nline = "mobile_small_site"\n'
ONE_THREAD = dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "GDAL_NUM_THREADS"), "1")


class Screened(NamedTuple):
    """One run of the command line, and what it says of itself [s]."""

    run: measure.Run
    screening_s: float
    own_s: float
    median_own_s: float
    worker_mb: float


def make_county(folder: Path, count: int, seed: int = 7) -> None:
    """Write ``terrain.vrt`` over tiles, ``sites.gpkg`` and ``shared.toml``.

    Only blocks that a site's surroundings touch are stored, which leaves what is read of them as
    it would be.
    """
    import geopandas as gpd
    import rasterio
    import shapely
    from rasterio.windows import Window

    rng = np.random.default_rng(seed)
    noise = rng.normal(0, 0.05, (4 * PITCH, 4 * PITCH))
    area_m2 = np.clip(rng.lognormal(np.log(12_000), 0.9, count), 1_000, 90_000)
    stretch = rng.uniform(1, 1.6, count)
    half_x = np.sqrt(area_m2 / np.pi * stretch)
    half_y = half_x / stretch
    height = rng.uniform(2, 12, count)
    per_tile, side = ACROSS**2, ACROSS * PITCH
    tiles = -(-count // per_tile)
    wide = int(np.ceil(np.sqrt(tiles)))
    profile = {
        "driver": "GTiff", "height": side, "width": side, "count": 1, "dtype": "float32",
        "nodata": -9999.0, "crs": CRS, "tiled": True, "blockxsize": BLOCK, "blockysize": BLOCK,
        "compress": "deflate", "predictor": 3, "zlevel": 1, "SPARSE_OK": "TRUE",
    }  # fmt: skip
    outlines = []
    folder.mkdir(parents=True, exist_ok=True)
    for tile in range(tiles):
        tile_x = WEST + tile % wide * side
        tile_y = NORTH - tile // wide * side
        name = folder / f"tile_{tile}.tif"
        placed = rasterio.Affine(CELL_M, 0, tile_x, 0, -CELL_M, tile_y)
        with rasterio.open(name, "w", **profile, transform=placed) as raster:
            for place in range(min(per_tile, count - tile * per_tile)):
                number = tile * per_tile + place
                room = np.array([half_x[number], half_y[number]]) + 12
                middle = rng.uniform(room, PITCH - room)
                x_0 = tile_x + place % ACROSS * PITCH + middle[0]
                y_0 = tile_y - place // ACROSS * PITCH - middle[1]
                column, row = place % ACROSS * PITCH, place // ACROSS * PITCH
                left, top = ((middle - room) // BLOCK * BLOCK).astype(int)
                right, low = (-(-(middle + room) // BLOCK) * BLOCK).astype(int)
                x = tile_x + column + np.arange(left, right) + 0.5
                y = tile_y - row - np.arange(top, low) - 0.5
                off = ((x - x_0) / half_x[number]) ** 2 + ((y[:, None] - y_0) / half_y[number]) ** 2
                ground = 0.01 * (x - WEST) + 0.004 * (y[:, None] - NORTH)
                ground = ground + height[number] * np.clip(1.2 * (1 - off), 0, 1)
                shift = rng.integers(0, 3 * PITCH, 2)
                ground += noise[shift[0] : shift[0] + low - top, shift[1] : shift[1] + right - left]
                window = Window(column + left, row + top, right - left, low - top)
                raster.write(ground.round(2).astype("float32"), 1, window=window)
                angle = np.linspace(0, 2 * np.pi, 72, endpoint=False)
                ring = np.stack(
                    [x_0 + half_x[number] * np.cos(angle), y_0 + half_y[number] * np.sin(angle)], 1
                )
                outlines.append(shapely.Polygon(ring))
    _write_mosaic(folder, tiles, wide, side)
    closed = [int(year) if year < 2015 else None for year in rng.integers(1955, 2025, count)]
    gpd.GeoDataFrame(
        {"name": [f"Tip {n + 1}" for n in range(count)], "closed": closed},
        geometry=outlines,
        crs=CRS,
    ).to_file(folder / "sites.gpkg", layer="sites")
    (folder / "shared.toml").write_text(SHARED, encoding="utf-8")


def _write_mosaic(folder: Path, tiles: int, wide: int, side: int) -> None:
    """Write a mosaic of tiles in rows, as every tool of the raster library reads it."""
    sources = "".join(
        f'<ComplexSource><SourceFilename relativeToVRT="1">tile_{tile}.tif</SourceFilename>'
        f'<SourceBand>1</SourceBand><SourceProperties RasterXSize="{side}" RasterYSize="{side}" '
        f'DataType="Float32" BlockXSize="{BLOCK}" BlockYSize="{BLOCK}"/>'
        f'<SrcRect xOff="0" yOff="0" xSize="{side}" ySize="{side}"/>'
        f'<DstRect xOff="{tile % wide * side}" yOff="{tile // wide * side}" xSize="{side}" '
        f'ySize="{side}"/><NODATA>-9999</NODATA></ComplexSource>'
        for tile in range(tiles)
    )
    (folder / "terrain.vrt").write_text(
        f'<VRTDataset rasterXSize="{wide * side}" rasterYSize="{-(-tiles // wide) * side}">'
        f"<SRS>{CRS}</SRS><GeoTransform>{WEST},{CELL_M},0,{NORTH},0,-{CELL_M}</GeoTransform>"
        '<VRTRasterBand dataType="Float32" band="1"><NoDataValue>-9999</NoDataValue>'
        f"{sources}</VRTRasterBand></VRTDataset>",
        encoding="ascii",
    )


def first_sites(folder: Path, count: int) -> Path:
    """Write and return a layer of the first sites of a county."""
    import geopandas as gpd

    path = folder / f"first_{count}.gpkg"
    if not path.exists():
        gpd.read_file(folder / "sites.gpkg", rows=count).to_file(path, layer="sites")
    return path


def screened(folder: Path, count: int, workers: int) -> Screened:
    """Screen the first sites of a county from nothing."""
    layer = first_sites(folder, count)
    with tempfile.TemporaryDirectory(dir=folder) as scratch:
        out = Path(scratch) / "ranked"
        command = [
            sys.executable, "-m", "reclaim", "portfolio", str(layer), "--survey",
            str(folder / "terrain.vrt"), "--shared", str(folder / "shared.toml"), "--out", str(out),
            "--workers", str(workers), "--json",
        ]  # fmt: skip
        environment = {**os.environ, **ONE_THREAD, "PYTHONPATH": str(ROOT)}
        began = time.perf_counter()
        process = subprocess.Popen(command, env=environment, stdout=subprocess.PIPE)
        watch = Watch(process.pid)
        told, _ = process.communicate()
        wall_s = time.perf_counter() - began
        watch.stop()
        if process.returncode:
            raise measure.NotRunError(told.decode())
        found = json.loads(told)
        assert found["sites"]["screened_now"] == count
        run = measure.Run(wall_s, watch.cpu_s, watch.main_mb, 0.0, None)
        said = found["run"]
        return Screened(
            run,
            said["screening_seconds"],
            said["site_seconds"],
            said["site_seconds_median"],
            watch.worker_mb,
        )


class Watch:
    """Processor time of a process with all its descendants, and the most memory each has held."""

    def __init__(self, pid: int) -> None:
        self.main_mb = self.worker_mb = 0.0
        self._cpu_s: dict[int, float] = {}
        self._pid, self._ended = pid, threading.Event()
        self._watch = threading.Thread(target=self._look, daemon=True)
        self._watch.start()

    @property
    def cpu_s(self) -> float:
        return sum(self._cpu_s.values())

    def stop(self) -> None:
        self._ended.set()
        self._watch.join()

    def _look(self) -> None:
        tick = os.sysconf("SC_CLK_TCK")
        while not self._ended.wait(0.2):
            found = [self._pid]
            for parent in found:
                found += _children(parent)
            for pid in found:
                words = _told(pid, "stat").rpartition(")")[2].split()
                if words:
                    self._cpu_s[pid] = (int(words[11]) + int(words[12])) / tick
            self.main_mb = max(self.main_mb, _peak_mb(self._pid))
            self.worker_mb = max([self.worker_mb, *map(_peak_mb, found[1:])])


def _told(pid: int, name: str) -> str:
    try:
        return Path(f"/proc/{pid}/{name}").read_text(encoding="utf-8", errors="replace")
    except OSError:
        return ""


def _children(pid: int) -> list[int]:
    try:
        tasks = Path(f"/proc/{pid}/task").glob("*/children")
        return [int(child) for task in tasks for child in task.read_text().split()]
    except OSError:
        return []


def _peak_mb(pid: int) -> float:
    lines = _told(pid, "status").splitlines()
    return next((int(line.split()[1]) / 1024 for line in lines if line.startswith("VmHWM")), 0.0)


def bare_loop(times: int) -> float:
    """Return the wall time of as many bare loops, each in a process of its own [s]."""
    context = get_context("spawn")
    processes = [context.Process(target=_loop) for _ in range(times)]
    began = time.perf_counter()
    for process in processes:
        process.start()
    for process in processes:
        process.join()
    return time.perf_counter() - began


def _loop() -> None:
    total = 0
    for number in range(20_000_000):
        total += number % 7


def handed_out(count: int):
    """Return the work of sending empty jobs to one local worker, its start included."""
    from reclaim.portfolio import Engine

    return lambda: sum(1 for _ in Engine(2).run(abs, range(count), count, lambda _job, _why: 0))


def main() -> None:
    given = measure.given(__doc__, sizes=(50, 100, 200), tiny=(6, 12, 24))
    with (
        tempfile.TemporaryDirectory() as scratch,
        measure.Table("portfolio", "sites", given) as table,
    ):
        folder = given.folder or Path(scratch)
        if not (folder / "shared.toml").exists():
            make_county(folder, max(given.sizes))
        before = 2 * bare_loop(1) / bare_loop(2)
        alone = screened(folder, 1, 1)
        table.row("a single site", 1, alone.run, grows=False)
        for count in given.sizes:
            one = screened(folder, count, 1)
            past_s = one.run.seconds - alone.run.seconds
            own_s = one.own_s - alone.own_s
            table.row("one worker", count, one.run, grows=False)
            table.row(
                "one worker, beyond one site", count - 1,
                measure.Run(past_s, one.run.cpu_s - alone.run.cpu_s, one.run.peak_mb, 0.0, None),
                note=f"{past_s / own_s - 1:.1%} over the sites' own time (wall), of which the "
                f"median site takes {one.median_own_s:.3f} s",
            )  # fmt: skip
            two = screened(folder, count, 2)
            table.row(
                "two workers", count, two.run, of=("one worker", one.run), grows=False,
                note=f"screening {one.screening_s / two.screening_s:.2f} x as fast, the whole "
                f"command {one.run.seconds / two.run.seconds:.2f} x; worker {two.worker_mb:.0f} MB",
            )  # fmt: skip
        count = max(given.sizes)
        empty = measure.alone(handed_out, count)
        table.row("empty jobs, two workers", count, empty, grows=False)
        after = 2 * bare_loop(1) / bare_loop(2)
        loop = measure.clocked(_loop)
        table.row(
            "bare loop in two processes", 2, loop, grows=False,
            note=f"{before:.2f} x one process before, {after:.2f} x after",
        )  # fmt: skip


if __name__ == "__main__":
    main()
