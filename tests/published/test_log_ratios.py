"""Log-ratios against published vectors."""

from __future__ import annotations

import numpy as np
import pytest

from reclaim.waste import (
    aitchison_distance,
    clr,
    ilr,
    ilr_inverse,
    log_ratio_centre,
    without_zeros,
)
from reclaim.waste.log_ratio import total_variance

X = np.array([0.1, 0.3, 0.4, 0.2])
Y = np.array([0.2, 0.4, 0.2, 0.2])


def test_centred_log_ratio_of_a_manual() -> None:
    # The example in the manual of scikit-bio, skbio.stats.composition.clr.
    np.testing.assert_allclose(
        clr(X), [-0.79451346, 0.30409883, 0.59178090, -0.10136628], atol=5e-9
    )
    assert clr(X).sum() == pytest.approx(0, abs=1e-15)


def test_isometric_log_ratio_and_distance() -> None:
    # Pivot basis of Egozcue et al. (2003), Mathematical Geology 35, 279-300; some packages turn
    # the sign. Distance: Aitchison et al. (2000).
    np.testing.assert_allclose(ilr(X), [-0.77683620, -0.68339802, 0.11704769], atol=5e-9)
    np.testing.assert_allclose(ilr(Y), [-0.49012907, 0.28297615, 0.20009436], atol=5e-9)
    assert aitchison_distance(X, Y) == pytest.approx(1.0114231, abs=5e-8)
    assert np.linalg.norm(ilr(X) - ilr(Y)) == pytest.approx(1.0114231, abs=5e-8)
    assert np.linalg.norm(clr(X)) == pytest.approx(1.0412528, abs=5e-8)
    np.testing.assert_allclose(ilr_inverse(ilr(X)), X, atol=1e-15)


def test_centre_of_two_compositions() -> None:
    # The Aitchison mean: closed geometric mean of each part (Aitchison 1986).
    np.testing.assert_allclose(
        log_ratio_centre(np.array([X, Y])),
        [0.14569394, 0.35687582, 0.29138789, 0.20604235],
        atol=5e-9,
    )


def test_distance_does_not_see_units_order_or_a_common_change() -> None:
    # The invariances that define the distance: Aitchison et al. (2000).
    change = np.array([3.0, 0.5, 2.0, 1.0])
    order = [2, 0, 3, 1]
    for first, second in [(7 * X, 0.2 * Y), (X * change, Y * change), (X[order], Y[order])]:
        assert aitchison_distance(first, second) == pytest.approx(1.0114231, abs=5e-8)


def test_zeros_are_replaced_and_ratios_kept() -> None:
    # Martin-Fernandez et al. (2003): 0.65 of the smallest share met; ratios of the parts that were
    # found do not change, and the sum stays 1.
    fractions = np.array([[0.5, 0.3, 0.2], [0.6, 0.4, 0.0], [0.2, 0.7, 0.1]])
    found = without_zeros(fractions)
    assert found[1, 2] == pytest.approx(0.065)
    assert found[1, 0] / found[1, 1] == pytest.approx(1.5)
    np.testing.assert_allclose(found.sum(axis=1), 1)
    np.testing.assert_array_equal(found[[0, 2]], fractions[[0, 2]])


def test_a_part_never_found_is_refused_or_left_out() -> None:
    fractions = np.array([[0.5, 0.5, 0.0], [0.4, 0.6, 0.0]])
    with pytest.raises(ValueError, match="nowhere found"):
        without_zeros(fractions)
    centre = log_ratio_centre(fractions)
    assert centre[2] == 0
    assert centre.sum() == pytest.approx(1)
    assert total_variance(fractions[:1]) == 0
    assert total_variance(fractions) > 0
