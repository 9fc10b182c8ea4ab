from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from reclaim.uncertainty import band, chance_above


def test_band_of_a_known_distribution() -> None:
    # P10 and P90 of a standard normal: -1.2816 and 1.2816, any table.
    draws = stats.norm.ppf((np.arange(10_000) + 0.5) / 10_000)
    found = band(np.array([0.3]), draws, "t")
    assert (found.low, found.high) == pytest.approx((-1.28155, 1.28155), abs=1e-3)
    assert (found.value, found.unit) == (0.3, "t")


def test_draws_without_a_value_are_left_out() -> None:
    found = band(np.array([1.0]), np.array([np.nan, 2.0, 2.0, np.inf]), "years")
    assert (found.low, found.high) == (2.0, 2.0)
    none = band(np.array([np.nan]), np.array([np.nan]), "years")
    assert np.isnan(none.low)
    assert np.isnan(none.value)


def test_chance() -> None:
    assert chance_above(np.array([-1.0, 0.0, 1.0, np.nan]), 0) == 0.25
