"""Monte Carlo of the whole model on the demo site, beside single estimates and two numpy kernels.

The kernels are the least arithmetic of such a model, and as many array operations of the same
sizes as the model's, on arrays of no meaning.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path

import measure
import numpy as np

DEMO = Path(__file__).parents[2] / "demo_site" / "site.toml"


@cache
def dig():
    from reclaim.dig import Dig
    from reclaim.estimate import _measure, _study
    from reclaim.site import read_site
    from reclaim.waste import core_composites, laboratory_means

    site = read_site(DEMO)
    excavation, picture, _ = _measure(site)
    composites = core_composites(site.cores)
    study = _study(site, picture, composites)
    return Dig(site, excavation, composites, study, laboratory_means(site.cores, composites))


def whole(draws, workers):
    from reclaim.assumptions import Draws
    from reclaim.uncertainty import run_in_chunks

    ready = dig()
    ready.run(Draws(2, seed=1))

    def work():
        outcome = run_in_chunks(ready.run, Draws(draws, seed=1961), workers=workers)
        return float(np.quantile(outcome.appraisal.npv, 0.5))

    return work


def singles(runs):
    from reclaim.assumptions import Draws

    ready = dig()
    ready.run(Draws(2, seed=1))

    def work():
        for seed in range(runs):
            ready.run(Draws(1, seed=seed))

    return work


def kernel(draws):
    """Do the least arithmetic of such a model: 12 materials, 8 products, 20 years, no checks."""
    generator = np.random.default_rng(1961)
    found = []
    rate = 1.04 ** -np.arange(21)
    for first in range(0, draws, 4096):
        n = min(4096, draws - first)
        feed = generator.dirichlet(np.full(12, 5.0), n) * generator.normal(5e5, 5e4, n)[:, None]
        rows = generator.dirichlet(np.full(8, 2.0), (n, 12))
        made = np.einsum("dm,dmp->dp", feed, rows)
        price = generator.triangular(-50, 10, 80, (n, 8))
        yearly = (made * price).sum(axis=1)[:, None] / 20 * np.ones(20)
        flow = np.concatenate([-generator.normal(8e6, 1e6, n)[:, None], yearly], axis=1)
        found.append((flow * rate).sum(axis=1))
    return float(np.quantile(np.concatenate(found), 0.5))


def same_sizes(draws):
    """Do bare numpy operations as many and as large as the model's, on arrays of no meaning.

    200 stratified streams with a triangular quantile each; 16 materials in 3 parts and 2 sizes
    through 11 machines of 3 outlets; 8 products of 6 qualities; 120 months of digging; 30 lines of
    cash flow over 32 years, discounted.
    """
    generator = np.random.default_rng(1961)
    found = []
    years = np.arange(32)
    for first in range(0, draws, 2048):
        n = min(2048, draws - first)
        streams = []
        for _ in range(200):
            points = (generator.permutation(n) + generator.random(n)) / n
            rising, falling = np.sqrt(points * 0.3), 1 - np.sqrt((1 - points) * 0.7)
            streams.append(np.where(points < 0.3, rising, falling))
        share = np.stack(streams[:16], axis=1)
        matter = [np.stack(streams[16 * k : 16 * k + 16], axis=1) for k in range(1, 7)]
        made = np.zeros((6, n, 8, 16))
        for machine in range(11):
            for outlet in range(3):
                for k, part in enumerate(matter):
                    sent = part * share
                    made[k, :, (machine + outlet) % 8] += sent
                    sent.sum(axis=1)
        wet = made.sum(axis=0)
        quality = [np.einsum("dpm,dm->dp", wet, share) for _ in range(6)]
        left = streams[0].copy()
        for _ in range(120):
            now = np.minimum(np.minimum(streams[1] / 100, left), np.maximum(streams[2] - left, 0))
            left = left - now
            np.maximum(left, now)
        flow = np.zeros((n, 32))
        for line in range(30):
            flow = flow + streams[line][:, None] * (years == line) - streams[line][:, None] * 0.03
        npv = (flow * (1 + streams[5][:, None]) ** -years).sum(axis=1)
        found.append(npv + 0 * quality[0][:, 0])
    return float(np.quantile(np.concatenate(found), 0.5))


def bare(name, draws):
    job = {"kernel": kernel, "same_sizes": same_sizes}[name]
    return lambda: job(draws)


def main() -> None:
    """Measure single estimates, the kernels, and the model at three numbers of draws."""
    given = measure.given(__doc__, sizes=(5000, 10_000, 20_000), tiny=(2, 4, 8))
    runs = 1 if given.tiny else 20
    with measure.Table("model", "draws", given) as table:
        single = measure.alone(singles, runs)
        table.row("one estimate after another", runs, single)
        for draws in given.sizes:
            least = measure.alone(bare, "kernel", draws)
            table.row("numpy, least arithmetic", draws, least)
            same = measure.alone(bare, "same_sizes", draws)
            table.row("numpy, arrays of the same sizes", draws, same)
            for workers in (1, 2):
                if workers > 1 and draws != given.sizes[-1]:
                    continue
                run = measure.alone(whole, draws, workers)
                each = run.cpu_s / draws
                table.row(
                    f"whole model, {workers} worker{'s' * (workers > 1)}", draws, run,
                    of=("arrays of the same sizes", same),
                    note=f"{1e6 * each:.0f} us a draw, {single.cpu_s / runs / each:,.0f} times "
                    f"faster than by itself, {run.cpu_s / least.cpu_s:,.0f} x the least arithmetic",
                )  # fmt: skip


if __name__ == "__main__":
    main()
