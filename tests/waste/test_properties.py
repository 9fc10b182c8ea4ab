from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from reclaim.assumptions import Draws
from reclaim.reference import heavy_metals, material_names, material_properties
from reclaim.waste import properties_of_site, site_age, still_rotting_share

FILM = material_names().index("plastic_film")
PAPER = material_names().index("paper_card")
FINES = material_names().index("fines")


def with_soil(assumptions, share):
    item = replace(assumptions["waste.adhering_soil"], kind="fixed", numbers=(share,))
    return {**assumptions, "waste.adhering_soil": item}


def properties(assumptions, years=(1961, 1987, 2025), draws=None):
    return properties_of_site(*years, "temperate_wet", assumptions, draws or Draws.best_estimate())


def test_clean_material_has_the_reference_values(assumptions) -> None:
    found = properties(with_soil(assumptions, 0.0))
    table = material_properties()
    assert found.ncv_dry_mj_kg[0, FILM] == table["plastic_film", "ncv_dry"].mode
    assert found.ash[0, PAPER] == table["paper_card", "ash"].mode


def test_film_with_soil_is_a_mix_of_both(assumptions) -> None:
    clean = properties(with_soil(assumptions, 0.0))
    dirty = properties(with_soil(assumptions, 0.25))
    expected = 0.75 * clean.ncv_dry_mj_kg[0, FILM] + 0.25 * clean.ncv_dry_mj_kg[0, FINES]
    assert dirty.ncv_dry_mj_kg[0, FILM] == pytest.approx(expected, rel=1e-12)
    assert dirty.ash[0, FILM] > clean.ash[0, FILM]


def test_old_waste_has_less_left_to_rot(assumptions) -> None:
    fresh = properties(assumptions, (2025, 2025, 2025)).degradable[0, PAPER]
    old = properties(assumptions).degradable[0, PAPER]
    older = properties(assumptions, (1930, 1950, 2025)).degradable[0, PAPER]
    assert fresh > old > older > 0


def test_unknown_years_take_the_assumed_age() -> None:
    age = site_age(None, None, 2025, np.array([30.0]))
    assert age.since_opened[0] == age.since_closed[0] == 30
    known = site_age(1961, 1987, 2025, np.array([30.0, 40.0]))
    np.testing.assert_array_equal(known.since_opened, [64, 64])
    np.testing.assert_array_equal(known.since_closed, [38, 38])


@pytest.mark.parametrize("years", [(1961, None), (None, 1987), (None, None)])
def test_one_year_alone_tells_no_age(years) -> None:
    age = site_age(*years, 2025, np.array([30.0]))
    assert age.since_opened[0] == age.since_closed[0] == 30


def test_still_rotting_share_of_one_material(assumptions) -> None:
    found = properties(assumptions)
    dry = np.zeros((1, len(material_names())))
    dry[0, PAPER] = 10.0
    age = site_age(1961, 1987, 2025, np.array([0.0]))
    rates = {name: np.array([0.06]) for name in ("paper_textiles", "wood", "garden_food")}
    rates["fines"] = np.zeros(1)
    expected = (np.exp(-0.06 * 38) - np.exp(-0.06 * 64)) / (0.06 * 26)
    assert still_rotting_share(dry, found, age, rates)[0] == pytest.approx(expected, rel=1e-12)
    dry[0, PAPER] = 0.0
    assert np.isnan(still_rotting_share(dry, found, age, rates)[0])


def test_what_does_not_rot_has_no_say_in_how_much_still_rots(assumptions) -> None:
    # Paper alone decides: fines and film have no rate of their own, wood is not there.
    found = properties(assumptions)
    age = site_age(1961, 1987, 2025, np.array([0.0]))
    rates = {name: np.array([0.06]) for name in ("paper_textiles", "wood", "garden_food")}
    rates["fines"] = np.zeros(1)
    paper = np.zeros((1, len(material_names())))
    paper[0, PAPER] = 10.0
    mixed = paper.copy()
    mixed[0, [FINES, FILM]] = 50.0
    assert found.degradable[0, FINES] > 0
    np.testing.assert_allclose(
        still_rotting_share(mixed, found, age, rates), still_rotting_share(paper, found, age, rates)
    )


def test_draws_stay_physical(assumptions) -> None:
    found = properties(assumptions, draws=Draws(500, seed=4))
    for name in ("ash", "chlorine", "carbon", "biogenic_carbon", "degradable", "box_loss"):
        values = getattr(found, name)
        assert values.shape == (500, len(material_names()))
        assert (values >= 0).all()
        assert (values <= 1).all()
    assert (found.degradable <= 1 - found.ash + 1e-12).all()


def test_heavy_metals_of_dug_film_are_film_and_soil(assumptions) -> None:
    # A lot of film that is one part soil in five holds a fifth of what soil holds (mass balance).
    found = properties(with_soil(assumptions, 0.2))
    table, lead = material_properties(), list(heavy_metals()).index("lead")
    expected = 0.8 * table["plastic_film", "lead"].mode + 0.2 * table["fines", "lead"].mode
    assert found.heavy_metals_mg_kg[0, FILM, lead] == pytest.approx(expected, rel=1e-12)


def test_heavy_metals_of_fines_stay_in_the_range_met(assumptions) -> None:
    # Copper 50 to 500, lead 50 to 600, zinc 200 to 1 800, cadmium 0.5 to 6, chromium 40 to 300,
    # nickel 20 to 120, arsenic 3 to 20 mg/kg in dug fines: from memory, no single paper.
    met = [(50, 500), (50, 600), (200, 1800), (0.5, 6), (40, 300), (20, 120), (3, 20)]
    fines = properties(assumptions, draws=Draws(200, seed=1)).heavy_metals_mg_kg[:, FINES]
    for column, (low, high) in enumerate(met):
        assert low <= fines[:, column].min() < fines[:, column].max() <= high
