"""A survey of millions of scattered points, read as a surface, beside parsing its points alone.

Points lie half a metre apart over a wavy plane. References: pandas for xyz, laspy for LAZ, which
only parse; the surface here is thinned, gap-filled and ready to be read by window.
"""

from __future__ import annotations

import measure

WEST, SOUTH = 500_000.0, 5_400_000.0
PARSERS = {".xyz": "pandas parsing", ".laz": "laspy parsing"}


def height(x, y):
    """Return the elevation of the wavy plane [m]."""
    import numpy as np

    return 20 + 3 * np.sin(x / 50) + 0.01 * y


def write(path, count):
    import numpy as np

    rng = np.random.default_rng(7)
    side = 0.5 * count**0.5
    x, y = rng.uniform(0, side, (2, count))
    if path.suffix == ".xyz":
        import pandas as pd

        frame = pd.DataFrame({"x": x + WEST, "y": y + SOUTH, "z": height(x, y)}).round(3)
        frame.to_csv(path, sep=" ", header=False, index=False)
        return
    import laspy
    from pyproj import CRS

    header = laspy.LasHeader(point_format=6, version="1.4")
    header.scales, header.offsets = [0.001] * 3, [WEST, SOUTH, 0]
    header.add_crs(CRS.from_epsg(32633))
    cloud = laspy.LasData(header)
    cloud.x, cloud.y, cloud.z = x + WEST, y + SOUTH, height(x, y)
    cloud.classification = np.full(count, 2, dtype=np.uint8)
    cloud.write(path)


def as_surface(path):
    """Read the survey as `reclaim` does."""
    import numpy as np

    from reclaim.site.model import Window
    from reclaim.site.problems import Findings
    from reclaim.site.surfacefile import SurfaceRequest, open_survey

    request = SurfaceRequest(path, path.name, 1.0, crs_text="EPSG:32633")

    def work():
        grid, surface = open_survey(request, Findings())
        with surface.reader() as read:
            found = read(Window(0, 0, grid.rows, grid.columns))
        x = grid.west_m - WEST + (np.arange(grid.columns) + 0.5) * grid.cell_x_m
        y = grid.north_m - SOUTH - (np.arange(grid.rows)[:, None] + 0.5) * grid.cell_y_m
        error = found - height(x, y)
        rms = float(np.sqrt(np.nanmean(error**2)))
        return found.size, grid.cell_x_m, float(np.nanmean(error)), rms

    return work


def parsing(path):
    """Parse the points once and add up their heights."""
    import numpy as np

    if path.suffix == ".xyz":
        import pandas as pd

        def work():
            chunks = pd.read_csv(path, sep=" ", header=None, chunksize=1_000_000)
            return sum(float(chunk[2].sum()) for chunk in chunks)

        return work
    import laspy

    def work_las():
        with laspy.open(path) as file:
            return sum(float(np.sum(chunk.z)) for chunk in file.chunk_iterator(1_000_000))

    return work_las


def main() -> None:
    """Write the files, and measure parsing and reading each."""
    given = measure.given(__doc__, sizes=(500_000, 1_000_000, 2_000_000), tiny=(400, 900, 1600))
    with measure.Table("read_survey", "points", given) as table, measure.folder(given) as folder:
        for suffix, parser in PARSERS.items():
            for count in given.sizes:
                path = folder / f"survey_{count}{suffix}"
                if not path.exists():
                    measure.alone(measure.made, write, path, count)
                parse = measure.alone(parsing, path)
                note = f"{path.stat().st_size / 1e6:.0f} MB"
                table.row(parser, count, parse, note=note)
                read = measure.alone(as_surface, path)
                cells, cell_m, mean_m, rms_m = read.answer
                table.row(
                    f"surface from {suffix[1:]}", count, read, of=(parser, parse),
                    note=f"{cells:,} cells of {cell_m:g} m, mean error {mean_m:.1e} m, "
                    f"rms {rms_m:.1e} m",
                )  # fmt: skip


if __name__ == "__main__":
    main()
