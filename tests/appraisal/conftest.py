"""A small bill of quantities and prices at stated values."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from reclaim.appraisal import Prices, quantities_of
from reclaim.assumptions import Draws
from reclaim.ground import DugVolumes, Excavation, VolumeError
from reclaim.plant import run_line


@pytest.fixture
def make_quantities(make_feed, default_line, assumptions):
    """Return a function that makes the bill of quantities of 1000 t of waste on 500 m2."""

    def make(draws=None, **feed):
        draws = draws or Draws.best_estimate()
        dug = make_feed(draws=draws, **feed)
        n = draws.n_draws
        volumes = DugVolumes(
            cover_m3=np.full(n, 60.0),
            waste_m3=np.full(n, 909.0),
            overdig_m3=np.full(n, 30.0),
            zone_waste_m3=np.full((n, 1), 909.0),
        )
        return quantities_of(volumes, dug, run_line(dug, default_line, assumptions, draws), 500.0)

    return make


@pytest.fixture
def priced(assumptions):
    """Return a function that fixes some assumptions and gives prices."""

    def priced(changes=None, draws=None):
        stated = dict(assumptions)
        for key, value in (changes or {}).items():
            stated[key] = replace(stated[key], kind="fixed", numbers=(value,), given=True)
        return Prices(stated, draws or Draws.best_estimate())

    return priced


@pytest.fixture
def dig():
    """Two zones of three lifts, waste and cover in place."""
    waste = np.array([[100.0, 200.0, 100.0], [300.0, 200.0, 9.0]])
    return Excavation(
        ("north", "south"),
        np.array([9.0, 6.0, 3.0]),
        np.array([6.0, 3.0, 0.0]),
        np.array([250.0, 250.0]),
        np.array([[30.0, 0.0, 0.0], [30.0, 0.0, 0.0]]),
        waste,
        np.array([15.0, 15.0]),
        np.zeros(2),
        0.0,
        0.0,
        9.0,
        VolumeError(1.0, 1.0, 1.0),
    )
