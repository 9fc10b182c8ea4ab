"""What no line may do: make or lose anything, or mind how much is fed or in which order it runs."""

from __future__ import annotations

from dataclasses import fields, replace

import numpy as np
import pytest
from hypothesis import assume, event, given
from hypothesis import strategies as st

from reclaim.assumptions import Draws
from reclaim.plant import run_line

CLOSED = 1e-9


def run(line, feed, assumptions, draws):
    """Run a line; a loop without a numerical way out is refused, which is no counterexample."""
    try:
        return run_line(feed, line, assumptions, draws)
    except ValueError as refusal:
        if "no way out" not in str(refusal) and "does not settle" not in str(refusal):
            raise
        event(str(refusal)[-20:])
        assume(False)


def feed_of(make_feed, waste, draws):
    """Make a feed; waste that cannot hold that much water is refused."""
    try:
        return make_feed(waste["shares"], waste["moisture"], draws=draws)
    except ValueError as refusal:
        if "moisture" not in str(refusal):
            raise
        assume(False)


def times(feed, factor):
    return replace(feed, dry_t=factor * feed.dry_t, water_t=factor * feed.water_t)


@pytest.mark.examples(24)
@given(data=st.data(), seed=st.none() | st.integers(0, 99))
def test_every_balance_of_a_random_line_closes(lines, wastes, make_feed, assumptions, data, seed):
    """Mass, water, energy, elements, metals and carbon, at the line and at every machine."""
    line = data.draw(lines)
    draws = Draws.best_estimate() if seed is None else Draws(5, seed=seed)
    feed = feed_of(make_feed, data.draw(wastes), draws)
    made = run(line, feed, assumptions, draws)
    assert max(getattr(made.balance, field.name) for field in fields(made.balance)) < CLOSED
    # And anew, from what is handed on alone.
    fed, took = feed.total_wet_t, made.water_added_t
    out = made.product_wet_t.sum(axis=1) + made.water_lost_t + made.gas_lost_t
    np.testing.assert_allclose(out, fed + took, rtol=CLOSED)
    water = made.water_t.sum(axis=(1, 2)) + made.water_lost_t
    np.testing.assert_allclose(water, feed.water_t.sum(axis=1) + took, rtol=CLOSED)
    gone = feed.dry_t - made.dry_t.sum(axis=1)
    np.testing.assert_allclose(
        gone.sum(axis=1), made.gas_lost_t, rtol=1e-7, atol=CLOSED * fed.max()
    )
    assert (gone >= -CLOSED * fed.max()).all()
    assert (made.dry_t >= 0).all()
    assert (made.water_t >= 0).all()
    for machine in line.machines:
        entering = sum(part.wet_t for part in made.streams if part.target == machine.name)
        leaving = sum(part.wet_t for part in made.streams if part.origin == machine.name)
        np.testing.assert_allclose(leaving, entering, rtol=CLOSED, atol=CLOSED * fed.max())
        np.testing.assert_allclose(
            made.machine_t[machine.name], entering, rtol=CLOSED, atol=CLOSED * fed.max()
        )


@given(data=st.data(), factor=st.floats(1e-4, 1e5))
def test_twice_the_feed_makes_twice_the_products(
    lines, wastes, make_feed, assumptions, data, factor
):
    line, draws = data.draw(lines), Draws.best_estimate()
    feed = feed_of(make_feed, data.draw(wastes), draws)
    one = run(line, feed, assumptions, draws)
    two = run(line, times(feed, factor), assumptions, draws)
    slack = {"rtol": 1e-7, "atol": 1e-7 * factor}
    np.testing.assert_allclose(two.dry_t, factor * one.dry_t, **slack)
    np.testing.assert_allclose(two.water_t, factor * one.water_t, **slack)
    np.testing.assert_allclose(two.power_mwh, factor * one.power_mwh, **slack)
    np.testing.assert_allclose(two.water_added_t, factor * one.water_added_t, **slack)
    np.testing.assert_allclose(
        two.drying.heat_bought_mwh, factor * one.drying.heat_bought_mwh, **slack
    )


@given(data=st.data(), seed=st.integers(0, 99))
def test_the_order_of_the_machines_in_the_file_changes_nothing(
    lines, wastes, make_feed, assumptions, data, seed
):
    line, draws = data.draw(lines), Draws(3, seed=seed)
    feed = feed_of(make_feed, data.draw(wastes), draws)
    mixed = replace(line, machines=tuple(data.draw(st.permutations(line.machines))))
    one, two = (run(each, feed, assumptions, draws) for each in (line, mixed))
    np.testing.assert_allclose(two.dry_t, one.dry_t, rtol=1e-8, atol=1e-7)
    np.testing.assert_allclose(two.water_t, one.water_t, rtol=1e-8, atol=1e-7)
    np.testing.assert_allclose(two.power_mwh, one.power_mwh, rtol=1e-8)


@given(data=st.data(), order=st.permutations(range(6)), seed=st.integers(0, 99))
def test_the_order_of_the_draws_changes_nothing(
    lines, wastes, make_feed, assumptions, shuffled, data, order, seed
):
    line, draws = data.draw(lines), Draws(6, seed=seed)
    waste, other = data.draw(wastes), shuffled(draws, order)
    one = run(line, feed_of(make_feed, waste, draws), assumptions, draws)
    two = run(line, feed_of(make_feed, waste, other), assumptions, other)
    np.testing.assert_allclose(two.dry_t, one.dry_t[order], rtol=1e-8, atol=1e-7)
    np.testing.assert_allclose(two.ncv_mj_kg, one.ncv_mj_kg[order], rtol=1e-6, atol=1e-6)


@given(data=st.data(), n_feeds=st.integers(2, 4), seed=st.integers(0, 99))
def test_feeds_sent_together_come_out_as_if_sent_apart(
    lines, wastes, make_feed, assumptions, data, n_feeds, seed
):
    """Zones that go through the line in one run, and without dampness mixing between them."""
    line, draws = data.draw(lines), Draws(3, seed=seed)
    feed = feed_of(make_feed, data.draw(wastes), draws)
    factors = np.array(data.draw(st.lists(st.floats(0.01, 100), min_size=n_feeds,
                                          max_size=n_feeds)))  # fmt: skip
    rows = np.repeat(np.arange(3), n_feeds)
    factor = np.tile(factors, 3)[:, None]
    properties = type(feed.properties)(
        **{f.name: getattr(feed.properties, f.name)[rows] for f in fields(feed.properties)}
    )
    many = replace(
        feed,
        dry_t=factor * feed.dry_t[rows],
        water_t=factor * feed.water_t[rows],
        properties=properties,
    )
    together = run(line, many, assumptions, draws).dry_t.reshape(3, n_feeds, -1)
    for place, each in enumerate(factors):
        alone = run(line, times(feed, each), assumptions, draws).dry_t.reshape(3, -1)
        np.testing.assert_allclose(together[:, place], alone, rtol=1e-8, atol=1e-7 * each)
