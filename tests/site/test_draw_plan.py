"""How the range is drawn and which scenarios are run: read, and wrong ones named."""

from __future__ import annotations

import pytest

FUEL, HEAT, DIG = "money.price_fuel_per_t", "money.heat_per_mwh", "money.dig_cost_per_m3"


def pair(one, other, rank):
    return f'[[uncertainty.correlations]]\nbetween = ["{one}", "{other}"]\nrank = {rank}\n'


def with_lines(site, *lines):
    site.edit("seed = 7", "seed = 7\n" + "\n".join(lines))


def test_defaults(site) -> None:
    plan = site.read().draw_plan
    assert plan.sampling == "latin"
    assert plan.precision is None
    assert plan.workers == 1
    assert plan.drivers
    assert list(plan.correlations.pairs.values()) == [0.9]


def test_what_is_asked_for_is_read(site) -> None:
    with_lines(
        site,
        'sampling = "sobol"',
        "precision = 0.02",
        "workers = 2",
        "drivers = false",
        "index_draws = 64",
        pair(FUEL, HEAT, 0.5),
        pair("money.price_nonferrous_per_t", "money.price_ferrous_per_t", 0.3),
    )
    plan = site.read().draw_plan
    assert (plan.sampling, plan.precision, plan.workers) == ("sobol", 0.02, 2)
    assert not plan.drivers
    assert plan.index_draws == 64
    assert dict(plan.correlations.pairs) == {
        (FUEL, HEAT): 0.5,
        ("money.price_nonferrous_per_t", "money.price_ferrous_per_t"): 0.3,
    }


def test_a_default_correlation_of_fixed_prices_is_left_out(site) -> None:
    site.edit("[waste]", "[money]\nprice_ferrous_per_t = 100\n[waste]")
    assert not site.read().draw_plan.correlations.pairs


@pytest.mark.parametrize(
    ("lines", "parts"),
    [
        (['sampling = "random"'], ("[uncertainty] sampling", "'latin' or 'sobol'")),
        (["precision = 0.9"], ("[uncertainty] precision", "0.0005 to 0.5")),
        (["draws_ = 5"], ("[uncertainty] draws_", "Did you mean 'draws'?")),
        ([pair(FUEL, HEAT, 1.5)], (FUEL, "1.5, not -1 to 1")),
        ([pair("money.price_fule_per_t", HEAT, 0.5)], ("Did you mean 'money.price_fuel_per_t'?",)),
        ([pair(FUEL, FUEL, 0.5)], ("paired with itself",)),
        ([pair(FUEL, HEAT, 0.5), pair(FUEL, HEAT, 0.4)], ("given twice",)),
        (
            [pair(FUEL, HEAT, 0.9), pair(HEAT, DIG, 0.9), pair(FUEL, DIG, -0.9)],
            (FUEL, HEAT, DIG, "cannot all hold at once"),
        ),
        ([pair(FUEL, "plant.capacity_t_y", 0.5)], ("plant.capacity_t_y is a fixed number",)),
    ],
)
def test_wrong_plans_are_named(site, lines, parts) -> None:
    with_lines(site, *lines)
    errors = site.errors()
    assert len(errors) == 1
    for part in parts:
        assert part in errors[0]


def test_scenarios_are_sets_of_changes(site) -> None:
    with_lines(
        site,
        '[scenarios."no fuel outlet"]',
        "money.price_fuel_per_t = -60",
        "[scenarios.dear.money]",
        "dig_cost_per_m3 = { low = 8, mode = 10, high = 12 }",
    )
    scenarios = site.read().scenarios
    assert list(scenarios) == ["no fuel outlet", "dear"]
    assert scenarios["no fuel outlet"][FUEL].central == -60
    assert scenarios["dear"][DIG].numbers == (8, 10, 12)


@pytest.mark.parametrize(
    ("lines", "parts"),
    [
        (
            ["[scenarios.low]", "money.price_fule_per_t = 3"],
            ("[scenarios.low] money.price_fule_per_t", "Did you mean 'money.price_fuel_per_t'?"),
        ),
        (["[scenarios.low]", "waste.moisture = 5"], ("[scenarios.low] waste.moisture", "outside")),
        (["[scenarios]", "low = 3"], ("[scenarios.low]", "set of changes")),
    ],
)
def test_wrong_scenarios_are_named(site, lines, parts) -> None:
    with_lines(site, *lines)
    errors = site.errors()
    assert len(errors) == 1
    for part in parts:
        assert part in errors[0]


def test_what_is_counted_takes_no_distribution(site) -> None:
    with_lines(site, "[investigations]", "cores = { low = 5, mode = 10, high = 20 }")
    (error,) = site.errors()
    assert "[investigations] cores" in error
    assert "one whole number" in error
