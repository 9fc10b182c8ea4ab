from __future__ import annotations

import numpy as np
import pytest
import shapely

from reclaim.waste import area_weights, cell_weights

SQUARE = shapely.box(0, 0, 100, 100)


def test_areas_of_influence_by_hand() -> None:
    # Perpendicular bisectors at x = 30 and x = 70: strips of 30, 40 and 30 per cent.
    places = np.array([[10.0, 50], [50, 50], [90, 50]])
    np.testing.assert_allclose(area_weights(places, SQUARE), [0.3, 0.4, 0.3])


def test_a_cluster_shares_its_ground() -> None:
    # Isaaks and Srivastava (1989), chapter 10: clustered samples get little weight. Four places
    # around (20, 20) and one at (80, 80): the bisector leaves the lone one near half.
    places = np.array([[19.0, 20], [21, 20], [20, 19], [20, 21], [80, 80]])
    found = area_weights(places, SQUARE)
    assert found.sum() == pytest.approx(1)
    assert found[4] == pytest.approx(0.5, abs=0.02)


def test_areas_stay_inside_the_outline() -> None:
    # An L of three squares; the place at its inner corner and two at its ends.
    outline = shapely.union_all([shapely.box(0, 0, 100, 50), shapely.box(0, 50, 50, 100)])
    places = np.array([[25.0, 25], [75, 25], [25, 75]])
    np.testing.assert_allclose(area_weights(places, outline), np.full(3, 1 / 3))


def test_places_that_coincide_divide_their_area() -> None:
    places = np.array([[25.0, 50], [75, 50], [75, 50]])
    np.testing.assert_allclose(area_weights(places, SQUARE), [0.5, 0.25, 0.25])


@pytest.mark.parametrize(
    "places", [np.array([[50.0, 50]]), np.array([[0.0, 5], [0, 50], [0, 95]]), np.zeros((2, 2))]
)
def test_one_place_a_line_or_one_twice(places) -> None:
    found = area_weights(places, SQUARE)
    assert found.sum() == pytest.approx(1)
    assert (found > 0).all()


def test_cells_by_hand() -> None:
    # Three places in one square and one in another: half the weight to each square.
    places = np.array([[0.0, 0], [1, 1], [2, 2], [15, 15]])
    np.testing.assert_allclose(cell_weights(places, 10, origins=1), [1 / 6, 1 / 6, 1 / 6, 1 / 2])


def test_very_small_and_very_large_cells_give_equal_weights() -> None:
    # Deutsch and Journel (1998), GSLIB, section VI.2: both ends are the plain mean.
    places = np.random.default_rng(0).uniform(0, 100, (30, 2))
    for side in (1e-6, 1e6):
        np.testing.assert_allclose(cell_weights(places, side), np.full(30, 1 / 30))


def test_declustering_undoes_preferential_sampling() -> None:
    # Values rise eastwards; nine in ten places lie in the rich east half.
    rng = np.random.default_rng(1)
    places = rng.uniform(0, 100, (200, 2))
    places[20:, 0] = 50 + places[20:, 0] / 2
    values = places[:, 0]
    assert values.mean() > 65
    assert area_weights(places, SQUARE) @ values == pytest.approx(50, abs=2)
    assert abs(cell_weights(places, 25) @ values - 50) < 0.6 * (values.mean() - 50)


def test_nonsense_is_refused() -> None:
    with pytest.raises(ValueError, match="outline"):
        area_weights(np.zeros((0, 2)), SQUARE)
    with pytest.raises(ValueError, match="outline"):
        area_weights(np.zeros((1, 2)), shapely.Polygon())
    with pytest.raises(ValueError, match="positive"):
        cell_weights(np.zeros((1, 2)), 0)
