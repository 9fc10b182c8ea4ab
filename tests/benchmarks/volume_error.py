"""Time of the correlated volume error of a large dug area, beside summing over pairs of cells.

Run: ``python tests/benchmarks/volume_error.py [cells per side]``. The direct sum is made on a
raster coarse enough for it, and its time scaled with the square of the number of cells.
"""

from __future__ import annotations

import argparse
import time

import numpy as np

from reclaim.ground.columns import Layout, columns
from reclaim.ground.known_surfaces import KnownSurface, level, plain_footprint, rough_outline
from reclaim.ground.volume_error import DugArea, covariance_integral, spherical
from reclaim.site.model import Grid

RANGE_M = 60.0
CELL_M = 0.5


def direct_sum(area_m2: np.ndarray, cell_x_m: float, cell_y_m: float) -> float:
    """Return the double integral as a sum over all pairs of cells, row by row."""
    row, column = np.nonzero(area_m2)
    weight = area_m2[row, column]
    total = 0.0
    for number in range(row.size):
        distance = np.hypot((row - row[number]) * cell_y_m, (column - column[number]) * cell_x_m)
        total += float(weight[number] * (weight @ spherical(distance, RANGE_M)))
    return total


def main() -> None:
    """Print times and how far the two ways are apart."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("side", type=int, nargs="?", default=5000)
    side = parser.parse_args().side
    side_m = side * CELL_M
    grid = Grid(0.0, side_m, CELL_M, CELL_M, side, side)
    layout = Layout(
        plain_footprint(rough_outline(200, side_m / 2, side_m / 2, side_m * 0.37)), grid
    )
    surfaces = KnownSurface(grid, level(1)), KnownSurface(grid, level(0))
    dug = DugArea(layout.extent, grid)
    gathering = 0.0
    for part in columns(layout, *surfaces, side_slope=0.0):
        began = time.perf_counter()
        dug.add(part)
        gathering += time.perf_counter() - began
    began = time.perf_counter()
    found = covariance_integral(dug.area_m2, dug.cell_x_m, dug.cell_y_m, RANGE_M)
    integral_s = time.perf_counter() - began

    merge = -(-max(dug.area_m2.shape) // 100)
    rows, columns_ = (-(-size // merge) for size in dug.area_m2.shape)
    padded = np.zeros((rows * merge, columns_ * merge))
    padded[: dug.area_m2.shape[0], : dug.area_m2.shape[1]] = dug.area_m2
    coarse = padded.reshape(rows, merge, columns_, merge).sum(axis=(1, 3))
    began = time.perf_counter()
    direct = direct_sum(coarse, dug.cell_x_m * merge, dug.cell_y_m * merge)
    direct_s = time.perf_counter() - began
    pairs = (np.count_nonzero(dug.area_m2) / np.count_nonzero(coarse)) ** 2
    cells = layout.zones[0].cells
    print(f"{side} x {side} cells, {cells:,.0f} dug, coarse raster {dug.area_m2.shape}")
    print(f"gathering the dug area        {gathering:8.3f} s")
    print(f"double integral by FFT        {integral_s:8.3f} s")
    print(
        f"direct sum on {coarse.shape}: {direct_s:.2f} s, so some {direct_s * pairs:,.0f} s on the "
        f"raster of the FFT; standard deviations differ by {abs((direct / found) ** 0.5 - 1):.2%}"
    )


if __name__ == "__main__":
    main()
