from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest

from reclaim.assumptions import Draws
from reclaim.plant import check_limits, line_capacity, run_line
from reclaim.plant.quality import between_lots
from reclaim.reference import materials, products, read_rows


@pytest.fixture
def run(make_feed, default_line, assumptions):
    draws = Draws(60, seed=1)
    feed = make_feed()
    best = run_line(feed, default_line, assumptions, Draws.best_estimate())
    many = run_line(make_feed(draws=draws), default_line, assumptions, draws)
    return feed, best, many


def test_limits_name_known_things() -> None:
    for row in read_rows("product_limits.csv"):
        assert row["product"] in products()
        assert row["direction"] in {"min", "max"}
        assert float(row["limit"]) > 0


def test_each_product_is_held_against_each_of_its_limits(run) -> None:
    feed, best, many = run
    checks = check_limits(best, many, feed.properties)
    assert len(checks) == len(read_rows("product_limits.csv"))
    for check in checks:
        sign = 1 if check.is_maximum else -1
        assert check.passes == (sign * check.value <= sign * check.limit)
        assert check.passes == (check.margin >= 0)
        assert check.passes == (check.what_would_help == "")
        assert 0 <= check.chance <= 1


def test_the_advice_brings_the_product_to_its_limit(run, monkeypatch) -> None:
    # Follow the whole advice for the aggregate, and the foreign matter is at its limit.
    monkeypatch.setattr("reclaim.plant.limits._MOST_STEPS", 20)
    feed, best, many = run
    check = next(
        c
        for c in check_limits(best, many, feed.properties)
        if c.product == "aggregate" and c.quantity == "content"
    )
    assert not check.passes
    place = best.names.index("aggregate")
    wet = (best.dry_t + best.water_t)[0, place].copy()
    labels = {item.label.lower(): n for n, item in enumerate(materials())}
    for part, label in re.findall(r"(all|\d+%) of the ([a-z, -]+?) \(", check.what_would_help):
        wet[labels[label]] *= 0 if part == "all" else 1 - float(part[:-1]) / 100
    counted = np.isin(best.materials, check.materials)
    assert wet[counted].sum() / wet.sum() == pytest.approx(check.limit, rel=0.05)


def test_a_damp_fuel_is_told_how_dry_it_must_be(run) -> None:
    feed, best, many = run
    place = best.names.index("fuel")
    water = best.water_t.copy()
    water[0, place] += best.dry_t[0, place] * 0.9
    ncv = best.ncv_mj_kg.copy()
    ncv[0, place] = 8.0
    damp = replace(best, water_t=water, ncv_mj_kg=ncv)
    advice = {c.quantity: c.what_would_help for c in check_limits(damp, many, feed.properties)}
    assert advice["moisture"].startswith("Dry off another")
    assert advice["ncv"].startswith("Dry it to")


def test_lots_of_a_lognormal() -> None:
    # Aitchison and Brown (1957): the mean of a lognormal is median x exp(s^2 / 2); with the 80th
    # percentile at twice the median the deviation is ln 2 / 0.8416.
    spread = np.exp(np.log(2) / 0.8416212335729143)
    median, p80 = between_lots(np.array([1.0]), np.array([spread]))
    assert p80[0] / median[0] == pytest.approx(2)
    rng = np.random.default_rng(1)
    lots = median[0] * spread ** rng.standard_normal(200_000)
    assert lots.mean() == pytest.approx(1, rel=0.02)
    assert np.quantile(lots, 0.8) == pytest.approx(p80[0], rel=0.02)


def test_capacity(run, default_line, assumptions) -> None:
    feed, best, _ = run
    found = line_capacity(best, default_line, assumptions)
    assert [item.name for item in found.machines] == [m.name for m in default_line.machines]
    assert found.feed_t_h == pytest.approx(60_000 / 3_600)
    for item in found.machines:
        assert item.needed * item.throughput_t_h >= item.load_t_h * (1 - 1e-9)
        assert item.use <= 1 + 1e-9
    fullest = next(item for item in found.machines if item.name == found.bottleneck)
    assert fullest.use == max(item.use for item in found.machines)
    assert found.most_t_y == pytest.approx(60_000 / fullest.use)
    # A week in the boxes holds a week of what is dried.
    dried = best.drying.feed_t[0] / feed.total_wet_t[0]
    assert found.buffer_t == pytest.approx(60_000 * dried * 7 / 365)
    assert found.power_kwh_t == pytest.approx(best.power_mwh[0])  # 1000 t fed


def test_twice_the_rate_needs_more_machines(run, default_line, assumptions) -> None:
    _, best, _ = run
    rate = assumptions["plant.capacity_t_y"]
    many = {**assumptions, "plant.capacity_t_y": replace(rate, numbers=(400_000.0,))}
    few = line_capacity(best, default_line, assumptions)
    more = line_capacity(best, default_line, many)
    assert sum(m.needed for m in more.machines) > sum(m.needed for m in few.machines)
