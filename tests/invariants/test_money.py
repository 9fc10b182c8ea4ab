"""What no appraisal may do: lose money between its lines, or mind unit, order or size."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from reclaim.appraisal import (
    COURSES,
    Prices,
    appraise_quantities,
    compare_courses,
    net_present_value,
    quantities_of,
)
from reclaim.assumptions import Draws
from reclaim.ground import DugVolumes
from reclaim.plant import run_line

# Amounts that belong to the whole of a site and not to a tonne, a square metre or an hour of it.
OF_THE_WHOLE = (
    "plant.capacity_t_y",
    "airspace.fill_rate_m3_y",
    "schedule.dig_rate_m3_d",
    "schedule.stockpile_t",
    "money.investigation_cost",
    "money.mobilisation_cost",
    "money.fixed_cost_per_y",
    "money.grant",
)
RARELY_STATED = {
    "airspace.fill_rate_growth": st.floats(-0.1, 0.1),
    "airspace.soil_as_daily_cover": st.floats(0, 1),
    "money.grant": st.floats(0, 1e6),
    "money.land_value_per_m2": st.floats(0, 300),
    "money.avoided_closure_per_m2": st.floats(0, 100),
    "money.levy_returned_per_t": st.floats(0, 50),
    "money.levy_disposal_per_t": st.floats(0, 100),
    "money.restoration_per_m2": st.floats(0, 30),
    "money.capital_first_year_share": st.floats(0, 1),
    "money.discount_rate": st.floats(0, 0.3),
}
months = st.sets(st.integers(1, 12), max_size=6)
SIZE = 200.0


@pytest.fixture
def bill(make_feed, default_line, assumptions):
    """Return a function that makes the bill of quantities of 200 000 t of waste."""

    def make(draws, waste):
        feed = make_feed(moisture=waste, draws=draws)
        rows = np.ones(draws.n_draws)
        volumes = DugVolumes(60.0 * rows, 909.0 * rows, 30.0 * rows, 909.0 * rows[:, None])
        made = run_line(feed, default_line, assumptions, draws)
        return quantities_of(volumes, feed, made, 500.0).times(SIZE)

    return make


@pytest.fixture
def stated():
    """Strategy of numbers that take the place of defaults."""

    @st.composite
    def some(draw):
        keys = draw(st.sets(st.sampled_from(sorted(RARELY_STATED))))
        return {key: draw(RARELY_STATED[key]) for key in sorted(keys)}

    return some()


@pytest.fixture
def with_stated(assumptions):
    """Return a function that puts stated numbers in the place of defaults."""
    return lambda numbers: (
        assumptions | {key: fixed(assumptions[key], value) for key, value in numbers.items()}
    )


def fixed(assumption, value):
    return replace(assumption, kind="fixed", numbers=(float(value),), given=True)


@given(data=st.data(), seed=st.integers(0, 99), moisture=st.floats(0.1, 0.5), closed=months)
def test_money_and_space_add_up(bill, stated, with_stated, data, seed, moisture, closed):
    draws, assumptions = Draws(4, seed=seed), with_stated(data.draw(stated))
    price, quantities = Prices(assumptions, draws), bill(draws, moisture)
    found = appraise_quantities(quantities, price, closed)
    net = sum(item.flow for item in found.items)
    gross = sum(np.abs(item.flow).sum(axis=1) for item in found.items)
    np.testing.assert_allclose(found.net_flow, net, rtol=1e-9, atol=1e-9 * gross.max())
    slack = {"rtol": 1e-9, "atol": 1e-9 * gross.max()}
    np.testing.assert_allclose(found.revenue - found.cost, net.sum(axis=1), **slack)
    rate = price["money.discount_rate"]
    np.testing.assert_allclose(found.npv, net_present_value(net, rate), **slack)
    nominal = (1 + rate) * (1 + price["money.inflation"]) - 1
    np.testing.assert_allclose(net_present_value(found.nominal_flow, nominal), found.npv, **slack)
    time, space = found.time, found.airspace
    np.testing.assert_allclose(time.dug_share.sum(axis=1), 1, rtol=1e-9)
    np.testing.assert_allclose(time.processed_share.sum(axis=1), 1, rtol=1e-9)
    ahead = np.cumsum(time.dug_share - time.processed_share, axis=1)
    assert (ahead >= -1e-9).all()
    assert (time.peak_stock_t >= 0).all()
    np.testing.assert_allclose(
        space.opened_m3, space.refilled_m3 + space.lost_m3 + space.reclaimed_m3, rtol=1e-9
    )
    sold = next(item.flow for item in found.items if item.name == "airspace").sum(axis=1)
    worth = space.reclaimed_m3 * price["airspace.value_per_m3"]
    assert (sold <= worth + 1e-9 * np.abs(worth)).all()


@given(data=st.data(), seed=st.integers(0, 99), closed=months, moisture=st.floats(0.1, 0.5))
def test_mining_as_a_course_is_the_appraisal(
    bill, stated, with_stated, data, seed, closed, moisture
):
    """Two ways through the same lines: beside leaving, the course has the appraisal's value."""
    draws, assumptions = Draws(3, seed=seed), with_stated(data.draw(stated))
    price, quantities = Prices(assumptions, draws), bill(draws, moisture)
    found = appraise_quantities(quantities, price, closed)
    courses = compare_courses(
        quantities, quantities.times(0.4), "temperate_wet", price, closed_months=closed
    )
    named = {course.name: course for course in courses}
    assert set(named) == set(COURSES)
    slack = 1e-9 * float(np.max(found.cost))
    np.testing.assert_allclose(named["mine"].npv_beside_leaving, found.npv, rtol=1e-9, atol=slack)
    np.testing.assert_array_equal(named["leave"].npv_beside_leaving, 0)
    for course in courses:
        np.testing.assert_allclose(
            course.npv - named["leave"].npv, course.npv_beside_leaving, rtol=1e-9, atol=slack
        )


