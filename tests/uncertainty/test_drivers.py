"""Sources in which some names are drawn; groups; swings; sparse polynomials."""

from __future__ import annotations

import numpy as np
import pytest

from reclaim.assumptions import Draws, correlations_from, default_assumption
from reclaim.reference import assumption_defaults, read_rows
from reclaim.uncertainty import names_asked
from reclaim.uncertainty.groups import driver_groups, group_key
from reclaim.uncertainty.hermite import sparse_fit
from reclaim.uncertainty.sources import (
    MixedDraws,
    PartlyDrawn,
    StackedDraws,
    part_of,
    results_of,
)
from reclaim.uncertainty.swings import group_swings, input_swings

DIG = default_assumption(assumption_defaults()["money.dig_cost_per_m3"])
FUEL = default_assumption(assumption_defaults()["money.price_fuel_per_t"])


def quantity(draws):
    cores = draws.generator("cores of x").normal(size=draws.n_draws) if (
        not draws.is_central("cores of *")
    ) else np.zeros(draws.n_draws)  # fmt: skip
    return draws.of(FUEL) - 2 * draws.of(DIG) + draws.normal("ground.random") + cores


def stacked(draws):
    return np.concatenate([quantity(part) for part in draws.parts()])


@pytest.fixture
def draws():
    return Draws(500, seed=6)


def test_names_are_noted(draws) -> None:
    asked = names_asked(stacked, draws)
    assert list(asked.points) == [FUEL.key, DIG.key, "ground.random"]
    assert list(asked.streams) == ["cores of x"]


def test_mixed_draws_take_each_name_from_its_source(draws) -> None:
    other = Draws(500, seed=7)
    mixed = MixedDraws(**part_of(draws, other=other, from_other=frozenset({FUEL.key})))
    np.testing.assert_array_equal(mixed.of(FUEL), other.of(FUEL))
    np.testing.assert_array_equal(mixed.of(DIG), draws.of(DIG))
    assert mixed.generator("cores of x").random() == draws.generator("cores of x").random()


def test_partly_drawn_leaves_the_others_central(draws) -> None:
    partly = PartlyDrawn(**part_of(draws, n_draws=2, drawn={FUEL.key: np.array([0.1, 0.9])}))
    np.testing.assert_allclose(partly.of(FUEL), FUEL.quantile(np.array([0.1, 0.9])))
    np.testing.assert_array_equal(partly.of(DIG), [DIG.central] * 2)
    np.testing.assert_array_equal(partly.normal("ground.random"), [0, 0])
    assert partly.is_central("cores of *")
    with pytest.raises(ValueError, match="no random part"):
        partly.generator("cores of x")


def test_stacked_sources_give_what_each_gives_alone(draws) -> None:
    sources = [Draws(3, 1), Draws(5, 2), PartlyDrawn(**part_of(draws, n_draws=4, drawn={}))]
    alone = [quantity(source) for source in sources]
    for found, expected in zip(results_of(stacked, sources, at_once=100), alone, strict=True):
        np.testing.assert_array_equal(found, expected)
    together = StackedDraws(**part_of(draws, n_draws=12, sources=tuple(sources)))
    np.testing.assert_array_equal(together.of(FUEL)[8:], [FUEL.central] * 4)
    with pytest.raises(ValueError, match="one by one"):
        together.generator("cores of x")


def test_swings_against_hand_calculation(draws) -> None:
    names = [FUEL.key, DIG.key]
    found = input_swings(stacked, names, draws, stacked(draws), {FUEL.key: "Fuel"})
    by_key = {swing.key: swing for swing in found}
    ends = FUEL.quantile(np.array([0.1, 0.9]))
    assert by_key[FUEL.key].high == pytest.approx(ends[1] - 2 * DIG.central)
    assert by_key[FUEL.key].label == "Fuel"
    assert by_key[FUEL.key].rank_correlation > 0.5
    assert by_key[DIG.key].rank_correlation < 0
    assert by_key[DIG.key].width == pytest.approx(2 * np.ptp(DIG.quantile(np.array([0.1, 0.9]))))
    assert found[0].key == FUEL.key


def test_group_swings_are_quantiles_with_all_others_central() -> None:
    draws = Draws(2000, seed=6)
    asked = names_asked(stacked, draws)
    groups = driver_groups([*asked.points, *asked.streams], draws.correlations)
    found = {s.key: s for s in group_swings(stacked, groups, frozenset(asked.streams), draws)}
    centre = FUEL.central - 2 * DIG.central
    # P10 and P90 of a standard normal are -1.2816 and 1.2816.
    for key in ("volume", "composition"):
        assert found[key].low == pytest.approx(centre - 1.2816, abs=0.1)
        assert found[key].high == pytest.approx(centre + 1.2816, abs=0.1)


def test_every_assumption_has_a_group_of_its_own_kind() -> None:
    for key in assumption_defaults():
        if not key.startswith(("hazards.", "investigations.", "carbon.")):
            assert group_key(key)
    assert group_key("share trommel fines") == "plant"
    assert group_key("plastic_film ncv_dry") == "materials"
    assert group_key("airspace.residue_density_t_m3") == "airspace"
    assert {row["group"] for row in read_rows("driver_groups.csv")} >= {
        "volume", "density", "composition", "moisture", "materials", "plant", "fuel_price",
        "metal_prices", "capital", "costs", "airspace_value", "discount_rate", "avoided",
    }  # fmt: skip


def test_correlated_groups_become_one() -> None:
    linked = correlations_from({(FUEL.key, "money.price_ferrous_per_t"): 0.5})
    groups = driver_groups([FUEL.key, "money.price_ferrous_per_t", DIG.key], linked)
    assert [group.key for group in groups] == ["fuel_price+metal_prices", "costs"]
    assert groups[0].label == "Fuel price and metal prices"


def test_sparse_fit_finds_a_polynomial_and_nothing_else() -> None:
    draws = Draws(2000, seed=1)
    scores = np.stack([draws.normal(f"x{i}") for i in range(40)], axis=1)
    truth = 3 + 2 * scores[:, 4] + scores[:, 7] ** 2 + scores[:, 4] * scores[:, 7]
    fit = sparse_fit(scores, truth + 0.1 * draws.normal("noise"))
    columns = {column for term in fit.terms for column, _ in term.degrees}
    assert columns == {4, 7}
    np.testing.assert_allclose(fit.at(np.ones(40)), truth, atol=0.1)
    assert fit.at(np.zeros(40)).std() == pytest.approx(0, abs=1e-12)


def test_sparse_fit_of_noise_has_no_terms() -> None:
    draws = Draws(2000, seed=1)
    scores = np.stack([draws.normal(f"x{i}") for i in range(40)], axis=1)
    assert sparse_fit(scores, draws.normal("noise")).terms == ()
