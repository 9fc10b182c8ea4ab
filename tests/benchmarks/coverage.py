"""Time and accuracy of exact shares of cells, beside a general exact-coverage library.

Run: ``python tests/benchmarks/coverage.py [cells per side]``. Polygons of 200 vertices and a
jagged one of 5,000. The reference, exactextract, gives shares in single precision and no
centroids.
"""

from __future__ import annotations

import argparse
import time
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely
from exactextract import exact_extract
from exactextract.raster import NumPyRasterSource

from reclaim.ground.coverage import coverage
from reclaim.ground.known_surfaces import rough_outline
from reclaim.site.model import Grid

if TYPE_CHECKING:
    from collections.abc import Callable


def fastest(work: Callable[[], Any], times: int = 3) -> tuple[float, Any]:
    """Return the shortest of a few runs [s] and the answer."""
    seconds, answer = [], None
    for _ in range(times):
        began = time.perf_counter()
        answer = work()
        seconds.append(time.perf_counter() - began)
    return min(seconds), answer


def main() -> None:
    """Print time, ratio and area error for both polygons."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("side", type=int, nargs="?", default=4096)
    side = parser.parse_args().side
    grid = Grid(0.0, float(side), 1.0, 1.0, side, side)
    source = NumPyRasterSource(np.zeros((side, side), dtype=np.float32), 0, 0, side, side)
    print(f"grid of {side} x {side} cells")
    for words, vertices, jag in (("200 vertices", 200, 0.0), ("5,000, jagged", 5000, 1.0)):
        polygon = rough_outline(vertices, side / 2, side / 2, side * 0.29, jag=jag)
        feature = {
            "type": "Feature",
            "properties": {},
            "geometry": shapely.geometry.mapping(polygon),
        }
        own_s, own = fastest(lambda polygon=polygon: coverage(polygon, grid))
        other_s, other = fastest(
            lambda feature=feature: exact_extract(source, feature, ["cell_id", "coverage"])
        )
        other_area = float(np.sum(other[0]["properties"]["coverage"], dtype=np.float64))
        print(
            f"{words:14s} boundary cells {own.row.size:8,d}   here {own_s:7.4f} s"
            f"   exactextract {other_s:6.3f} s   {other_s / own_s:6.1f} x as fast"
            f"   area error {abs(own.cells / polygon.area - 1):.0e}"
            f" (there {abs(other_area / polygon.area - 1):.0e})"
        )


if __name__ == "__main__":
    main()
