"""Time and memory to read a survey of millions of points, beside reading its bytes alone.

Run: ``python tests/benchmarks/read_survey.py [millions of points] [folder for the files]``.
Each job runs in a process of its own, so that each has its own peak memory. Points are scattered
half a metre apart over a wavy plane, seed 7. References: pandas for xyz, laspy for LAZ, which
only parse; the surface here is thinned, gap-filled and ready to be read by window.
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

WEST, SOUTH = 500_000.0, 5_400_000.0


def height(x, y):
    """Return the elevation of the wavy plane [m]."""
    return 20 + 3 * np.sin(x / 50) + 0.01 * y


def write(path: Path, count: int) -> None:
    """Write the survey."""
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


def read_as_surface(path: Path) -> dict[str, float]:
    """Read the survey as `reclaim` does."""
    from reclaim.site.model import Window
    from reclaim.site.problems import Findings
    from reclaim.site.surfacefile import SurfaceRequest, open_survey

    request = SurfaceRequest(path, path.name, 1.0, crs_text="EPSG:32633")
    grid, surface = open_survey(request, Findings())
    with surface.reader() as read:
        found = read(Window(0, 0, grid.rows, grid.columns))
    x = grid.west_m - WEST + (np.arange(grid.columns) + 0.5) * grid.cell_x_m
    y = grid.north_m - SOUTH - (np.arange(grid.rows)[:, None] + 0.5) * grid.cell_y_m
    error = found - height(x, y)
    return {
        "cells": float(found.size),
        "cell_m": grid.cell_x_m,
        "mean_error_m": float(np.nanmean(error)),
        "rms_error_m": float(np.sqrt(np.nanmean(error**2))),
    }


def parse_alone(path: Path) -> dict[str, float]:
    """Parse the points once and add up their heights."""
    if path.suffix == ".xyz":
        import pandas as pd

        chunks = pd.read_csv(path, sep=" ", header=None, chunksize=1_000_000)
        return {"sum": sum(float(chunk[2].sum()) for chunk in chunks)}
    import laspy

    with laspy.open(path) as file:
        return {"sum": sum(float(np.sum(chunk.z)) for chunk in file.chunk_iterator(1_000_000))}


JOBS = {"surface": read_as_surface, "parse": parse_alone}


def run_alone(job: str, path: Path) -> dict[str, float]:
    """Run one job in a new process; return its time, its peak memory and its result."""
    command = [sys.executable, __file__, "--job", job, "--file", str(path)]
    output = subprocess.run(command, check=True, capture_output=True, text=True).stdout
    return json.loads(output)


def main() -> None:
    """Write the files, run each job alone, print the figures."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("millions", nargs="?", type=float, default=5.0)
    parser.add_argument("folder", nargs="?", type=Path)
    parser.add_argument("--job", choices=JOBS)
    parser.add_argument("--file", type=Path)
    given = parser.parse_args()
    if given.job:
        import resource

        start, busy = time.perf_counter(), time.process_time()
        result = JOBS[given.job](given.file)
        seconds, cpu = time.perf_counter() - start, time.process_time() - busy
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        print(json.dumps({"seconds": seconds, "cpu_s": cpu, "peak_mb": peak, **result}))
        return
    with tempfile.TemporaryDirectory() as temporary:
        folder = given.folder or Path(temporary)
        for name in ("survey.xyz", "survey.laz"):
            path = folder / name
            if not path.exists():
                write(path, int(given.millions * 1e6))
            surface, parse = run_alone("surface", path), run_alone("parse", path)
            print(
                f"{name}: {given.millions:g} million points, {path.stat().st_size / 1e6:.0f} MB; "
                f"surface {surface['seconds']:.2f} s ({surface['cpu_s']:.2f} s of processor), "
                f"{surface['peak_mb']:.0f} MB; parsing alone {parse['seconds']:.2f} s "
                f"({parse['cpu_s']:.2f} s), {parse['peak_mb']:.0f} MB; ratio of processor time "
                f"{surface['cpu_s'] / parse['cpu_s']:.1f}; {surface['cells']:.0f} cells of "
                f"{surface['cell_m']:g} m, mean error {surface['mean_error_m']:.1e} m, "
                f"rms {surface['rms_error_m']:.1e} m"
            )


if __name__ == "__main__":
    main()
