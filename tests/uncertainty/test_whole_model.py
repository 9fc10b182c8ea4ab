"""The one model with all its sources of draws, on the demo site."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from reclaim.appraisal import quantities_of
from reclaim.assumptions import CHUNK, Draws, correlations_from, stated_assumption
from reclaim.confidence import draw_range, how_sure
from reclaim.dig import Dig
from reclaim.estimate import _measure
from reclaim.reference import assumption_defaults
from reclaim.site import read_site
from reclaim.uncertainty import names_asked, run_in_chunks
from reclaim.uncertainty.sources import PartlyDrawn, part_of
from reclaim.waste import core_composites, laboratory_means

DEMO = Path(__file__).parents[2] / "demo_site" / "site.toml"


@pytest.fixture(scope="module")
def dig():
    site = read_site(DEMO)
    excavation, _, _ = _measure(site)
    composites = core_composites(site.cores)
    return Dig(site, excavation, composites, None, laboratory_means(site.cores, composites))


def with_site(dig, *, plan=None, **changes):
    site = replace(dig.site, **changes)
    return replace(dig, site=replace(site, draw_plan=replace(site.draw_plan, **(plan or {}))))


def with_assumptions(dig, **stated):
    defaults = assumption_defaults()
    changed = {
        key: stated_assumption(defaults[key], value) for key, value in stated.pop("stated").items()
    }
    return with_site(dig, assumptions={**dig.site.assumptions, **changed})


@pytest.fixture(scope="module")
def best(dig):
    return dig.drawn(Draws.best_estimate())


def confidence(dig):
    best = dig.drawn(Draws.best_estimate())
    source, drawn = draw_range(dig, None)
    return how_sure(dig, source, best, drawn, dig.compare(best, drawn, source))


def test_no_spread_anywhere_gives_exactly_the_best_estimate(dig, best) -> None:
    source = PartlyDrawn(**part_of(Draws(3, seed=1), drawn={}))
    outcome = dig.run(source)
    for found, expected in (
        (outcome.appraisal.npv, best.outcome.appraisal.npv),
        (outcome.feed.total_wet_t, best.outcome.feed.total_wet_t),
        (outcome.products.wet_t("fuel"), best.outcome.products.wet_t("fuel")),
    ):
        np.testing.assert_allclose(found, expected[0], rtol=1e-12)


@pytest.mark.parametrize(
    "stated", [2.0, {"low": 2, "mode": 2, "high": 2}, {"mean": 2, "sd": 0}, {"median": 2, "gsd": 1}]
)
def test_a_number_without_spread_draws_its_central_value(stated) -> None:
    assumption = stated_assumption(assumption_defaults()["money.dig_cost_per_m3"], stated)
    np.testing.assert_array_equal(Draws(100, seed=1).of(assumption), 2.0)


def test_chunks_and_workers_do_not_change_the_draws(dig) -> None:
    source = Draws(CHUNK + 52, seed=3)
    one = run_in_chunks(dig.run, source, workers=1)
    two = run_in_chunks(dig.run, source, workers=2)
    apart = np.concatenate([dig.run(chunk).appraisal.npv for chunk in source.chunks()])
    np.testing.assert_array_equal(one.appraisal.npv, two.appraisal.npv)
    np.testing.assert_array_equal(one.appraisal.npv, apart)
    np.testing.assert_allclose(one.appraisal.net_flow, two.appraisal.net_flow)


def test_a_run_stops_at_the_precision_asked_for(dig) -> None:
    source, drawn = draw_range(with_site(dig, plan={"precision": 0.05}, draws=3 * CHUNK), None)
    assert source.n_draws == CHUNK
    np.testing.assert_array_equal(drawn.outcome.appraisal.npv.size, CHUNK)


def test_sobol_draws_agree_with_the_hypercube(dig) -> None:
    _, latin = draw_range(with_site(dig, draws=1024), None)
    _, sobol = draw_range(with_site(dig, plan={"sampling": "sobol"}, draws=1024), None)
    mean, sd = latin.outcome.appraisal.npv.mean(), latin.outcome.appraisal.npv.std()
    assert sobol.outcome.appraisal.npv.mean() == pytest.approx(mean, abs=4 * sd / 32)


def test_a_stated_correlation_widens_the_range(dig) -> None:
    linked = correlations_from({("money.sorting_cost_per_t", "money.capital_per_annual_t"): 0.9})
    _, apart = draw_range(
        with_site(dig, plan={"correlations": correlations_from({})}, draws=1000), None
    )
    _, together = draw_range(with_site(dig, plan={"correlations": linked}, draws=1000), None)
    assert together.outcome.appraisal.npv.std() > 1.05 * apart.outcome.appraisal.npv.std()


def test_drivers_explain_the_spread(dig) -> None:
    found = confidence(with_site(dig, draws=1000)).drivers
    assert sum(index.first for index in found.indices) == pytest.approx(1, abs=0.25)
    assert all(i.total > i.first - 4 * (i.first_error + i.total_error) for i in found.indices)
    # The group with the widest spread by itself is among those with the highest index.
    assert found.groups[0].key in {index.group for index in found.indices[:2]}
    widths = [swing.width for swing in found.inputs]
    assert widths == sorted(widths, reverse=True)


def test_where_mining_never_pays_no_data_are_worth_anything(dig) -> None:
    found = confidence(with_site(dig, draws=500))
    assert not found.knowing.can_change
    assert found.knowing.everything.value == 0
    assert all(item.net <= 0 for item in found.knowing.investigations)
    leave = next(course for course in found.courses if course.name == found.knowing.choice)
    assert leave.chance_best == 1


def test_where_the_choice_hangs_on_prices_data_are_worth_something(dig) -> None:
    stated = {
        "airspace.value_per_m3": {"low": 60, "mode": 190, "high": 330},
        "money.price_fuel_per_t": {"low": -60, "mode": 60, "high": 180},
    }
    found = confidence(with_site(with_assumptions(dig, stated=stated), draws=1500)).knowing
    assert found.can_change
    by_key = {item.key: item for item in found.investigations}
    assert 0 < by_key["offers"].worth.value <= found.everything.value
    assert by_key["density_pits"].worth.value < by_key["offers"].worth.value
    groups = {group.key: group.worth for group in found.groups}
    assert max(groups, key=lambda key: groups[key].value) in {"airspace_value", "fuel_price"}
    for worth in groups.values():
        assert worth.value <= found.everything.value + 3 * (worth.error + found.everything.error)


def test_scenarios_stand_beside_the_site_as_it_is(dig, best) -> None:
    default = assumption_defaults()["money.price_fuel_per_t"]
    none = {"money.price_fuel_per_t": stated_assumption(default, -60)}
    found = confidence(
        with_site(dig, draws=200, plan={"drivers": False}, scenarios={"no fuel outlet": none})
    )
    assert found.drivers is None
    assert found.knowing is None
    stands, changed = found.scenarios
    assert stands.npv == pytest.approx(best.outcome.appraisal.npv[0])
    assert changed.name == "no fuel outlet"
    assert changed.npv < stands.npv
    assert changed.spread.p50 < stands.spread.p50
    assert changed.fuel_t == stands.fuel_t


def only_cores_and_volume(dig, draws):
    """Draw volume and cores alone; every property stays at its centre, as it is in the truth."""
    asked = names_asked(dig.run, draws)
    drawn = {name: draws.uniform(name) for name in asked.points if name.startswith("ground.")}
    return PartlyDrawn(**part_of(draws, drawn=drawn, streams=frozenset(asked.streams)))


@pytest.mark.slow
def test_p10_to_p90_holds_the_truth_four_times_in_five(dig) -> None:
    # Simulated sites with known composition and volume, from cores to tonnes of fuel. With 400
    # sites the share found has a standard error of 0.02.
    sites, cores = 400, 24
    generator = np.random.default_rng(2024)
    zones, composites = dig.excavation.zones, dig.composites
    truth = {
        zone: composites.wet_fraction[[z == zone for z in composites.zones]].mean(axis=0)
        for zone in zones
    }

    def cored(fractions):
        count = len(zones) * cores
        nothing = np.full(count, np.nan)
        one = np.ones(count)
        return replace(
            composites,
            core_ids=tuple(f"C{i}" for i in range(count)),
            zones=tuple(zone for zone in zones for _ in range(cores)),
            places_m=np.zeros((count, 2)),
            wet_fraction=np.concatenate(fractions),
            moisture=nothing,
            bulk_density_t_m3=nothing,
            waste_m=one,
            sampled_m=one,
            weight=one,
            samples=one.astype(int),
            sorted_kg=one,
            narrow=np.zeros(count, dtype=bool),
            of_unknown_width=np.zeros(count, dtype=bool),
        )

    exact = [np.repeat(truth[zone][None], cores, axis=0) for zone in zones]
    true_dig = replace(dig, composites=cored(exact))
    fuel_t = true_dig.run(Draws.best_estimate()).products.wet_t("fuel")[0]
    volume_m3 = float(dig.excavation.waste_m3.sum())
    inside = 0
    for number in range(sites):
        fractions = []
        for zone in zones:
            present = truth[zone] > 0
            drawn = np.zeros((cores, present.size))
            drawn[:, present] = generator.dirichlet(25 * truth[zone][present], cores)
            fractions.append(drawn)
        measured = 1 + generator.normal(0, dig.excavation.error.total_m3) / volume_m3
        seen = replace(
            dig,
            composites=cored(fractions),
            excavation=replace(dig.excavation, waste_m3=dig.excavation.waste_m3 * measured),
        )
        draws = Draws(300, seed=number + 1)
        found = seen.run(only_cores_and_volume(seen, draws)).products.wet_t("fuel")
        low, high = np.quantile(found, [0.1, 0.9])
        inside += low <= fuel_t <= high
    assert inside / sites == pytest.approx(0.80, abs=3 * np.sqrt(0.8 * 0.2 / sites))


def test_what_many_draws_leave_out_changes_no_result(dig) -> None:
    draws = Draws(200, seed=3)
    whole, lean = dig.drawn(draws).outcome, dig.drawn_lean(draws).outcome
    np.testing.assert_array_equal(lean.appraisal.npv, whole.appraisal.npv)
    np.testing.assert_array_equal(lean.appraisal.net_flow, whole.appraisal.net_flow)
    np.testing.assert_array_equal(
        lean.products.heavy_metals_mg_kg, whole.products.heavy_metals_mg_kg
    )
    for draw in (lean, whole):
        (rates, roots) = draw.appraisal.rates_of_return()
        assert rates.shape == roots.shape == (200,)
    area = float(dig.excavation.area_m2.sum())
    bills = [quantities_of(run.volumes, run.feed, run.products, area) for run in (whole, lean)]
    np.testing.assert_array_equal(bills[0].fuel_fossil_c_t, bills[1].fuel_fossil_c_t)
    np.testing.assert_array_equal(bills[0].carbon_t, bills[1].carbon_t)
