"""The side slopes of a dig on millions of cells, beside reading the raster.

Ground 16 m deep with slopes of 1.5:1 over most of a raster of 0.5 m cells, rough, tiled and
deflated. The reference is reading the raster tile by tile. A walk over the columns with vertical
faces is what a dig without slopes takes; the difference is the slopes alone.
"""

from __future__ import annotations

import measure

CELL_M = 0.5


def write_raster(path, side):
    import numpy as np
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


def reading(path):
    import rasterio

    def work():
        with rasterio.Env(GDAL_CACHEMAX=32 << 20), rasterio.open(path) as file:
            for _, window in file.block_windows(1):
                file.read(1, window=window)

    return work


def walking(path, side, side_slope):
    import numpy as np
    import shapely

    from reclaim.ground.columns import Layout, columns
    from reclaim.ground.known_surfaces import plain_footprint, rough_outline
    from reclaim.site.model import Grid
    from reclaim.site.surfaces import ConstantSurface, RasterSurface

    side_m = side * CELL_M
    grid = Grid(0.0, side_m, CELL_M, CELL_M, side, side)
    outline = rough_outline(200, side_m / 2, side_m / 2, side_m * 0.37, jag=0.5)
    footprint = plain_footprint(outline.intersection(shapely.box(0, 0, side_m, side_m)))
    layout = Layout(footprint, grid)
    survey = RasterSurface(path, path.name, grid, "", 1.0, (0, 0))
    base = ConstantSurface(104.0, "constant", grid)

    def work():
        sloped = 0
        for part in columns(layout, survey, base, side_slope=side_slope):
            if part.dig_m is not part.base_m:
                sloped += int(np.count_nonzero(part.dig_m > part.base_m))
        return sloped

    return work


def main() -> None:
    """Measure reading, columns, and columns with slopes on rasters of three sizes."""
    given = measure.given(__doc__, sizes=(1250, 2500, 5000), tiny=(64, 96, 128))
    with measure.Table("dig_surface", "cells", given) as table, measure.folder(given) as folder:
        for side in given.sizes:
            path = folder / f"dig_surface_{side}.tif"
            if not path.exists():
                measure.alone(measure.made, write_raster, path, side)
            read = measure.alone(reading, path, runs=2)
            table.row("raw read", side**2, read)
            of = ("raw read", read)
            plain = measure.alone(walking, path, side, 0.0, runs=2)
            table.row("columns, vertical faces", side**2, plain, of=of)
            sloped = measure.alone(walking, path, side, 1.5, runs=2)
            note = f"{sloped.answer:,} cells on a slope"
            table.row("columns, slopes 1.5:1", side**2, sloped, of=of, note=note)
            table.row("the slopes alone", side**2, sloped.less(plain), of=of)


if __name__ == "__main__":
    main()
