"""Kriging many materials at once with variances, beside two libraries and the bare sums.

200 cores, 16 materials. The libraries take one quantity at a time, so one run of each is timed
and multiplied by the number of materials; both are called so that they are exact at the data. The
floor is one factorisation, the distances with their covariance, and one matrix product per block,
with nothing checked. One thread. Answers are compared on every 50th cell.
"""

from __future__ import annotations

import measure
import numpy as np

CORES, MATERIALS = 200, 16
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
    "here": ours,
    "numpy floor": floor,
    "GSTools": gstools_one,
    "PyKrige": pykrige_one,
    "PyKrige in five parts": pykrige_in_parts,
}
AT_ONCE = ("here", "numpy floor")


def prepared(name, cores, side, materials):
    """Return a job, after a small one that loads what it needs."""
    job = JOBS[name]
    places, shares, cells = case(cores, side, materials)
    job(places, shares, cells[:10])

    def work():
        estimates, variance = job(places, shares, cells)
        return np.asarray(estimates)[::50, 0], np.asarray(variance)[::50]

    return work


def main() -> None:
    """Measure all jobs on grids of three sizes."""
    given = measure.given(__doc__, sizes=(75, 150, 300), tiny=(4, 8, 12))
    cores = 12 if given.tiny else CORES
    with measure.Table("kriging", "cells", given) as table:
        for side in given.sizes:
            found = {}
            for name in ("numpy floor", *(name for name in JOBS if name != "numpy floor")):
                at_once = name in AT_ONCE
                try:
                    run = measure.alone(
                        prepared, name, cores, side, MATERIALS,
                        runs=3 if at_once else 1, threads=1,
                    )  # fmt: skip
                except (measure.NotRunError, ImportError) as problem:
                    table.missing(name, problem)
                    continue
                found[name] = run if at_once else run.times(MATERIALS)
                floor_run = found["numpy floor"]
                apart = max(
                    float(np.abs(one - other).max())
                    for one, other in zip(run.answer, floor_run.answer, strict=True)
                )
                table.row(
                    name, side**2, found[name],
                    of=None if name == "numpy floor" else ("numpy floor", floor_run),
                    note="" if name == "numpy floor" else f"largest difference {apart:.1e}",
                )  # fmt: skip


if __name__ == "__main__":
    main()
