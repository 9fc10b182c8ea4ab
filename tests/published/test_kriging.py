"""Kriging and variograms against a textbook, an open data set, and two reference libraries."""

from __future__ import annotations

import csv
from importlib.util import find_spec
from pathlib import Path

import numpy as np
import pytest

from reclaim.geostatistics import (
    CovarianceModel,
    OrdinaryKriging,
    experimental_variogram,
    fit_variogram,
    local_kriging,
    ordinary_kriging,
)

# Isaaks and Srivastava (1989), An Introduction to Applied Geostatistics, chapter 12: seven samples
# around (65, 137), C(h) = 10 exp(-0.3 h), so the practical range is 10.
XY = np.array([[61, 139], [63, 140], [64, 129], [68, 128], [71, 140], [73, 141], [75, 128]], float)
PPM = np.array([477.0, 696, 227, 646, 606, 791, 783])
TARGET = np.array([[65.0, 137.0]])


def test_textbook_example_to_every_digit() -> None:
    # Weights, estimate and variance printed as 0.173 ... 0.086, 592.7 and 8.96; more digits from
    # an independent dense solve and the R package gstat.
    kriging = OrdinaryKriging(XY, CovarianceModel("exponential", 10, 10))
    np.testing.assert_allclose(
        kriging.weights(TARGET)[0],
        [0.172937, 0.317794, 0.128734, 0.086397, 0.151128, 0.057235, 0.085776],
        atol=1e-6,
    )
    estimate, variance = kriging.estimate(PPM, TARGET)
    assert estimate[0] == pytest.approx(592.7289, abs=5e-5)
    assert variance[0] == pytest.approx(8.956053, abs=5e-7)


@pytest.mark.parametrize(
    ("model", "estimate", "variance"),
    [
        (CovarianceModel("exponential", 5, 10, nugget=5), 596.777007, 10.305852),
        (CovarianceModel("spherical", 10, 20), 548.102084, 3.480960),
    ],
)
def test_variants_of_the_textbook_example(model, estimate, variance) -> None:
    # The same data under other models, by an independent dense solve and the R package gstat.
    found, error = ordinary_kriging(XY, PPM, TARGET, model)
    assert found[0] == pytest.approx(estimate, abs=1e-6)
    assert error[0] == pytest.approx(variance, abs=1e-6)


@pytest.fixture(scope="module")
def meuse():
    """Zinc in the topsoil of a flood plain of the Meuse, 155 points; read from a package."""
    package = find_spec("skgstat")
    if package is None or package.origin is None:
        pytest.skip("the Meuse data come with scikit-gstat, which is not installed")
    path = Path(package.origin).parent / "data" / "samples" / "meuse.txt"
    with path.open(encoding="utf-8") as file:
        rows = [(float(r["x"]), float(r["y"]), float(r["zinc"])) for r in csv.DictReader(file)]
    table = np.array(rows)
    assert table.shape == (155, 3)
    return table[:, :2], np.log(table[:, 2:])


def test_meuse_variogram(meuse) -> None:
    # gstat's documentation: default lags, spherical with nugget 0.0507, sill 0.5906, range 897.
    xy, log_zinc = meuse
    diagonal = float(np.hypot(*np.ptp(xy, axis=0)))
    variogram = experimental_variogram(xy, log_zinc, cutoff_m=diagonal / 3)
    model = fit_variogram(variogram, ("spherical",)).model
    assert model is not None
    assert model.nugget == pytest.approx(0.050662, abs=5e-5)
    assert model.partial_sill == pytest.approx(0.590608, abs=5e-5)
    assert model.range_m == pytest.approx(897.021, abs=0.05)


def test_meuse_kriging(meuse) -> None:
    # R package gstat 2.1-0, krige(log(zinc) ~ 1), nugget 0.05, partial sill 0.59, range 897.
    xy, log_zinc = meuse
    targets = np.array(
        [[181180, 333740], [180940, 333300], [181300, 332820], [179660, 331860], [179220, 329620]],
        dtype=float,
    )
    estimate, variance = ordinary_kriging(
        xy, log_zinc, targets, CovarianceModel("spherical", 0.59, 897, 0.05)
    )
    expected = [6.499877, 6.489508, 5.267044, 5.566118, 6.424672]
    np.testing.assert_allclose(estimate[:, 0], expected, atol=1e-6)
    expected = [0.318678, 0.125711, 0.208850, 0.163065, 0.235647]
    np.testing.assert_allclose(variance, expected, atol=1e-6)


@pytest.fixture
def scattered():
    rng = np.random.default_rng(11)
    data, targets = rng.uniform(0, 500, (50, 2)), rng.uniform(0, 500, (200, 2))
    return data, rng.dirichlet(np.ones(4), 50), targets


@pytest.mark.filterwarnings("ignore::DeprecationWarning")
def test_the_same_answers_as_gstools(scattered) -> None:
    # GSTools smooths at the data by default; exact=True with cond_err="nugget" asks for what we do.
    gstools = pytest.importorskip("gstools")
    data, shares, targets = scattered
    found, variance = ordinary_kriging(
        data, shares, targets, CovarianceModel("spherical", 0.7, 180, 0.3)
    )
    model = gstools.Spherical(dim=2, var=0.7, len_scale=180, rescale=1, nugget=0.3)
    for column in range(shares.shape[1]):
        krige = gstools.krige.Ordinary(
            model, data.T, shares[:, column], exact=True, cond_err="nugget"
        )
        expected = krige(targets.T)
        np.testing.assert_allclose(found[:, column], expected[0], atol=1e-8)
        np.testing.assert_allclose(variance, expected[1], atol=1e-8)


@pytest.mark.filterwarnings("ignore::DeprecationWarning")
def test_the_same_answers_as_pykrige(scattered) -> None:
    pykrige = pytest.importorskip("pykrige.ok")
    data, shares, targets = scattered
    found, variance = ordinary_kriging(
        data, shares, targets, CovarianceModel("spherical", 0.7, 180, 0.3)
    )
    for column in range(shares.shape[1]):
        krige = pykrige.OrdinaryKriging(
            data[:, 0], data[:, 1], shares[:, column], variogram_model="spherical",
            variogram_parameters={"psill": 0.7, "range": 180, "nugget": 0.3},
        )  # fmt: skip
        expected = krige.execute("points", targets[:, 0], targets[:, 1])
        np.testing.assert_allclose(found[:, column], expected[0], atol=1e-8)
        np.testing.assert_allclose(variance, expected[1], atol=1e-8)


@pytest.mark.filterwarnings("ignore::DeprecationWarning")
def test_local_search_as_pykrige(scattered) -> None:
    # PyKrige's moving window takes the same nearest points.
    pykrige = pytest.importorskip("pykrige.ok")
    data, shares, targets = scattered
    model = CovarianceModel("exponential", 1, 200, 0.2)
    found, variance = local_kriging(data, shares, targets, model, nearest=12)
    krige = pykrige.OrdinaryKriging(
        data[:, 0], data[:, 1], shares[:, 0], variogram_model="exponential",
        variogram_parameters={"psill": 1, "range": 200, "nugget": 0.2},
    )  # fmt: skip
    expected = krige.execute(
        "points", targets[:, 0], targets[:, 1], backend="loop", n_closest_points=12
    )
    np.testing.assert_allclose(found[:, 0], expected[0], atol=1e-8)
    np.testing.assert_allclose(variance, expected[1], atol=1e-8)
