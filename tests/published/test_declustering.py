"""Declustering against the example data of a textbook, with the weights printed in its file."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import shapely

from reclaim.waste import area_weights, cell_weights

# Deutsch and Journel (1998), GSLIB: Geostatistical Software Library and User's Guide: cluster.dat,
# 140 places on 50 by 50, of which the last 43 crowd around high values, with the weights of its
# program declus; copied from a public copy of the file. Which cell it took is not in the file:
# squares of 5.5 in five shifts give its weights, no other size does.
DATA = np.loadtxt(Path(__file__).parent / "data" / "gslib_cluster.csv", delimiter=",", skiprows=1)
PLACES, VALUES, WEIGHTS = DATA[:, :2], DATA[:, 2], DATA[:, 3]
SQUARE = shapely.box(0, 0, 50, 50)


def test_the_file_is_the_one_of_the_book() -> None:
    # 140 data with an equal-weighted mean of 4.35: the book's own figures, from memory.
    assert len(DATA) == 140
    assert VALUES.mean() == pytest.approx(4.35, abs=0.005)


def test_cell_weights_are_those_of_the_file() -> None:
    found = cell_weights(PLACES, 5.5, origins=5) * len(PLACES)
    np.testing.assert_allclose(found, WEIGHTS, atol=0.001)  # it has three decimals
    assert cell_weights(PLACES, 5.5, origins=5) @ VALUES == pytest.approx(2.528, abs=0.001)


def test_both_ways_come_near_the_mean_of_the_whole_ground() -> None:
    # Mean of all 2500 points of the ground that the data were taken from: 2.58, from memory.
    truth = 2.58
    for found in (cell_weights(PLACES, 5.0), area_weights(PLACES, SQUARE)):
        assert abs(found @ VALUES - truth) < 0.2 * abs(VALUES.mean() - truth)
