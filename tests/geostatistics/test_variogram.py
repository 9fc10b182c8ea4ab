from __future__ import annotations

import numpy as np
import pytest

from reclaim.geostatistics import (
    CovarianceModel,
    experimental_variogram,
    fit_variogram,
    semivariance,
)


def field(model, places, n_fields, seed):
    factor = np.linalg.cholesky(model.between(places, places))
    return factor @ np.random.default_rng(seed).standard_normal((len(places), n_fields))


def test_a_transect_by_hand() -> None:
    # Values 1, 3, 2, 4 at 0, 1, 2, 3 m: lag 1 has squares 4, 1, 4, so half the mean is 1.5; lag 2
    # has 1, 1, so 0.5 (Matheron's estimator by hand).
    places = np.column_stack([np.arange(4.0), np.zeros(4)])
    found = experimental_variogram(
        places, np.array([[1.0], [3], [2], [4]]), cutoff_m=2.0, fewest_pairs=1
    )
    np.testing.assert_allclose(found.distance_m, [1, 2])
    np.testing.assert_allclose(found.semivariance, [1.5, 0.5])
    np.testing.assert_array_equal(found.pairs, [3, 2])
    assert np.isnan(found.azimuth_deg).all()


def test_lags_with_too_few_pairs_are_merged_and_none_is_lost() -> None:
    places = np.random.default_rng(0).uniform(0, 100, (30, 2))
    found = experimental_variogram(places, places, cutoff_m=60, fewest_pairs=40)
    distance = np.linalg.norm(places[:, None] - places[None], axis=-1)[np.triu_indices(30, 1)]
    assert (found.pairs >= 40).all()
    assert found.pairs.sum() == (distance <= 60).sum()


def test_the_model_behind_many_fields_is_found_again() -> None:
    model = CovarianceModel("spherical", 0.8, 120, 0.2)
    places = np.random.default_rng(1).uniform(0, 400, (150, 2))
    fit = fit_variogram(experimental_variogram(places, field(model, places, 200, 2)))
    assert fit.model is not None
    assert fit.model.shape == "spherical"
    assert fit.model.range_m == pytest.approx(120, rel=0.1)
    assert fit.model.nugget == pytest.approx(0.2, abs=0.05)
    assert fit.model.sill == pytest.approx(1.0, abs=0.1)


def test_the_direction_of_longest_range_is_found() -> None:
    model = CovarianceModel("spherical", 1, 200, azimuth_deg=45, anisotropy_ratio=0.4)
    places = np.random.default_rng(3).uniform(0, 400, (200, 2))
    found = experimental_variogram(places, field(model, places, 200, 4), directions=4)
    fit = fit_variogram(found, ("spherical",))
    assert fit.model is not None
    assert fit.model.azimuth_deg == pytest.approx(45, abs=5)
    assert fit.model.anisotropy_ratio == pytest.approx(0.4, abs=0.1)


@pytest.mark.parametrize(
    ("model", "distance", "azimuth", "expected"),
    [
        # Spherical: 1.5 h - 0.5 h^3; half way to the range 0.6875 (any textbook of kriging).
        (CovarianceModel("spherical", 2, 100, 0.5), 50.0, 0.0, 0.5 + 2 * 0.6875),
        (CovarianceModel("exponential", 1, 100), 100.0, 0.0, 1 - np.exp(-3)),
        (CovarianceModel("spherical", 1, 100, 0, 90, 0.5), 50.0, 0.0, 1.0),
        (CovarianceModel("spherical", 1, 100, 0, 90, 0.5), 50.0, 90.0, 0.6875),
    ],
)
def test_semivariance_of_a_model(model, distance, azimuth, expected) -> None:
    assert semivariance(model, np.array([distance]), azimuth)[0] == pytest.approx(expected)


def test_why_there_is_no_model() -> None:
    rng = np.random.default_rng(5)
    few = rng.uniform(0, 100, (8, 2))
    assert "too few" in fit_variogram(experimental_variogram(few, few)).reason
    many = rng.uniform(0, 100, (80, 2))
    alike = fit_variogram(experimental_variogram(many, np.ones((80, 2))))
    assert alike.model is None
    assert "same at every place" in alike.reason
    noise = fit_variogram(experimental_variogram(many, rng.standard_normal((80, 400))))
    assert noise.model is None
    assert "pure nugget" in noise.reason
    one = experimental_variogram(np.zeros((1, 2)), np.zeros((1, 1)))
    assert len(one) == 0
    assert fit_variogram(one).model is None
