"""Monte Carlo of the whole model on the demo site: time, memory, and what it is measured against.

Run: python tests/benchmarks/model.py [draws]

Prints, each in a process of its own: repeated single estimates of the same stages, the whole
model at a tenth of the draws and at all of them, one and two workers, and two bare numpy kernels:
the least arithmetic of such a model, and as many array operations of the same sizes. Times are
processor times of the process, all threads together, so that other work on the machine counts less.
"""

from __future__ import annotations

import sys
from multiprocessing import get_context
from pathlib import Path
from resource import RUSAGE_SELF, getrusage
from time import process_time

import numpy as np

DEMO = Path(__file__).parents[2] / "demo_site" / "site.toml"
SINGLES = 20


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


def whole(draws: int, workers: int):
    from reclaim.assumptions import Draws
    from reclaim.uncertainty import run_in_chunks

    ready = dig()
    ready.run(Draws(2, seed=1))
    begin = process_time()
    outcome = run_in_chunks(ready.run, Draws(draws, seed=1961), workers=workers)
    seconds = process_time() - begin
    return seconds, float(np.quantile(outcome.appraisal.npv, 0.5))


def singles():
    from reclaim.assumptions import Draws

    ready = dig()
    ready.run(Draws(2, seed=1))
    begin = process_time()
    for seed in range(SINGLES):
        ready.run(Draws(1, seed=seed))
    return (process_time() - begin) / SINGLES, float("nan")


def kernel(draws: int):
    """Do the least arithmetic of such a model: 12 materials, 8 products, 20 years, no checks."""
    generator = np.random.default_rng(1961)
    begin = process_time()
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
    return process_time() - begin, float(np.quantile(np.concatenate(found), 0.5))


def same_sizes(draws: int):
    """Do bare numpy operations as many and as large as the model's, on arrays of no meaning.

    200 stratified streams with a triangular quantile each; 16 materials in 3 parts and 2 sizes
    through 11 machines of 3 outlets; 8 products of 6 qualities; 120 months of digging; 30 lines of
    cash flow over 32 years, discounted.
    """
    generator = np.random.default_rng(1961)
    begin = process_time()
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
    return process_time() - begin, float(np.quantile(np.concatenate(found), 0.5))


def _reporting(job, arguments, answers) -> None:
    answers.put((*job(*arguments), getrusage(RUSAGE_SELF).ru_maxrss / 1024))


def alone(job, *arguments):
    context = get_context("spawn")
    answers = context.Queue()
    process = context.Process(target=_reporting, args=(job, arguments, answers))
    process.start()
    answer = answers.get()
    process.join()
    return answer


def main() -> None:
    draws = int(sys.argv[1]) if len(sys.argv) > 1 else 100_000
    single, _, _ = alone(singles)
    print(f"one estimate after another: {single * 1e3:.1f} ms each ({SINGLES} runs)")
    kernels = []
    for job, words in ((kernel, "least arithmetic"), (same_sizes, "arrays of the same sizes")):
        seconds, _, memory = alone(job, draws)
        kernels.append(seconds / draws)
        print(
            f"bare numpy, {words}: {draws} draws, {seconds:.2f} s, "
            f"{seconds / draws * 1e6:.1f} us/draw, {memory:.0f} MB"
        )
    for count, workers in ((draws // 10, 1), (draws, 1), (draws, 2)):
        seconds, median, memory = alone(whole, count, workers)
        each = seconds / count
        print(
            f"whole model: {count} draws, {workers} worker(s), {seconds:.2f} s, "
            f"{each * 1e6:.0f} us/draw, peak {memory:.0f} MB, "
            f"{single / each:.0f} x faster than single estimates, "
            f"{each / kernels[0]:.0f} x the least arithmetic, "
            f"{each / kernels[1]:.2f} x arrays of the same sizes, median {median:.6g}"
        )


if __name__ == "__main__":
    main()
