"""The correlated volume error of a large dug area, beside summing over pairs of cells.

The reference is made on a raster coarse enough for it, and its time scaled with the square of the
number of cells.
"""

from __future__ import annotations

import measure

RANGE_M = 60.0
CELL_M = 0.5
COARSE = 100


def dug_area(side):
    from reclaim.ground.columns import Layout
    from reclaim.ground.known_surfaces import KnownSurface, level, plain_footprint, rough_outline
    from reclaim.site.model import Grid

    side_m = side * CELL_M
    grid = Grid(0.0, side_m, CELL_M, CELL_M, side, side)
    outline = plain_footprint(rough_outline(200, side_m / 2, side_m / 2, side_m * 0.37))
    layout = Layout(outline, grid)
    return layout, grid, (KnownSurface(grid, level(1)), KnownSurface(grid, level(0)))


def gathered(side):
    from reclaim.ground.columns import columns
    from reclaim.ground.volume_error import DugArea

    layout, grid, surfaces = dug_area(side)
    dug = DugArea(layout.extent, grid)
    for part in columns(layout, *surfaces, side_slope=0.0):
        dug.add(part)
    return dug


def gathering(side):
    """Time only what gathering adds to a walk over the columns: by the clock, and of processor."""
    from time import perf_counter, process_time

    from reclaim.ground.columns import columns
    from reclaim.ground.volume_error import DugArea

    layout, grid, surfaces = dug_area(side)

    def work():
        dug = DugArea(layout.extent, grid)
        seconds = busy = 0.0
        for part in columns(layout, *surfaces, side_slope=0.0):
            began, at_work = perf_counter(), process_time()
            dug.add(part)
            seconds += perf_counter() - began
            busy += process_time() - at_work
        return seconds, busy

    return work


def by_fft(side):
    from reclaim.ground.volume_error import covariance_integral

    dug = gathered(side)
    return lambda: covariance_integral(dug.area_m2, dug.cell_x_m, dug.cell_y_m, RANGE_M)


def by_pairs(side):
    """Sum over all pairs of cells of a coarser raster, row by row."""
    import numpy as np

    from reclaim.ground.volume_error import spherical

    dug = gathered(side)
    merge = -(-max(dug.area_m2.shape) // COARSE)
    rows, columns = (-(-size // merge) for size in dug.area_m2.shape)
    padded = np.zeros((rows * merge, columns * merge))
    padded[: dug.area_m2.shape[0], : dug.area_m2.shape[1]] = dug.area_m2
    coarse = padded.reshape(rows, merge, columns, merge).sum(axis=(1, 3))
    row, column = np.nonzero(coarse)
    weight = coarse[row, column]
    down_m, across_m = row * dug.cell_y_m * merge, column * dug.cell_x_m * merge
    pairs = (np.count_nonzero(dug.area_m2) / weight.size) ** 2

    def work():
        total = 0.0
        for number in range(row.size):
            distance = np.hypot(down_m - down_m[number], across_m - across_m[number])
            total += float(weight[number] * (weight @ spherical(distance, RANGE_M)))
        return total, pairs

    return work


def main() -> None:
    """Measure gathering, the integral, and the direct sum on three sizes."""
    given = measure.given(__doc__, sizes=(1250, 2500, 5000), tiny=(40, 80, 120))
    with measure.Table("volume_error", "cells", given) as table:
        for side in given.sizes:
            direct = measure.alone(by_pairs, side)
            total, pairs = direct.answer
            scaled = direct.times(pairs)
            note = f"timed on a coarse raster, times {pairs:,.0f}"
            table.row("sum over pairs of cells", side**2, scaled, note=note, grows=False)
            walk = measure.alone(gathering, side)
            seconds, busy = walk.answer
            gather = walk._replace(seconds=seconds, cpu_s=busy)
            table.row("gathering the dug area", side**2, gather, of=("sum over pairs", scaled))
            integral = measure.alone(by_fft, side, runs=2)
            apart = abs((total / integral.answer) ** 0.5 - 1)
            table.row(
                "double integral by FFT", side**2, integral, of=("sum over pairs", scaled),
                note=f"standard deviations differ by {apart:.2%}",
            )  # fmt: skip


if __name__ == "__main__":
    main()
