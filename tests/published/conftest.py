"""What outside checks of several rooms share."""

from __future__ import annotations

import numpy as np
import pytest

from reclaim.appraisal import quantities_of
from reclaim.ground import DugVolumes
from reclaim.plant import run_line


@pytest.fixture
def quantities(make_feed, default_line, assumptions, best):
    """Bill of quantities of 1000 t of old waste."""
    feed = make_feed(draws=best)
    volumes = DugVolumes(
        cover_m3=np.array([60.0]),
        waste_m3=np.array([909.0]),
        overdig_m3=np.array([30.0]),
        zone_waste_m3=np.array([[909.0]]),
    )
    return quantities_of(volumes, feed, run_line(feed, default_line, assumptions, best), 500.0)
