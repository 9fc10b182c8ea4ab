"""Ordinary kriging against a textbook, a reference library, and what must hold of any estimate."""

from __future__ import annotations

import numpy as np
import pytest

from reclaim.geostatistics import CovarianceModel, OrdinaryKriging, ordinary_kriging

# Isaaks and Srivastava (1989), An Introduction to Applied Geostatistics, chapter 12.
WALKER_LAKE_XY = np.array(
    [[61, 139], [63, 140], [64, 129], [68, 128], [71, 140], [73, 141], [75, 128]], dtype=float
)
WALKER_LAKE_PPM = np.array([477.0, 696, 227, 646, 606, 791, 783])
TARGET = np.array([[65.0, 137.0]])


def test_weights_of_the_textbook_example() -> None:
    """Isaaks and Srivastava (1989), chapter 12: printed weights, estimate and variance."""
    kriging = OrdinaryKriging(WALKER_LAKE_XY, CovarianceModel("exponential", 10, 10))
    printed = [[0.173, 0.318, 0.129, 0.086, 0.151, 0.057, 0.086]]
    np.testing.assert_allclose(kriging.weights(TARGET), printed, atol=5e-4)
    estimate, variance = kriging.estimate(WALKER_LAKE_PPM, TARGET)
    assert estimate[0] == pytest.approx(592.7, abs=0.05)
    assert variance[0] == pytest.approx(8.96, abs=0.005)


@pytest.fixture
def scattered():
    rng = np.random.default_rng(7)
    return rng.uniform(0, 400, (40, 2)), rng.normal(5, 2, (40, 3)), rng.uniform(-50, 450, (300, 2))


@pytest.mark.parametrize("shape", ["spherical", "exponential"])
def test_estimates_and_variances_are_those_of_a_dense_solve(scattered, shape) -> None:
    """The bordered system as it is printed in Cressie (1993), section 3.2.1, solved anew."""
    data, values, targets = scattered
    model = CovarianceModel(shape, 4, 120, 0.5, azimuth_deg=30, anisotropy_ratio=0.4)
    system = np.ones((41, 41))
    system[:40, :40] = model.between(data, data)
    system[40, 40] = 0
    right_side = np.ones((41, 300))
    right_side[:40] = model.between(data, targets)
    solved = np.linalg.solve(system, right_side)
    estimates, variance = ordinary_kriging(data, values, targets, model)
    np.testing.assert_allclose(estimates, solved[:40].T @ values, atol=1e-10)
    np.testing.assert_allclose(variance, 4.5 - (solved * right_side).sum(axis=0), atol=1e-10)


@pytest.mark.filterwarnings("ignore::DeprecationWarning")
@pytest.mark.parametrize(
    ("shape", "name"), [("spherical", "Spherical"), ("exponential", "Exponential")]
)
def test_estimates_and_variances_are_those_of_gstools(scattered, shape, name) -> None:
    """GSTools, called so that it is exact at the data; azimuth turned to its angle from east."""
    gstools = pytest.importorskip("gstools")
    data, values, targets = scattered
    ours = CovarianceModel(shape, 4, 120, 0.5, azimuth_deg=30, anisotropy_ratio=0.4)
    theirs = getattr(gstools, name)(
        dim=2,
        var=4,
        len_scale=120 if shape == "spherical" else 40,
        rescale=1,
        nugget=0.5,
        angles=np.radians(60),
        anis=0.4,
    )
    expected = gstools.krige.Ordinary(theirs, data.T, values[:, 0], exact=True, cond_err="nugget")(
        targets.T
    )
    estimates, variance = ordinary_kriging(data, values[:, 0], targets, ours)
    np.testing.assert_allclose(estimates, expected[0], atol=1e-8)
    np.testing.assert_allclose(variance, expected[1], atol=1e-8)


def test_data_are_honoured_and_shares_stay_closed(scattered) -> None:
    data, values, targets = scattered
    shares = np.abs(values) / np.abs(values).sum(axis=1, keepdims=True)
    model = CovarianceModel("spherical", 1, 150, nugget=0.3)
    at_data, variance = ordinary_kriging(data, shares, data, model)
    np.testing.assert_allclose(at_data, shares, atol=1e-12)
    np.testing.assert_allclose(variance, 0, atol=1e-12)
    elsewhere, _ = ordinary_kriging(data, shares, targets, model)
    np.testing.assert_allclose(elsewhere.sum(axis=1), 1, atol=1e-12)


def test_far_from_all_data_the_mean_and_more_than_the_sill_remain(scattered) -> None:
    """With no datum in reach, kriging knows no more than the mean, and that not well."""
    data, values, _ = scattered
    model = CovarianceModel("spherical", 0.0, 100, nugget=2.0)
    estimates, variance = ordinary_kriging(data, values, np.array([[5000.0, 0.0]]), model)
    np.testing.assert_allclose(estimates[0], values.mean(axis=0))
    assert variance[0] == pytest.approx(2.0 * (1 + 1 / 40))


def test_one_datum_is_the_estimate_everywhere() -> None:
    estimates, variance = ordinary_kriging(
        np.zeros((1, 2)),
        np.array([3.0]),
        np.array([[0, 0], [10.0, 0]]),
        CovarianceModel("spherical", 1, 50),
    )
    np.testing.assert_allclose(estimates, 3)
    assert variance[0] == pytest.approx(0, abs=1e-12)
    assert 0 < variance[1] < 2


@pytest.mark.parametrize(
    ("data", "values"),
    [
        (np.zeros((2, 2)), np.zeros(2)),
        (np.zeros((0, 2)), np.zeros(0)),
        (np.array([[0, np.nan]]), np.zeros(1)),
        (np.array([[0, 0], [1.0, 0]]), np.array([1, np.nan])),
        (np.array([[0, 0], [1.0, 0]]), np.zeros(3)),
    ],
)
def test_what_cannot_be_kriged_is_refused(data, values) -> None:
    with pytest.raises(ValueError, match=r"place|number"):
        ordinary_kriging(data, values, np.zeros((1, 2)), CovarianceModel("spherical", 1, 50, 0.1))


@pytest.mark.parametrize(
    "numbers",
    [
        {"partial_sill": 0, "range_m": 1},
        {"partial_sill": -1, "range_m": 1, "nugget": 2},
        {"partial_sill": 1, "range_m": 0},
        {"partial_sill": 1, "range_m": 1, "anisotropy_ratio": 1.5},
    ],
)
def test_a_model_that_is_no_covariance_is_refused(numbers) -> None:
    with pytest.raises(ValueError, match="must"):
        CovarianceModel("spherical", **numbers)
