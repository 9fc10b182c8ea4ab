"""The likeliest covariance: found again in simulated fields, and refused where there is none."""

from __future__ import annotations

import numpy as np
import pytest

from reclaim.geostatistics import CovarianceModel, OrdinaryKriging, likeliest_covariance


def test_the_restricted_likelihood_is_no_lower_than_anywhere_around() -> None:
    """Density of all contrasts of the data (Patterson and Thompson 1971), by scipy."""
    from scipy.linalg import null_space
    from scipy.stats import multivariate_normal

    rng = np.random.default_rng(3)
    data = rng.uniform(0, 300, (25, 2))
    truth = CovarianceModel("spherical", 4.0, 150.0, 0.5)
    values = rng.multivariate_normal(np.full(25, 7.0), truth.between(data, data))
    contrasts = null_space(np.ones((1, 25)))  # 24 orthonormal contrasts, free of the mean

    def likelihood(model):
        covariance = contrasts.T @ model.between(data, data) @ contrasts
        return multivariate_normal(np.zeros(24), covariance).logpdf(contrasts.T @ values)

    found = likeliest_covariance(data, values)
    best = likelihood(found)
    assert best >= likelihood(truth) - 0.05
    for sill in (0.7, 1.4):
        for reach in (0.5, 2.0):
            near = CovarianceModel(
                "spherical", found.partial_sill * sill, found.range_m * reach, found.nugget * sill
            )
            assert likelihood(near) < best


def test_many_fields_give_the_sill_on_average() -> None:
    """Restricted likelihood is meant to leave the variance unbiased; 200 fields of 40 points."""
    rng = np.random.default_rng(4)
    data = rng.uniform(0, 500, (40, 2))
    truth = CovarianceModel("spherical", 2.0, 100.0, 0.4)
    fields = rng.multivariate_normal(np.zeros(40), truth.between(data, data), size=60)
    sills = [likeliest_covariance(data, field).sill for field in fields]
    assert np.mean(sills) == pytest.approx(2.4, rel=0.12)


def test_noise_has_next_to_no_covariance_at_the_spacing_of_the_data() -> None:
    rng = np.random.default_rng(5)
    data = rng.uniform(0, 500, (60, 2))
    model = likeliest_covariance(data, rng.normal(0, 1.5, 60))
    assert model.by_distance(np.array([500 / 60**0.5]))[0] < 0.1 * model.sill
    assert model.sill == pytest.approx(1.5**2, rel=0.4)


@pytest.mark.parametrize(
    ("data", "values"),
    [
        (np.array([[0.0, 0], [1, 0]]), np.array([1.0, 2])),
        (np.array([[0.0, 0], [1, 0], [0, 1]]), np.array([1.0, 1, 1])),
        (np.array([[0.0, 0], [0, 0], [0, 1]]), np.array([1.0, 2, 3])),
    ],
    ids=["two", "constant", "twins"],
)
def test_no_covariance_from_too_little(data, values) -> None:
    with pytest.raises(ValueError, match=r"differ|average them"):
        likeliest_covariance(data, values)


def test_left_out_errors_are_those_of_kriging_anew() -> None:
    """Dubrule (1983) in closed form, against leaving each datum out by hand."""
    rng = np.random.default_rng(6)
    data, values = rng.uniform(0, 300, (15, 2)), rng.normal(0, 1, (15, 2))
    model = CovarianceModel("exponential", 1.0, 120.0, 0.2)
    errors, variance = OrdinaryKriging(data, model).left_out(values)
    for out in range(15):
        rest = np.arange(15) != out
        estimate, expected = OrdinaryKriging(data[rest], model).estimate(
            values[rest], data[out : out + 1]
        )
        np.testing.assert_allclose(errors[out], values[out] - estimate[0], atol=1e-10)
        assert variance[out] == pytest.approx(expected[0], abs=1e-10)
