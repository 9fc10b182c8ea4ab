"""The outside view and the conservative readings, rebuilt from the bill of quantities."""

from __future__ import annotations

import csv
from dataclasses import replace

import numpy as np
import pytest

from reclaim.appraisal import (
    appraise_quantities,
    best_part,
    conservative_readings,
    outside_view,
    quantities_of_part,
)
from reclaim.appraisal.outside_view import answer_survives
from reclaim.reference import data_path

RECYCLABLES = ("ferrous", "nonferrous", "glass", "aggregate")


def with_one_zone(dig, waste_m3, cover_m3):
    return replace(
        dig,
        zones=("north",),
        waste_m3=np.array([waste_m3]),
        cover_m3=np.array([cover_m3]),
    )


def test_this_estimate_as_a_case(make_quantities, priced, assumptions) -> None:
    quantities, price = make_quantities(), priced()
    found = appraise_quantities(quantities, price)
    own = outside_view(quantities, found, assumptions, price).own
    dug_m3 = 60 + 909 + 30
    assert own.cost_per_m3 == pytest.approx(found.cost[0] / dug_m3)
    assert own.npv_per_t == pytest.approx(found.npv[0] / quantities.waste_t[0])
    assert own.soil_share == pytest.approx(quantities.product_t["soil"][0] / quantities.waste_t[0])
    space = found.airspace.reclaimed_m3[0] / found.airspace.opened_m3[0]
    assert own.airspace_share == pytest.approx(space)
    assert own.year == 0


