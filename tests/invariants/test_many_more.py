"""The same properties on many more examples, in a run of their own."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest


@pytest.mark.slow
def test_the_properties_hold_on_many_more_examples():
    run = subprocess.run(
        [sys.executable, "-m", "pytest", "-q", "-x", str(Path(__file__).parent)],
        env={**os.environ, "RECLAIM_EXAMPLES_TIMES": "20"},
        capture_output=True,
        text=True,
        check=False,
    )
    assert run.returncode == 0, run.stdout
