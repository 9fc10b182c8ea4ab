"""Exact shares of the cells that a polygon covers, beside a general exact-coverage library.

A polygon of 200 vertices and a jagged one of 5,000, over a quarter of the grid. The library,
exactextract, gives shares in single precision and no centroids.
"""

from __future__ import annotations

import measure

SHAPES = {"200 vertices": (200, 0.0), "5,000 vertices, jagged": (5000, 1.0)}


def shape_of(name, side):
    from reclaim.ground.known_surfaces import rough_outline

    vertices, jag = SHAPES[name]
    return rough_outline(vertices, side / 2, side / 2, side * 0.29, jag=jag)


def ours(name, side):
    from reclaim.ground.coverage import coverage
    from reclaim.site.model import Grid

    polygon, grid = shape_of(name, side), Grid(0.0, float(side), 1.0, 1.0, side, side)

    def work():
        found = coverage(polygon, grid)
        return found.row.size, abs(found.cells / polygon.area - 1)

    return work


def library(name, side):
    import numpy as np
    import shapely
    from exactextract import exact_extract
    from exactextract.raster import NumPyRasterSource

    polygon = shape_of(name, side)
    source = NumPyRasterSource(np.zeros((side, side), dtype=np.float32), 0, 0, side, side)
    feature = {"type": "Feature", "properties": {}, "geometry": shapely.geometry.mapping(polygon)}

    def work():
        found = exact_extract(source, feature, ["cell_id", "coverage"])
        area = float(np.sum(found[0]["properties"]["coverage"], dtype=np.float64))
        return abs(area / polygon.area - 1)

    return work


def main() -> None:
    """Measure both shapes on grids of three sizes."""
    given = measure.given(__doc__, sizes=(1024, 2048, 4096), tiny=(32, 64, 128))
    with measure.Table("cell_coverage", "cells a side", given) as table:
        for name in SHAPES:
            for side in given.sizes:
                beside = measure.alone(library, name, side, runs=3)
                table.row(
                    f"exactextract, {name}", side, beside, note=f"area error {beside.answer:.0e}"
                )
                own = measure.alone(ours, name, side, runs=3)
                cells, error = own.answer
                note = f"{cells:,} cells of the boundary, area error {error:.0e}"
                table.row(f"shares, {name}", side, own, of=("exactextract", beside), note=note)


if __name__ == "__main__":
    main()
