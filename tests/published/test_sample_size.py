"""Number of sorting samples, against ASTM D5231-92."""

from __future__ import annotations

import pytest
from scipy.special import stdtrit

from reclaim.waste import samples_needed

# ASTM D5231-92, Table 3, mean and standard deviation of each component (from memory; the means
# add to 1), and the number of samples at 90 % confidence and 10 % precision by its stop rule.
# With t rounded to three decimals as in the standard, a result may differ by one.
COMPONENTS = [
    ("mixed paper", 0.22, 0.05, 17),
    ("newsprint", 0.10, 0.07, 135),
    ("corrugated", 0.14, 0.06, 52),
    ("plastic", 0.09, 0.03, 33),
    ("yard waste", 0.04, 0.14, 3317),
    ("food waste", 0.10, 0.03, 27),
    ("wood", 0.06, 0.06, 273),
    ("other organics", 0.05, 0.06, 392),
    ("ferrous", 0.05, 0.03, 100),
    ("aluminium", 0.01, 0.004, 46),
    ("glass", 0.08, 0.05, 108),
    ("other inorganics", 0.06, 0.03, 70),
]


def test_component_means_add_to_one() -> None:
    assert sum(mean for _, mean, _, _ in COMPONENTS) == pytest.approx(1.0, abs=1e-12)


@pytest.mark.parametrize(("name", "mean", "sd", "expected"), COMPONENTS)
def test_table_of_components(name, mean, sd, expected) -> None:
    assert abs(samples_needed(mean, sd, 0.10, 0.90) - expected) <= 1, name


def test_worked_example_at_two_confidences() -> None:
    # ASTM D5231-92, example for corrugated: 52 samples at 90 %; the same at 95 % gives 74.
    assert samples_needed(0.14, 0.06, 0.10, 0.90) == 52
    assert samples_needed(0.14, 0.06, 0.10, 0.95) == 74


@pytest.mark.parametrize(
    ("n", "confidence", "expected"),
    [(2, 0.90, 6.314), (10, 0.90, 1.833), (31, 0.90, 1.697), (5, 0.95, 2.776), (61, 0.95, 2.000)],
)
def test_student_t_as_tabulated(n, confidence, expected) -> None:
    # ASTM D5231-92, t* with n - 1 degrees of freedom; any table of Student's t.
    assert float(stdtrit(n - 1, (1 + confidence) / 2)) == pytest.approx(expected, abs=5e-4)


def test_few_samples_do_not_go_round_in_a_circle() -> None:
    # ASTM D5231-92, by hand for s / x = 0.13 and 20 %: the steps run 2, 17, 2, 17. With 4 samples
    # t = 2.353 asks for (2.353 x 0.65)^2 = 2.3; with 3, t = 2.920 asks for 3.6.
    assert samples_needed(1.0, 0.13, 0.20) == 4


@pytest.mark.parametrize("bad", [(0, 0.1, 0.1), (0.1, 0, 0.1), (0.1, 0.1, 0)])
def test_nonsense_is_refused(bad) -> None:
    with pytest.raises(ValueError, match="positive"):
        samples_needed(*bad)
