"""Time and memory of the cut volume of two large rasters, beside reading them and nothing else.

The footprint has 200 vertices and about 26 % of the raster's area. References: reading both
rasters with rasterio, tile by tile with the same block cache, whole and only the tiles that meet
the footprint; exactextract on the two files. Ratios are to the second, and by the clock in the
note, since the volume is measured on several threads.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import measure as bench
import numpy as np
import shapely

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

BLOCK = 256
CELL_M = 0.5


def footprint_of(side: int) -> shapely.Polygon:
    """Return an irregular outline of 200 vertices over some 26 % of the raster."""
    rng = np.random.default_rng(7)
    angle = np.sort(rng.random(200)) * 2 * np.pi
    wave = 1 + 0.2 * np.sin(3 * angle) + 0.05 * rng.standard_normal(200)
    centre = side * CELL_M / 2
    reach = side * CELL_M * 0.284
    return shapely.Polygon(
        np.stack(
            [
                500_000 + centre + reach * wave * np.cos(angle),
                4_000_000 - centre + reach * wave * np.sin(angle),
            ],
            axis=1,
        )
    )


def write_rasters(folder: Path, side: int) -> None:
    """Write a rough survey with all its digits and a smooth base to the centimetre.

    Both are tiled and deflated. The digits of noise set how long reading takes: a survey rounded
    to the centimetre reads four times as fast, and the measuring does not.
    """
    import rasterio
    from rasterio.transform import from_origin
    from rasterio.windows import Window

    rng = np.random.default_rng(3)
    for name, height, rough in (("top.tif", 120.0, 0.02), ("base.tif", 104.0, 0.0)):
        if (folder / name).exists():
            continue
        with rasterio.open(
            folder / name, "w", driver="GTiff", width=side, height=side, count=1,
            dtype="float32", crs="EPSG:32633", nodata=-9999, tiled=True, blockxsize=256,
            blockysize=256, compress="deflate",
            transform=from_origin(500_000, 4_000_000, CELL_M, CELL_M),
        ) as file:  # fmt: skip
            x = np.arange(side)[None, :] * CELL_M
            for row in range(0, side, 256):
                rows = min(256, side - row)
                y = (row + np.arange(rows))[:, None] * CELL_M
                values = height + 3 * np.sin(x / 300) * np.cos(y / 250)
                values = values + rough * rng.standard_normal(values.shape)
                block = values if rough else np.round(values, 2)
                file.write(block.astype(np.float32), 1, window=Window(0, row, side, rows))


def job_read(folder: Path, side: int, *, only_met: bool) -> float:
    """Read both rasters by window and do nothing else."""
    import rasterio
    from rasterio.windows import Window

    polygon = footprint_of(side)
    shapely.prepare(polygon)
    total = 0.0
    with (
        rasterio.Env(GDAL_CACHEMAX=12 << 20),
        rasterio.open(folder / "top.tif") as top,
        rasterio.open(folder / "base.tif") as base,
    ):
        for row in range(0, side, BLOCK):
            for column in range(0, side, BLOCK):
                window = Window(column, row, min(BLOCK, side - column), min(BLOCK, side - row))
                if only_met:
                    west, north = 500_000 + column * CELL_M, 4_000_000 - row * CELL_M
                    box = shapely.box(west, north - BLOCK * CELL_M, west + BLOCK * CELL_M, north)
                    if not polygon.intersects(box):
                        continue
                total += float(top.read(1, window=window)[0, 0])
                total += float(base.read(1, window=window)[0, 0])
    return total


def job_measure(folder: Path, side: int, side_slope: float) -> float:
    """Measure the dig: volumes by lift, cover, over-dig and error."""
    from reclaim.ground import measure
    from reclaim.site.model import Footprint, Grid, Zone
    from reclaim.site.surfaces import ConstantSurface, RasterSurface

    polygon = shapely.MultiPolygon([footprint_of(side)])
    grid = Grid(500_000.0, 4_000_000.0, CELL_M, CELL_M, side, side)
    footprint = Footprint((Zone("site", polygon),), polygon, polygon, shapely.MultiPolygon(), 0.0)
    surfaces = [
        RasterSurface(folder / name, name, grid, "", 1.0, (0, 0))
        for name in ("top.tif", "base.tif")
    ]
    dig = measure(
        footprint, grid, *surfaces, ConstantSurface(0.8, "cover", grid), side_slope=side_slope,
        overdig_m=0.3, lift_m=3.0, survey_sd_m=0.05, base_sd_m=0.4, error_range_m=60.0,
    )  # fmt: skip
    return dig.gross_m3


def job_exactextract(folder: Path, side: int) -> float:
    """Sum both files under the footprint with a general exact-coverage library."""
    from exactextract import exact_extract

    feature = {
        "type": "Feature",
        "properties": {},
        "geometry": shapely.geometry.mapping(footprint_of(side)),
    }
    sums = [
        exact_extract(str(folder / name), feature, ["sum"], max_cells_in_memory=1_000_000)
        for name in ("top.tif", "base.tif")
    ]
    top, base = (each[0]["properties"]["sum"] for each in sums)
    return (top - base) * CELL_M**2


MET = "read the windows met"
JOBS = {
    "read all windows": lambda folder, side: job_read(folder, side, only_met=False),
    MET: lambda folder, side: job_read(folder, side, only_met=True),
    "measure, vertical faces": lambda folder, side: job_measure(folder, side, 0.0),
    "measure, side slope 1.5": lambda folder, side: job_measure(folder, side, 1.5),
    "exactextract, two sums": job_exactextract,
}


def prepared(name: str, folder: Path, side: int) -> Callable[[], float]:
    """Return a job as work to be timed."""
    return lambda: JOBS[name](folder, side)


def main() -> None:
    """Measure every job on rasters of three sizes."""
    given = bench.given(__doc__, sizes=(2500, 5000, 10_000), tiny=(64, 128, 300))
    with bench.Table("cut_volume", "cells", given) as table, bench.folder(given) as folder:
        for side in given.sizes:
            place = folder / f"cut_volume_{side}"
            place.mkdir(exist_ok=True)
            bench.alone(bench.made, write_rasters, place, side)
            met = bench.alone(prepared, MET, place, side, runs=2)
            table.row(MET, side**2, met)
            for name in (name for name in JOBS if name != MET):
                run = bench.alone(prepared, name, place, side, runs=2)
                note = f"{run.seconds / met.seconds:.2f} by the clock; answer {run.answer:.3f}"
                table.row(name, side**2, run, of=(MET, met), note=note)


if __name__ == "__main__":
    main()
