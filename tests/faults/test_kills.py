"""A run of the whole estimate that is killed leaves the earlier result or its own, whole."""

from __future__ import annotations

import os
import subprocess
import time
from typing import TYPE_CHECKING

import numpy as np
import pytest

if TYPE_CHECKING:
    from pathlib import Path
    from types import SimpleNamespace


@pytest.mark.slow
def test_fifty_kills_of_the_whole_estimate_leave_a_whole_result(
    tmp_path: Path, runs: SimpleNamespace
) -> None:
    """Two sites take turns, so that a file of the one among files of the other would show."""
    sites = [runs.write_small_site(tmp_path / f"site{seed}", seed) for seed in (1, 2)]
    place = tmp_path / "out" / "results"
    whole, needed_s = [], []
    for site in sites:
        began = time.monotonic()
        runs.estimate(site, place)
        needed_s.append(time.monotonic() - began)
        whole.append(runs.content(place))
    assert whole[0] != whole[1]
    holds, moments = 1, np.random.default_rng(5)
    for number in range(50):
        site = sites[1 - holds]
        run = subprocess.Popen(
            runs.command("estimate", site, "--out", place, "--quiet"), env=runs.environment()
        )
        if number % 2:
            time.sleep(min(needed_s) * 1.1 * moments.random())
        else:
            # Half of the kills fall while the files are written.
            while run.poll() is None and not list(place.parent.glob(".results.new-*/*")):
                time.sleep(0.005)
            time.sleep(0.35 * min(needed_s) * moments.random())
        run.kill()
        run.wait()
        found = runs.content(place)
        assert found in whole
        changed = found == whole[1 - holds]
        holds = 1 - holds if changed else holds
        print(f"kill {number + 1}: whole, {'the new' if changed else 'the earlier'}", flush=True)
    runs.estimate(sites[0], place)
    assert runs.content(place) == whole[0]
    assert os.listdir(place.parent) == ["results"]  # noqa: PTH208 - hidden names too
