"""Processor time and memory of conditional simulation: how they grow with blocks and with draws.

Run: ``python tests/benchmarks/simulation.py [fields]``. Each case runs in a process of its own:
60 cores, 15 log-ratios (16 materials). Draws are made in parts of 48 MB and only their sum is kept,
as the estimate does. The last column is processor time per block and draw; it stays level where
the method is linear in both.
"""

from __future__ import annotations

import json
import resource
import subprocess
import sys
import time

import numpy as np

CASES = [(2500, 1000), (5000, 1000), (10_000, 500), (10_000, 1000), (20_000, 500)]


def run_case(n_blocks: int, n_draws: int, n_fields: int) -> None:
    """Simulate one case and print what it took."""
    from reclaim.geostatistics import ConditionalSimulation, CovarianceModel

    rng = np.random.default_rng(1)
    data = rng.uniform(0, 1000, (60, 2))
    values = rng.standard_normal((60, n_fields))
    places = rng.uniform(0, 1000, (n_blocks, 2))
    start = time.process_time()
    simulation = ConditionalSimulation(data, CovarianceModel("spherical", 0.8, 250, 0.2), places)
    prepared = time.process_time() - start
    at_once = max(1, 6_000_000 // (n_blocks * n_fields))
    total = 0.0
    for first in range(0, n_draws, at_once):
        total += simulation.draw(values, min(at_once, n_draws - first), rng).sum()
    seconds = time.process_time() - start
    peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(json.dumps({"prepared": prepared, "seconds": seconds, "peak_mb": peak_mb}))
    assert np.isfinite(total)


def main() -> None:
    """Run all cases and print the table."""
    if len(sys.argv) == 4:
        run_case(*(int(number) for number in sys.argv[1:]))
        return
    n_fields = int(sys.argv[1]) if len(sys.argv) > 1 else 15
    print(f"60 cores, {n_fields} fields")
    for n_blocks, n_draws in CASES:
        command = [sys.executable, __file__, str(n_blocks), str(n_draws), str(n_fields)]
        done = subprocess.run(command, capture_output=True, text=True, check=True)
        found = json.loads(done.stdout)
        print(
            f"{n_blocks:6} blocks {n_draws:5} draws: {found['seconds']:6.1f} s "
            f"(weights {found['prepared']:.1f} s), {found['peak_mb']:4.0f} MB, "
            f"{1e6 * found['seconds'] / n_blocks / n_draws:.2f} us each"
        )


if __name__ == "__main__":
    main()
