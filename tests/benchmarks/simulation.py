"""Conditional simulation of log-ratios between cores: how it grows with blocks and with draws.

60 cores, 15 log-ratios (16 materials), draws in parts of 48 MB of which only the sum is kept, as
the estimate does. The reference is drawing as many normal deviates with numpy, without which no
simulation can be made.
"""

from __future__ import annotations

import measure

FIELDS = 15
PART = 6_000_000


def parts_of(n_blocks, n_draws):
    at_once = max(1, PART // (n_blocks * FIELDS))
    return [min(at_once, n_draws - first) for first in range(0, n_draws, at_once)]


def simulating(n_blocks, n_draws):
    import numpy as np

    from reclaim.geostatistics import ConditionalSimulation, CovarianceModel

    rng = np.random.default_rng(1)
    data = rng.uniform(0, 1000, (60, 2))
    values = rng.standard_normal((60, FIELDS))
    places = rng.uniform(0, 1000, (n_blocks, 2))
    model = CovarianceModel("spherical", 0.8, 250, 0.2)

    def work():
        simulation = ConditionalSimulation(data, model, places)
        total = sum(
            simulation.draw(values, part, rng).sum() for part in parts_of(n_blocks, n_draws)
        )
        assert np.isfinite(total)

    return work


def deviates(n_blocks, n_draws):
    import numpy as np

    rng = np.random.default_rng(1)

    def work():
        for part in parts_of(n_blocks, n_draws):
            rng.standard_normal((part, n_blocks, FIELDS))

    return work


def main() -> None:
    """Measure growing numbers of blocks, then of draws."""
    given = measure.given(__doc__, sizes=(2500, 5000, 10_000), tiny=(10, 20, 40))
    draws = 6 if given.tiny else 200
    reference = "as many normal deviates"
    with measure.Table("simulation", "blocks", given) as table:
        for n_blocks in given.sizes:
            floor = measure.alone(deviates, n_blocks, draws)
            table.row(f"normal deviates, {draws} draws", n_blocks, floor)
            run = measure.alone(simulating, n_blocks, draws)
            each = 1e6 * run.cpu_s / n_blocks / draws
            note = f"{each:.2f} us a block and draw"
            table.row(f"simulation, {draws} draws", n_blocks, run, of=(reference, floor), note=note)
        n_blocks = given.sizes[0]
        for times in (2, 4):
            floor = measure.alone(deviates, n_blocks, times * draws)
            run = measure.alone(simulating, n_blocks, times * draws)
            each = 1e6 * run.cpu_s / n_blocks / (times * draws)
            table.row(
                f"simulation, {times * draws} draws", n_blocks, run, of=(reference, floor),
                note=f"{each:.2f} us a block and draw",
            )  # fmt: skip


if __name__ == "__main__":
    main()