def test_flags_are_the_numbers_outside_their_ranges(make_quantities, priced, assumptions) -> None:
    quantities, price = make_quantities(), priced()
    found = appraise_quantities(quantities, price)
    waste = quantities.waste_t[0]
    income = {item.name: item.flow[0].sum() for item in found.items}
    values = {
        f"outcome.{name}_share": quantities.product_t[name][0] / waste
        for name in ("soil", "fuel", "ferrous", "nonferrous")
    }
    values["outcome.metal_income_per_t"] = (income["ferrous"] + income["nonferrous"]) / waste
    values["outcome.cost_per_m3"] = found.cost[0] / quantities.dug_m3[0]
    values["outcome.npv_per_t"] = found.npv[0] / waste
    values["outcome.airspace_share"] = found.airspace.reclaimed_m3[0] / found.airspace.opened_m3[0]
    with data_path("price_index.csv").open(encoding="utf-8") as file:
        index = {row["year"]: float(row["index"]) for row in csv.DictReader(file)}
    with data_path("published_ranges.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    expected = {}
    for row in rows:
        key = row["key"]
        value = values[key] if key in values else price[key][0]
        # Money of a year is brought to that of the defaults, 2023, by the price index.
        scale = index["2023"] / index[row["price_year"]] if row["currency"] else 1
        low, high = scale * float(row["low"]), scale * float(row["high"])
        if value < low or value > high:
            expected[key] = (value, low, high)
    view = outside_view(quantities, found, assumptions, price)
    assert view.checked == len(rows)
    assert {flag.key: (flag.value, flag.low, flag.high) for flag in view.flags} == {
        key: pytest.approx(numbers) for key, numbers in expected.items()
    }
    assert expected


@pytest.mark.parametrize(("price", "flagged"), [(3.99, True), (4.0, False), (55.0, False),
                                                (55.01, True)])  # fmt: skip
def test_the_ends_of_a_range_belong_to_it(
    make_quantities, priced, assumptions, price, flagged
) -> None:
    quantities = make_quantities()
    stated = priced({"airspace.value_per_m3": price})
    found = appraise_quantities(quantities, stated)
    view = outside_view(quantities, found, assumptions, stated)
    assert ("airspace.value_per_m3" in {flag.key for flag in view.flags}) is flagged


def test_conservative_readings_are_appraisals_with_those_numbers(make_quantities, priced) -> None:
    quantities = make_quantities().times(100.0)
    changes = {
        "money.price_glass_per_t": -5.0, "airspace.value_per_m3": 30.0,
        "airspace.new_cell_cost_per_m3": 12.0,
    }  # fmt: skip
    readings = conservative_readings(quantities, priced(changes), (1, 2))
    # What is paid to be rid of stays paid; what earns earns nothing.
    sales = {f"money.price_{name}_per_t": 0.0 for name in RECYCLABLES if name != "glass"}
    no_sales = changes | sales
    plain = no_sales | {"airspace.value_per_m3": 12.0}
    larger = replace(quantities.times(1.5), area_m2=quantities.area_m2)
    for reading, amounts, prices in zip(
        readings,
        (quantities, quantities, quantities, larger),
        (changes, no_sales, plain, plain),
        strict=True,
    ):
        expected = appraise_quantities(amounts, priced(prices), (1, 2)).npv
        np.testing.assert_allclose(reading.npv, expected, rtol=1e-12)


def test_an_answer_survives_where_every_reading_has_its_sign(make_quantities, priced) -> None:
    readings = conservative_readings(make_quantities(), priced())
    for values, survives in (((1, 2, 3, 4), True), ((-1, -2, -3, 0), True), ((1, 2, 3, -4), False),
                             ((0, 1, 1, 1), False)):  # fmt: skip
        changed = tuple(
            replace(reading, npv=np.array([float(value)]))
            for reading, value in zip(readings, values, strict=True)
        )
        assert answer_survives(changed) is survives


def test_worth_of_a_block_falls_with_the_cover_in_it(dig, make_quantities, priced) -> None:
    # Cover is dug at the price of digging and brings nothing; in a zone the worth of all blocks
    # together does not depend on where the cover lies.
    quantities = make_quantities()
    price = priced({"money.dig_cost_per_m3": 7.0})
    above = with_one_zone(dig, [100.0, 200.0, 0.0], [30.0, 10.0, 0.0])
    even = with_one_zone(dig, [100.0, 200.0, 0.0], [40.0 / 3, 80.0 / 3, 0.0])
    worth = best_part(above, (quantities,), price).worth_per_m3[0]
    mean = best_part(even, (quantities,), price).worth_per_m3[0]
    assert worth[1] - worth[0] == pytest.approx(7.0 * (30 / 100 - 10 / 200))
    assert mean[0] == pytest.approx(mean[1])
    assert worth[:2] @ [100.0, 200.0] == pytest.approx(mean[:2] @ [100.0, 200.0])
    assert np.isnan(worth[2])


def test_worth_without_capital_and_fixed_cost_is_that_of_a_dig_that_has_none(
    dig, make_quantities, priced
) -> None:
    # With no discounting, nothing fixed and nothing avoided, a whole zone is worth its net value.
    quantities = make_quantities()
    price = priced({
        "money.discount_rate": 0.0, "money.capital_per_annual_t": 0.0,
        "money.investigation_cost": 0.0, "money.engineering_share": 0.0,
        "money.fixed_cost_per_y": 0.0, "money.mobilisation_cost": 0.0,
        "money.contingency_share": 0.2, "money.avoided_closure_per_m2": 0.0,
        "money.avoided_aftercare_per_ha_y": 0.0,
    })  # fmt: skip
    single = with_one_zone(dig, [309.0, 600.0], [60.0, 0.0])
    worth = best_part(single, (quantities,), price).worth_per_m3[0]
    assert worth @ [309.0, 600.0] == pytest.approx(appraise_quantities(quantities, price).npv[0])


@pytest.mark.parametrize(
    ("waste", "taken"),
    [([100.0, 100.0, 100.0, 100.0], [1, 1, 0, 0]), ([0.0, 50.0, 50.0, 9.0], [0, 1, 0, 0])],
)
def test_where_a_single_zone_never_pays_its_upper_half_is_taken(
    dig, make_quantities, priced, waste, taken
) -> None:
    quantities = make_quantities()
    single = with_one_zone(dig, waste, [0.0] * 4)
    part = best_part(single, (quantities,), priced({"money.dig_cost_per_m3": 1e4}))
    assert not part.pays
    np.testing.assert_array_equal(part.taken[0], np.array(taken, dtype=bool))
    share = np.array(waste) @ taken / sum(waste)
    assert part.waste_share(single)[0] == pytest.approx(share)
    dug = quantities_of_part(part, single, (quantities,))
    assert dug.waste_t[0] == pytest.approx(share * quantities.waste_t[0])
    assert dug.area_m2[0] == 0


def test_of_two_zones_that_lose_the_one_that_loses_less_is_taken(
    dig, make_quantities, priced
) -> None:
    # North alone has cover to dig at a high price, so south loses less per m3.
    quantities = make_quantities()
    cover = np.array([[90.0, 0.0, 0.0], [0.0, 0.0, 0.0]])
    waste = dig.waste_m3.sum(axis=1) / 909
    zones = tuple(
        replace(quantities.times(share), cover_m3=np.array([each]))
        for share, each in zip(waste, (90.0, 0.0), strict=True)
    )
    price = priced({"money.dig_cost_per_m3": 1e4})
    part = best_part(replace(dig, cover_m3=cover), zones, price)
    assert not part.pays
    assert not part.taken[0].any()
    assert part.taken[1].all()
