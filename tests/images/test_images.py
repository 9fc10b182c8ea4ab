"""Three drawings against stored pictures, so that a change of look is seen and meant.

`RECLAIM_NEW_PICTURES=1 pytest tests/images` stores them anew; look at each before you commit it.
The type is the one that comes with matplotlib, so no font of the machine matters.
"""

from __future__ import annotations

import os
from pathlib import Path
from shutil import copy

import pytest
from matplotlib.testing.compare import compare_images

from reclaim.report import figures

BASELINE = Path(__file__).parent / "baseline"
DPI = 60
# Root mean square of 0 to 255. Another release of the font renderer moves edges by a pixel and
# gives up to about 10; a missing legend or a wrong hatch gives more.
TOLERANCE = 12


@pytest.mark.parametrize("name", ["thickness_map", "mass_flow", "cash_flow"])
def test_the_drawing_looks_as_it_did(estimate, tmp_path, name) -> None:
    stored, drawn = BASELINE / f"{name}.png", tmp_path / f"{name}.png"
    getattr(figures, name)(estimate).savefig(drawn, dpi=DPI)
    if os.environ.get("RECLAIM_NEW_PICTURES"):
        copy(drawn, stored)
    difference = compare_images(str(stored), str(drawn), tol=TOLERANCE)
    assert difference is None, difference
