"""Time and memory of the side slopes of a dig on 25 million cells, beside reading the raster.

Run: ``python tests/benchmarks/dig_surface.py [cells per side] [folder for the raster]``. Ground
16 m deep with slopes of 1.5:1 over most of a 5,000 x 5,000 raster of 0.5 m cells.
"""

from __future__ import annotations

import argparse
import tempfile
import time
from pathlib import Path

import numpy as np
import shapely

from reclaim.ground.columns import Layout, columns
from reclaim.ground.known_surfaces import plain_footprint, rough_outline
from reclaim.site.model import Grid
from reclaim.site.surfaces import ConstantSurface, RasterSurface

CELL_M = 0.5


def write_raster(path: Path, side: int) -> None:
    """Write rough ground with all its digits, tiled and deflated."""
    import rasterio
    from rasterio.transform import from_origin

    rng = np.random.default_rng(3)
    x = np.arange(side) * CELL_M
    ground = 120 + 3 * np.sin(x[None, :] / 300) * np.cos(x[:, None] / 250)
    ground += 0.02 * rng.standard_normal((side, side))
    with rasterio.open(
        path, "w", driver="GTiff", width=side, height=side, count=1, dtype="float32",
        crs="EPSG:32633", nodata=-9999, tiled=True, blockxsize=256, blockysize=256,
        compress="deflate", transform=from_origin(0, side * CELL_M, CELL_M, CELL_M),
    ) as file:  # fmt: skip
        file.write(ground.astype(np.float32), 1)


def peak_mb() -> float:
    """Return the greatest memory this process has held [MB]."""
    for line in Path("/proc/self/status").read_text(encoding="ascii").splitlines():
        if line.startswith("VmHWM"):
            return int(line.split()[1]) / 1024
    return float("nan")


def main() -> None:
    """Print the time to read, to walk the columns, and to raise the slopes on them."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("side", type=int, nargs="?", default=5000)
    parser.add_argument("folder", type=Path, nargs="?", default=Path(tempfile.gettempdir()))
    given = parser.parse_args()
    path = given.folder / f"dig_surface_{given.side}.tif"
    if not path.exists():
        write_raster(path, given.side)
        print("raster written; run once more for a peak without the writing")
    side_m = given.side * CELL_M
    grid = Grid(0.0, side_m, CELL_M, CELL_M, given.side, given.side)
    outline = rough_outline(200, side_m / 2, side_m / 2, side_m * 0.37, jag=0.5)
    square = shapely.box(0, 0, side_m, side_m)
    footprint = plain_footprint(outline.intersection(square))
    survey = RasterSurface(path, path.name, grid, "", 1.0, (0, 0))
    base = ConstantSurface(104.0, "constant", grid)

    import rasterio

    began, at_work = time.perf_counter(), time.process_time()
    with rasterio.Env(GDAL_CACHEMAX=32 << 20), rasterio.open(path) as file:
        for _, window in file.block_windows(1):
            file.read(1, window=window)
    reading_s, reading_cpu_s = time.perf_counter() - began, time.process_time() - at_work
    layout = Layout(footprint, grid)
    seconds, busy = [], []
    for side_slope in (0.0, 1.5):
        began, at_work = time.perf_counter(), time.process_time()
        sloped = 0
        for part in columns(layout, survey, base, side_slope=side_slope):
            if part.dig_m is not part.base_m:
                sloped += int(np.count_nonzero(part.dig_m > part.base_m))
        seconds.append(time.perf_counter() - began)
        busy.append(time.process_time() - at_work)
    cones_s = seconds[1] - seconds[0]
    rim = sum(ring.length for ring in (part.exterior for part in footprint.outline.geoms))
    print(
        f"{given.side} x {given.side} cells, {layout.zones[0].cells:,.0f} in the footprint, rim of "
        f"{rim / CELL_M:,.0f} cells, {sloped:,} cells on a slope"
    )
    print(f"reading the raster            {reading_s:6.2f} s")
    print(f"columns, vertical faces       {seconds[0]:6.2f} s  {seconds[0] / reading_s:5.1f} x")
    print(f"columns, slopes 1.5:1         {seconds[1]:6.2f} s  {seconds[1] / reading_s:5.1f} x")
    print(f"the slopes alone              {cones_s:6.2f} s  {cones_s / reading_s:5.1f} x")
    print(
        f"processor time: reading {reading_cpu_s:.2f} s, columns {busy[0]:.2f} s, "
        f"with slopes {busy[1]:.2f} s: the slopes alone {(busy[1] - busy[0]) / reading_cpu_s:.1f} x"
    )
    print(f"peak memory {peak_mb():.0f} MB")


if __name__ == "__main__":
    main()
