"""Water levels, head over the base, and the volume to pump."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from reclaim.hazards.leachate import leachate, leachate_cautions

from .conftest import collar_table


def two_cores(water: list[float]) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Return two cores with waste from 1 to 9 m and from 1 to 5 m."""
    logs = pd.DataFrame(
        {
            "core_id": ["C1", "C1", "C1", "C2"],
            "from_m": [0.0, 1.0, 9.0, 1.0],
            "to_m": [1.0, 9.0, 10.0, 5.0],
            "layer": ["cover", "waste", "natural", "waste"],
            "note": [""] * 4,
        }
    )
    return collar_table("C1", "C2").assign(water_m=water), logs


def test_head_and_volume_by_hand() -> None:
    # C1: 9 - 6 = 3 m of water; C2: dry at 5 m. 3 of 12 m of waste are saturated.
    collars, logs = two_cores([6.0, 7.0])
    found = leachate(collars, logs, np.array([12_000.0]), np.array([0.1]))
    assert list(found.head_m) == [3.0, 0.0]
    assert found.saturated_share == pytest.approx(3 / 12)
    assert found.to_pump_m3[0] == pytest.approx(300.0)


def test_water_above_the_waste_saturates_no_more_than_the_waste() -> None:
    collars, logs = two_cores([0.2, 0.2])
    found = leachate(collars, logs, np.ones(1), np.ones(1))
    assert found.saturated_share == pytest.approx(1.0)


def test_without_levels_nothing_is_known_and_that_is_said() -> None:
    collars, logs = two_cores([float("nan"), float("nan")])
    assert leachate(collars, logs, np.ones(1), np.ones(1)) is None
    assert leachate(collars.drop(columns="water_m"), logs, np.ones(1), np.ones(1)) is None
    cautions, (sentence,) = leachate_cautions(None, None, water_by_volume=0.1)
    assert cautions == ()
    assert "no water levels are given" in sentence


@pytest.mark.parametrize(
    ("water_m", "raised"),
    [
        (9.1, set()),
        (8.8, {"water_in_cut"}),
        (8.69, {"water_in_cut", "leachate_head"}),  # 40 CFR 258.40(a)(2): 30 cm
    ],
)
def test_head_limits(water_m: float, raised: set[str]) -> None:
    collars, logs = two_cores([water_m, float("nan")])
    found = leachate(collars, logs, np.array([1000.0]), np.array([0.1]))
    cautions, _ = leachate_cautions(found, found, water_by_volume=0.1)
    assert {caution.key for caution in cautions} == raised
    assert all(caution.cores == ("C1",) for caution in cautions)


@pytest.mark.parametrize(("water", "raised"), [(0.291, []), (0.292, ["field_capacity"])])
def test_waste_wetter_than_it_can_hold_drains(water: float, raised: list[str]) -> None:
    # HELP model, default municipal waste: field capacity 0.292 by volume (from memory)
    cautions, _ = leachate_cautions(None, None, water_by_volume=water)
    assert [caution.key for caution in cautions] == raised