@given(data=st.data(), seed=st.integers(0, 99), buys=st.floats(1e-3, 1e5))
def test_another_currency_changes_the_unit_alone(bill, stated, with_stated, data, seed, buys):
    draws, assumptions = Draws(3, seed=seed), with_stated(data.draw(stated))
    changed = assumptions | {
        key: replace(item, numbers=tuple(buys * number for number in item.numbers))
        for key, item in assumptions.items()
        if item.unit.startswith("EUR") and item.given
    }
    changed["money.currency_per_eur"] = fixed(assumptions["money.currency_per_eur"], buys)
    quantities = bill(draws, 0.3)
    here, there = (
        appraise_quantities(quantities, Prices(each, draws)) for each in (assumptions, changed)
    )
    for name in ("npv", "cost", "revenue", "capital", "unit_cost_per_t"):
        np.testing.assert_allclose(
            getattr(there, name), buys * getattr(here, name), rtol=1e-9,
            atol=1e-9 * buys * here.cost.max(),
        )  # fmt: skip
    np.testing.assert_array_equal(there.duration_years, here.duration_years)


@given(data=st.data(), seed=st.integers(0, 99), factor=st.floats(0.05, 30), closed=months)
def test_twice_the_site_with_twice_the_means_is_twice_the_worth(
    bill, stated, with_stated, data, seed, factor, closed
):
    draws, assumptions = Draws(3, seed=seed), with_stated(data.draw(stated))
    price, quantities = Prices(assumptions, draws), bill(draws, 0.3)
    more = price.with_values({key: factor * price[key] for key in OF_THE_WHOLE})
    one = appraise_quantities(quantities, price, closed)
    two = appraise_quantities(quantities.times(factor), more, closed)
    for name in ("npv", "cost", "revenue", "capital"):
        np.testing.assert_allclose(
            getattr(two, name), factor * getattr(one, name), rtol=1e-9,
            atol=1e-9 * factor * one.cost.max(),
        )  # fmt: skip
    np.testing.assert_allclose(two.duration_years, one.duration_years, rtol=1e-9)
    np.testing.assert_allclose(two.unit_cost_per_t, one.unit_cost_per_t, rtol=1e-9)
    np.testing.assert_allclose(two.airspace.life_years, one.airspace.life_years, rtol=1e-7)


@given(data=st.data(), share=st.floats(0.01, 0.99), seed=st.integers(0, 99))
def test_two_parts_of_a_dig_add_up_to_the_whole(bill, data, share, seed):
    whole = bill(Draws(2, seed=seed), data.draw(st.floats(0.1, 0.5)))
    both = whole.times(share).plus(whole.times(1 - share))
    for name in ("waste_t", "dug_m3", "fuel_gj", "carbon_t", "rotting_c_t", "heat_mwh"):
        np.testing.assert_allclose(getattr(both, name), getattr(whole, name), rtol=1e-12)
    for name in whole.product_t:
        np.testing.assert_allclose(both.product(name), whole.product(name), rtol=1e-12)


@given(data=st.data(), seed=st.integers(0, 99), order=st.permutations(range(5)), closed=months)
def test_the_order_of_the_draws_changes_nothing(
    bill, stated, with_stated, shuffled, data, seed, order, closed
):
    draws, assumptions = Draws(5, seed=seed), with_stated(data.draw(stated))
    other = shuffled(draws, order)
    one = appraise_quantities(bill(draws, 0.3), Prices(assumptions, draws), closed)
    two = appraise_quantities(bill(other, 0.3), Prices(assumptions, other), closed)
    for name in ("npv", "cost", "revenue", "duration_years"):
        np.testing.assert_allclose(
            getattr(two, name), getattr(one, name)[order], rtol=1e-9, atol=1e-9 * one.cost.max()
        )


@given(
    key=st.sampled_from(["money.price_fuel_per_t", "money.residue_gate_fee_per_t",
                         "money.sorting_cost_per_t", "airspace.value_per_m3",
                         "money.power_per_mwh"]),
    shape=st.tuples(st.floats(0, 1), st.floats(0, 1)),
    wider=st.floats(1, 5),
    seed=st.integers(0, 99),
)  # fmt: skip
def test_more_uncertainty_in_a_price_never_narrows_the_range(
    bill, assumptions, key, shape, wider, seed
):
    """The worth is linear in each price, so its range grows as the price's does."""
    quantities = bill(Draws(1, seed=seed), 0.3)
    draws = Draws(50, seed=seed)

    def spread(factor):
        price = Prices({name: pinned(item) for name, item in assumptions.items()}, draws)
        mode = assumptions[key].central
        numbers = mode - 10 * factor * shape[0], mode, mode + 10 * factor * shape[1]
        price.assumptions[key] = replace(
            assumptions[key], kind="triangular", numbers=numbers, given=True
        )
        many = quantities.times(np.ones(50))
        low, high = np.quantile(appraise_quantities(many, price).npv, [0.1, 0.9])
        return high - low

    narrow, wide = spread(1.0), spread(wider)
    assert wide >= narrow * (1 - 1e-9)
    assert wide == pytest.approx(wider * narrow, rel=1e-6, abs=1e-3)


def pinned(assumption):
    return replace(assumption, kind="fixed", numbers=(assumption.central,))
