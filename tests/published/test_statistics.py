"""Statistics of cores against published data, textbook identities and a reference library."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from reclaim.assumptions import Draws
from reclaim.waste import bca_interval, precision_reached, t_interval, variance_parts
from reclaim.waste.comparison import pseudo_f
from reclaim.waste.statistics import weighted_median

# Davies and Goldsmith (1972), Statistical Methods in Research and Production, 4th ed.: yield of
# dyestuff, five samples from each of six batches.
DYESTUFF = np.array(
    [
        [1545, 1440, 1440, 1520, 1580],
        [1540, 1555, 1490, 1560, 1495],
        [1595, 1550, 1605, 1510, 1560],
        [1445, 1440, 1595, 1465, 1545],
        [1595, 1630, 1515, 1635, 1625],
        [1520, 1455, 1450, 1480, 1445],
    ],
    dtype=float,
)
BATCH = np.repeat(np.arange(6), 5)


def test_variance_between_and_within_batches() -> None:
    # Bates et al. (2015), Journal of Statistical Software 67(1), package lme4: batch variance
    # 1764 (standard deviation 42.00), residual 2451 (49.51); balanced, so REML is the ANOVA.
    parts = variance_parts(DYESTUFF.reshape(-1, 1), BATCH)
    assert parts.between[0] == pytest.approx(1764, abs=0.5)
    assert parts.within[0] == pytest.approx(2451, abs=0.5)
    assert parts.samples_per_core == 5
    means = DYESTUFF.mean(axis=1)
    assert parts.of_core_mean()[0] == pytest.approx(means.var(ddof=1), rel=1e-12)


def test_one_sample_per_core_counts_as_spread_between_cores() -> None:
    parts = variance_parts(DYESTUFF[:, :1], np.arange(6))
    assert parts.between[0] == pytest.approx(DYESTUFF[:, 0].var(ddof=1))
    assert np.isnan(parts.within[0])
    with pytest.raises(ValueError, match="two cores"):
        variance_parts(DYESTUFF[:1].T, np.zeros(5, dtype=int))


def test_pseudo_f_of_one_quantity_is_f_of_the_analysis_of_variance() -> None:
    # Anderson (2001), Austral Ecology 26, 32-46: with one variable and Euclidean distance
    # pseudo-F is the traditional F.
    assert pseudo_f(DYESTUFF.reshape(-1, 1), BATCH) == pytest.approx(
        stats.f_oneway(*DYESTUFF).statistic
    )


def test_t_interval_is_the_textbook_one_for_equal_weights() -> None:
    values = DYESTUFF[:, :1]
    _, low, high = t_interval(values, np.ones(6), 0.9)
    expected = stats.t.interval(0.9, 5, loc=values.mean(), scale=stats.sem(values[:, 0]))
    assert (low[0], high[0]) == pytest.approx(expected)


def test_bca_interval_as_scipy() -> None:
    # scipy.stats.bootstrap, method BCa (Efron 1987), on a skewed sample; both resample 20,000
    # times, so ends agree to a few hundredths of the width.
    sample = np.random.default_rng(3).lognormal(0, 1, 20)
    low, high = bca_interval(sample[:, None], np.ones(20), Draws(20_000, seed=1), 0.8)
    found = stats.bootstrap(
        (sample,), np.mean, confidence_level=0.8, n_resamples=20_000, method="BCa",
        rng=np.random.default_rng(2),
    ).confidence_interval  # fmt: skip
    width = found.high - found.low
    assert low[0] == pytest.approx(found.low, abs=0.03 * width)
    assert high[0] == pytest.approx(found.high, abs=0.03 * width)


def test_weighted_median_with_equal_weights_is_the_median() -> None:
    rng = np.random.default_rng(0)
    for count in (1, 2, 5, 8):
        values = rng.random((count, 3))
        np.testing.assert_allclose(
            weighted_median(values, np.ones(count)), np.median(values, axis=0)
        )
    # A value that carries more than half the weight is the median.
    assert weighted_median(np.array([[1.0], [2.0], [3.0]]), np.array([5.0, 1, 1]))[0] == 1


def test_precision_is_the_sample_size_formula_turned_round() -> None:
    # ASTM D5231-92, example for corrugated: 52 samples give 10 % at 90 % confidence.
    assert precision_reached(0.14, 0.06, 52) == pytest.approx(0.0995, abs=5e-4)
    assert np.isnan(precision_reached(0.14, 0.06, 1))
    assert np.isnan(precision_reached(0.0, 0.06, 10))


@pytest.mark.slow
@pytest.mark.parametrize(
    ("cores", "common_short", "rare_short"), [(12, 0.08, 0.20), (40, 0.05, 0.10)]
)
def test_intervals_cover_the_truth_as_often_as_they_say(cores, common_short, rare_short) -> None:
    """Shares of a rare and of two common materials, drawn from a known Dirichlet law.

    Intervals of few, skewed values are known to fall short of their confidence: Davison and
    Hinkley (1997), Bootstrap Methods and their Application, section 5.4. The rare material has
    1.6 % of the mass and a coefficient of variation of 2.4. An interval never covers more than
    five points too often.
    """
    rng = np.random.default_rng(8)
    law = np.array([0.15, 1.2, 8.0])
    truth = law / law.sum()
    repeats = 600
    inside = np.zeros((2, 3))
    for repeat in range(repeats):
        values = rng.dirichlet(law, cores)
        bca = bca_interval(values, np.ones(cores), Draws(1000, seed=repeat), 0.8)
        _, *student = t_interval(values, np.ones(cores), 0.8)
        for row, (low, high) in enumerate((bca, student)):
            inside[row] += (low <= truth) & (truth <= high)
    short = 0.8 - inside / repeats
    assert (short > -0.05).all(), inside / repeats
    assert (short[:, 0] < rare_short).all(), inside / repeats
    assert (short[:, 1:] < common_short).all(), inside / repeats
