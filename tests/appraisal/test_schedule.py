"""When what is dug: pace, season, stockpile, order."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest

from reclaim.appraisal import block_times, dig_schedule
from reclaim.assumptions import Draws


def test_the_plant_sets_the_pace_where_it_is_smaller(make_quantities, priced) -> None:
    time = dig_schedule(make_quantities(), priced({"plant.capacity_t_y": 300.0}), ())
    assert time.duration_years[0] == pytest.approx(1000 / 300)
    np.testing.assert_allclose(time.dug_share[0], [0, 0.3, 0.3, 0.3, 0.1])
    assert time.peak_stock_t[0] == pytest.approx(0, abs=1e-9)


def test_the_diggers_set_the_pace_where_they_are_slower(make_quantities, priced) -> None:
    # 999 m3 at 2 m3 a day and 200 days a year: 2.4975 years.
    slow = {"schedule.dig_rate_m3_d": 2.0, "schedule.working_days_y": 200.0}
    time = dig_schedule(make_quantities(), priced(slow), ())
    assert time.duration_years[0] == pytest.approx(999 / 400)
    alone = dig_schedule(make_quantities(), priced(slow), (), plant=False)
    assert alone.duration_years[0] == pytest.approx(999 / 400)


@pytest.mark.parametrize("draws", [Draws.best_estimate(), Draws(60, seed=3)])
@pytest.mark.parametrize("closed", [(), (12, 1, 2), (1, 2, 3, 4, 5, 6)])
def test_all_is_dug_once_and_processed_once(make_quantities, priced, draws, closed) -> None:
    changes = {"plant.capacity_t_y": 300.0, "schedule.stockpile_t": 50.0}
    time = dig_schedule(make_quantities(draws), priced(changes, draws), closed)
    np.testing.assert_allclose(time.dug_share.sum(axis=1), 1, rtol=1e-9)
    np.testing.assert_allclose(time.processed_share.sum(axis=1), 1, rtol=1e-9)
    ahead = np.cumsum(time.dug_share - time.processed_share, axis=1)
    assert (ahead >= -1e-9).all()
    assert (time.peak_stock_t <= 50 + 1e-9).all()


def test_a_stockpile_carries_the_plant_over_the_winter(make_quantities, priced) -> None:
    def years(stock):
        changes = {"plant.capacity_t_y": 240.0, "schedule.stockpile_t": stock}
        return dig_schedule(make_quantities(), priced(changes), (1, 2, 11, 12)).duration_years[0]

    # 20 t a month, four months closed: 80 t of stock keeps the plant going, save the first two
    # months before any digging.
    assert years(80.0) == pytest.approx(1000 / 240 + 2 / 12, abs=0.01)
    assert years(0.0) > years(40.0) > years(80.0)


@pytest.mark.parametrize("key", ["plant.capacity_t_y", "schedule.dig_rate_m3_d"])
def test_a_schedule_that_never_ends_is_refused(make_quantities, priced, key) -> None:
    with pytest.raises(ValueError, match=key.replace(".", r"\.")):
        dig_schedule(make_quantities(), priced({key: 0.001}), ())


def test_closed_months_can_make_it_endless(make_quantities, priced) -> None:
    changes = {"plant.capacity_t_y": 5.0, "schedule.stockpile_t": 0.0}
    with pytest.raises(ValueError, match="closed_months"):
        dig_schedule(make_quantities(), priced(changes), tuple(range(1, 12)))


def test_blocks_follow_each_other_from_the_top(dig, make_quantities, priced) -> None:
    time = dig_schedule(make_quantities(), priced({"plant.capacity_t_y": 300.0}), ())
    blocks = block_times(dig, time)
    assert [(b.zone, b.top_m) for b in blocks] == [
        ("north", 9), ("north", 6), ("north", 3), ("south", 9), ("south", 6), ("south", 3),
    ]  # fmt: skip
    assert blocks[0].start_year == 0
    assert blocks[-1].end_year == pytest.approx(time.duration_years[0])
    for before, after in pairwise(blocks):
        assert before.end_year == pytest.approx(after.start_year)
    spans = np.array([b.end_year - b.start_year for b in blocks])
    np.testing.assert_allclose(spans / spans.sum(), dig.waste_m3.ravel() / 909, rtol=1e-6)


def test_zones_can_be_taken_in_another_order(dig, make_quantities, priced) -> None:
    time = dig_schedule(make_quantities(), priced(), ())
    assert [b.zone for b in block_times(dig, time, ["south"])][:3] == ["south"] * 3
