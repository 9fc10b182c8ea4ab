from __future__ import annotations

import numpy as np
import pytest

from reclaim.geostatistics import (
    ConditionalSimulation,
    CovarianceModel,
    OrdinaryKriging,
    local_kriging,
    next_places,
    ordinary_kriging,
)


@pytest.fixture
def site():
    rng = np.random.default_rng(0)
    model = CovarianceModel("spherical", 0.7, 120, 0.3)
    data = rng.uniform(0, 300, (20, 2))
    values = np.linalg.cholesky(model.between(data, data)) @ rng.standard_normal((20, 2))
    middle = np.arange(10.0, 300, 20)
    places = np.stack(np.meshgrid(middle, middle), axis=-1).reshape(-1, 2)
    return model, data, values, places


def test_draws_have_the_mean_and_variance_of_kriging(site) -> None:
    # What conditional simulation is for: Deutsch and Journel (1998), GSLIB, section V.2.
    model, data, values, places = site
    draws = ConditionalSimulation(data, model, places).draw(values, 4000, np.random.default_rng(1))
    estimate, variance = ordinary_kriging(data, values, places, model)
    # Chance of 4000 draws, and what leaning on the nearest only leaves out.
    np.testing.assert_allclose(draws.mean(axis=1), estimate, atol=0.08)
    np.testing.assert_allclose(draws.var(axis=1), np.tile(variance[:, None], 2), rtol=0.15)


def test_the_total_has_the_error_variance_of_kriging(site) -> None:
    # The variance of a sum needs the covariances between places, not only their variances.
    model, data, values, places = site
    draws = ConditionalSimulation(data, model, places).draw(values, 4000, np.random.default_rng(1))
    smooth = OrdinaryKriging(data, model).error_covariance(places, places).mean()
    expected = smooth + model.nugget / len(places)
    np.testing.assert_allclose(draws.mean(axis=0).var(axis=0), expected, rtol=0.08)


def test_far_from_the_data_the_draws_have_sill_and_uncertain_mean(site) -> None:
    model, data, values, _ = site
    far = np.array([[5000.0, 0], [9000, 0]])
    draws = ConditionalSimulation(data, model, far).draw(values, 20_000, np.random.default_rng(2))
    _, variance = ordinary_kriging(data, values, far, model)
    np.testing.assert_allclose(draws[:, :, 0].var(axis=1), variance, rtol=0.05)


def test_the_same_seed_gives_the_same_draws(site) -> None:
    model, data, values, places = site
    simulation = ConditionalSimulation(data, model, places)
    one, two = (simulation.draw(values, 3, np.random.default_rng(7)) for _ in range(2))
    np.testing.assert_array_equal(one, two)


def test_what_cannot_be_simulated_is_refused(site) -> None:
    model, *_ = site
    with pytest.raises(ValueError, match="at least one"):
        ConditionalSimulation(np.zeros((0, 2)), model, np.zeros((1, 2)))
    smooth = CovarianceModel("spherical", 1, 100)
    with pytest.raises(ValueError, match="one place"):
        ConditionalSimulation(np.zeros((2, 2)), smooth, np.ones((1, 2)))


def test_local_search_with_all_data_is_plain_kriging(site) -> None:
    model, data, values, places = site
    for found, expected in zip(
        local_kriging(data, values, places, model, nearest=20),
        ordinary_kriging(data, values, places, model),
        strict=True,
    ):
        np.testing.assert_allclose(found, expected, atol=1e-12)
    with pytest.raises(ValueError, match="at least one"):
        local_kriging(data, values, places, model, nearest=0)


def test_local_shares_stay_closed_and_honour_the_data(site) -> None:
    model, data, _, places = site
    shares = np.random.default_rng(3).dirichlet(np.ones(4), 20)
    found, variance = local_kriging(data, shares, np.vstack([places, data]), model, nearest=6)
    np.testing.assert_allclose(found.sum(axis=1), 1, atol=1e-12)
    np.testing.assert_allclose(found[len(places) :], shares, atol=1e-10)
    np.testing.assert_allclose(variance[len(places) :], 0, atol=1e-10)


def test_the_error_of_next_places_is_that_of_kriging_with_them(site) -> None:
    model, data, _, places = site
    share = np.full(len(places), 1 / len(places))
    found = next_places(data, model, places[::3] + 1.0, places, share, 3)

    def error(measured):
        covariance = OrdinaryKriging(measured, model).error_covariance(places, places)
        return np.sqrt(share @ covariance @ share)

    for count in (1, 2, 3):
        measured = np.vstack([data, found.places_xy[:count]])
        assert found.error_sd[count - 1] == pytest.approx(error(measured) / error(data), rel=1e-9)


def test_the_first_next_place_is_the_best_there_is(site) -> None:
    model, data, _, places = site
    share = np.full(len(places), 1 / len(places))
    candidates = places[::7] + 1.0
    found = next_places(data, model, candidates, places, share, 1)
    errors = [
        share
        @ OrdinaryKriging(np.vstack([data, one]), model).error_covariance(places, places)
        @ share
        for one in candidates
    ]
    np.testing.assert_array_equal(found.places_xy[0], candidates[int(np.argmin(errors))])
