"""Time and memory of kriging many materials at once, beside two libraries and the bare sums.

Run: ``python tests/benchmarks/kriging.py [cores] [cells per side] [materials]``. Each job runs in a
process of its own. The libraries take one quantity at a time, so one run of each is timed and
multiplied by the number of materials; both are called so that they are exact at the data. The floor
is one factorisation, the distances with their covariance, and one matrix product per block, with
nothing checked. Answers are compared on every 50th cell. Ratios are
of processor time of one thread, which other work on the machine does not stretch.
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import subprocess
import sys
import time

import numpy as np

NUGGET, PARTIAL_SILL, RANGE_M = 0.1, 0.9, 250.0
SIDE_M = 1000.0


def case(cores: int, side: int, materials: int):
    """Return core places, shares, and the middles of the cells."""
    rng = np.random.default_rng(5)
    places = rng.uniform(0, SIDE_M, (cores, 2))
    shares = rng.dirichlet(np.full(materials, 2.0), cores)
    middle = (np.arange(side) + 0.5) * SIDE_M / side
    cells = np.stack(np.meshgrid(middle, middle), axis=-1).reshape(-1, 2)
    return places, shares, cells


def ours(places, shares, cells):
    """Krige all materials with this package."""
    from reclaim.geostatistics import CovarianceModel, ordinary_kriging

    model = CovarianceModel("spherical", PARTIAL_SILL, RANGE_M, NUGGET)
    return ordinary_kriging(places, shares, cells, model)


def floor(places, shares, cells):
    """Do the work that cannot be left out, in blocks that fit the cache."""
    from scipy.linalg import inv

    def covariance(first, second):
        h = np.hypot(first[:, 0, None] - second[:, 0], first[:, 1, None] - second[:, 1])
        h *= 1 / RANGE_M
        np.minimum(h, 1.0, out=h)
        return PARTIAL_SILL * (1 + h * (0.5 * h * h - 1.5))

    count = len(places)
    system = np.ones((count + 1, count + 1))
    system[:count, :count] = covariance(places, places) + NUGGET * np.eye(count)
    system[count, count] = 0
    inverse = inv(system)
    product = np.vstack([inverse, shares.T @ inverse[:count]])
    estimates = np.empty((len(cells), shares.shape[1]))
    variance = np.empty(len(cells))
    for first in range(0, len(cells), 2000):
        block = slice(first, first + 2000)
        side = np.ones((count + 1, len(cells[block])))
        side[:count] = covariance(places, cells[block])
        solved = product @ side
        estimates[block] = solved[count + 1 :].T
        variance[block] = NUGGET + PARTIAL_SILL - (solved[: count + 1] * side).sum(axis=0)
    return estimates, variance


def gstools_one(places, shares, cells):
    """Krige the first material with GSTools, exact at the data."""
    import gstools

    model = gstools.Spherical(dim=2, var=PARTIAL_SILL, len_scale=RANGE_M, rescale=1, nugget=NUGGET)
    krige = gstools.krige.Ordinary(model, places.T, shares[:, 0], exact=True, cond_err="nugget")
    estimates, variance = krige(cells.T, chunk_size=50_000)
    return estimates[:, None], variance


def pykrige_one(places, shares, cells, parts=1):
    """Krige the first material with PyKrige, vectorised, all cells at once or in parts."""
    from pykrige.ok import OrdinaryKriging

    krige = OrdinaryKriging(
        places[:, 0], places[:, 1], shares[:, 0], variogram_model="spherical",
        variogram_parameters={"psill": PARTIAL_SILL, "range": RANGE_M, "nugget": NUGGET},
    )  # fmt: skip
    found = [
        krige.execute("points", part[:, 0], part[:, 1])
        for part in np.array_split(cells, min(parts, len(cells)))
    ]
    return (
        np.concatenate([np.asarray(part[0]) for part in found])[:, None],
        np.concatenate([np.asarray(part[1]) for part in found]),
    )


def pykrige_in_parts(places, shares, cells):
    """Krige the first material with PyKrige in five parts, which spares it memory and time."""
    return pykrige_one(places, shares, cells, parts=5)


JOBS = {
    "ours": ours,
    "floor": floor,
    "gstools": gstools_one,
    "pykrige": pykrige_one,
    "pykrige_in_parts": pykrige_in_parts,
}


def run_job(name: str, cores: int, side: int, materials: int) -> None:
    """Run one job, after a small one that loads what it needs, and print what it took."""
    job = JOBS[name]
    places, shares, cells = case(cores, side, materials)
    job(places, shares, cells[:10])
    times, work = [], []
    for _ in range(3 if name in {"ours", "floor"} else 1):
        start, start_cpu = time.perf_counter(), time.process_time()
        estimates, variance = job(places, shares, cells)
        times.append(time.perf_counter() - start)
        work.append(time.process_time() - start_cpu)
    peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(
        json.dumps(
            {
                "seconds": sorted(times)[len(times) // 2],
                "cpu_seconds": sorted(work)[len(work) // 2],
                "peak_mb": peak_mb,
                "estimates": np.asarray(estimates)[::50, 0].tolist(),
                "variance": np.asarray(variance)[::50].tolist(),
            }
        )
    )


def main() -> None:
    """Run all jobs and print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("cores", type=int, nargs="?", default=200)
    parser.add_argument("side", type=int, nargs="?", default=500)
    parser.add_argument("materials", type=int, nargs="?", default=16)
    parser.add_argument("--job", choices=JOBS)
    chosen = parser.parse_args()
    size = (chosen.cores, chosen.side, chosen.materials)
    if chosen.job:
        run_job(chosen.job, *size)
        return
    print(f"{size[0]} cores, {size[1] ** 2:,} cells, {size[2]} materials, with variances")
    found = {}
    for name in JOBS:
        command = [sys.executable, __file__, *map(str, size), "--job", name]
        done = subprocess.run(
            command, capture_output=True, text=True, check=False,
            env={**os.environ, "OPENBLAS_NUM_THREADS": "1"},
        )  # fmt: skip
        if done.returncode:
            print(f"{name:16} not run: {done.stderr.strip().splitlines()[-1]}")
            continue
        found[name] = json.loads(done.stdout.splitlines()[-1])
    own = found["ours"]
    for name, result in found.items():
        times = 1 if name in {"ours", "floor"} else size[2]
        seconds = result["seconds"] * times
        apart = max(
            float(np.abs(np.subtract(result[key], own[key])).max())
            for key in ("estimates", "variance")
        )
        ratio = result["cpu_seconds"] * times / own["cpu_seconds"]
        print(
            f"{name:16} {seconds:8.2f} s  {result['cpu_seconds'] * times:8.2f} s of processor "
            f"(ratio to ours {ratio:6.2f})  {result['peak_mb']:6.0f} MB  "
            f"largest difference {apart:.1e}"
        )


if __name__ == "__main__":
    main()
