from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from reclaim.waste import size_distribution
from reclaim.waste.size_distribution import size_passing


@pytest.fixture
def sieved(make_cores):
    cores = make_cores(
        [("A", 0.0, 3.0, 0.3, {"fines": 1.0})],
        [("A", 0.0, 3.0, "waste", ""), ("B", 0.0, 1.0, "waste", "")],
    )
    rows = [
        ("A", 0.0, 3.0, 10.0, 0.4), ("A", 0.0, 3.0, 40.0, 0.8), ("A", 0.0, 3.0, 100.0, 1.0),
        ("B", 0.0, 2.0, 20.0, 0.2), ("B", 0.0, 2.0, 40.0, 0.4),
    ]  # fmt: skip
    columns = ["core_id", "from_m", "to_m", "size_mm", "passing"]
    return replace(cores, sizes=pd.DataFrame(rows, columns=columns))


def test_curves_are_weighted_by_length_in_waste(sieved) -> None:
    found = size_distribution(sieved).set_index(["core_id", "size_mm"])
    # Three metres of A and the one metre of B that is waste.
    assert found.loc[("site", 40.0), "passing"] == pytest.approx((3 * 0.8 + 0.4) / 4)
    # 20 mm lies half way between 10 and 40 mm in the logarithm.
    assert found.loc[("A", 20.0), "passing"] == pytest.approx(0.6)
    assert found.loc[("site", 20.0), "samples"] == 2


def test_outside_its_sieves_nothing_is_guessed(sieved) -> None:
    found = size_distribution(sieved).set_index(["core_id", "size_mm"])
    assert ("B", 10.0) not in found.index
    assert ("B", 100.0) not in found.index
    assert found.loc[("site", 10.0), "samples"] == 1
    assert found.loc[("site", 100.0), "passing"] == 1


def test_median_size() -> None:
    sizes, passing = np.array([10.0, 40.0, 100.0]), np.array([0.4, 0.8, 1.0])
    assert size_passing(sizes, passing, 0.6) == pytest.approx(20.0)
    assert np.isnan(size_passing(sizes, passing, 0.1))


def test_the_ends_of_a_curve_belong_to_it_and_a_level_stretch_gives_its_finest_size() -> None:
    sizes, passing = np.array([5.0, 10.0, 40.0, 100.0]), np.array([0.4, 0.8, 0.8, 0.9])
    assert size_passing(sizes, passing, 0.4) == pytest.approx(5)
    assert size_passing(sizes, passing, 0.9) == pytest.approx(100)
    assert size_passing(sizes, passing, 0.8) == pytest.approx(10)
    assert np.isnan(size_passing(sizes, passing, 0.91))


def test_nothing_sieved(make_cores) -> None:
    assert size_distribution(make_cores([], [("A", 0.0, 1.0, "waste", "")])).empty
