from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from reclaim.assumptions import Draws
from reclaim.waste import (
    Blocks,
    composition_from_cores,
    krige_blocks,
    next_cores,
    picked_composition,
    spatial_composition,
    study_pattern,
)
from reclaim.waste.spatial import one_per_place
from reclaim.waste.spatial_composition import _simulated


@pytest.fixture
def places():
    return np.random.default_rng(2).uniform(0, 400, (60, 2))


@pytest.fixture
def patterned(make_composites, places):
    zones = ["west" if x < 200 else "east" for x in places[:, 0]]
    return make_composites(places, zones=zones)


def test_a_pattern_is_found_used_and_said(patterned) -> None:
    study = study_pattern(patterned)
    assert study.used
    assert study.skill is not None
    assert study.skill.one_out > 0.2
    assert study.skill.groups_out > 0
    assert "Kriging is used." in study.why
    assert study.skill.by_material.shape == (patterned.wet_fraction.shape[1],)


def test_no_pattern_no_kriging(make_composites, places) -> None:
    study = study_pattern(make_composites(places, nugget=0.999, seed=4))
    assert not study.used
    assert "mean of each zone is used" in study.why


@pytest.mark.parametrize(
    ("places", "sill", "words"),
    [
        (np.array([[0.0, 0]]), 0.2, "one place"),
        (np.zeros((2, 2)), 0.2, "one place"),
        (np.random.default_rng(0).uniform(0, 100, (30, 2)), 0.0, "alike"),
        (np.random.default_rng(0).uniform(0, 100, (6, 2)), 0.2, "too few places"),
    ],
    ids=["one core", "two in one place", "all alike", "few"],
)
def test_what_cannot_be_modelled_says_so_and_takes_the_zone_mean(
    make_composites, blocks, places, sill, words
) -> None:
    cores = make_composites(places, sill=sill)
    study = study_pattern(cores)
    assert not study.used
    assert words in study.why
    assert "mean of each zone is used" in study.why
    with pytest.raises(ValueError, match=words):
        krige_blocks(study, cores, blocks)


def test_cores_on_a_line_are_kriged_along_it(make_composites, blocks) -> None:
    line = np.column_stack([np.linspace(0, 400, 60), np.full(60, 200.0)])
    cores = make_composites(line)
    study = study_pattern(cores)
    found = krige_blocks(study, cores, blocks)
    np.testing.assert_allclose(found.wet_fraction.sum(axis=1), 1)
    near = np.abs(blocks.places_m[:, 1] - 200) < 15
    far = np.abs(blocks.places_m[:, 1] - 200) > 180
    assert found.kriging_sd[far].min() > found.kriging_sd[near].max()


def test_cores_in_one_place_are_merged(make_composites) -> None:
    cores = make_composites(np.array([[0.0, 0], [0.3, 0], [50, 0]]))
    merged = one_per_place(cores)
    assert merged.core_ids == ("C0", "C2")
    np.testing.assert_allclose(merged.wet_fraction[0], cores.wet_fraction[:2].mean(axis=0))
    assert merged.samples.tolist() == [4, 2]


def test_cores_outside_every_zone_do_not_count(make_composites) -> None:
    cores = make_composites(np.array([[0.0, 0], [90, 0], [50, 0]]), zones=["a", "", "a"])
    assert one_per_place(cores).core_ids == ("C0", "C2")


def test_blocks_are_closed_and_nowhere_negative(patterned, blocks) -> None:
    cores = replace(patterned, wet_fraction=patterned.wet_fraction.copy())
    cores.wet_fraction[:, 0] = 0.0  # a material never found
    cores.wet_fraction[:] /= cores.wet_fraction.sum(axis=1, keepdims=True)
    found = krige_blocks(study_pattern(cores), cores, blocks)
    np.testing.assert_allclose(found.wet_fraction.sum(axis=1), 1)
    assert (found.wet_fraction >= 0).all()
    assert (found.wet_fraction[:, 0] == 0).all()
    assert np.isfinite(found.moisture).all()
    assert (found.kriging_sd > 0).all()


def test_the_best_estimate_is_the_mean_of_the_draws(patterned, blocks) -> None:
    study = study_pattern(patterned)
    zones = ["west", "east"]
    best = spatial_composition(study, patterned, blocks, zones, Draws.best_estimate())
    draws = spatial_composition(study, patterned, blocks, zones, Draws(300, seed=1))
    assert draws.wet_fraction.shape == (300, 2, patterned.wet_fraction.shape[1])
    np.testing.assert_allclose(draws.wet_fraction.sum(axis=2), 1)
    np.testing.assert_allclose(draws.wet_fraction.mean(axis=0), best.wet_fraction[0], atol=1e-6)
    np.testing.assert_allclose(draws.moisture.mean(axis=0), best.moisture[0])
    np.testing.assert_allclose(draws.bulk_density_t_m3.mean(axis=0), best.bulk_density_t_m3[0])
    assert (draws.wet_fraction.std(axis=0) > 0).all()


def test_pictures_are_near_the_cores_before_they_are_centred(patterned, blocks) -> None:
    # Weights of mass hardly move a mean over 200 blocks, so it is near that of the cores.
    study = study_pattern(patterned)
    fractions, moisture, density = _simulated(study, patterned, blocks, 2, Draws(60, seed=1))
    np.testing.assert_allclose(fractions.sum(axis=2), 1)
    assert moisture.mean() == pytest.approx(patterned.moisture.mean(), abs=0.01)
    assert density.mean() == pytest.approx(patterned.bulk_density_t_m3.mean(), abs=0.03)
    assert (moisture.std(axis=0) > 0).all()
    assert (density.std(axis=0) > 0).all()
    mean = patterned.wet_fraction.mean(axis=0)
    np.testing.assert_allclose(fractions.mean(axis=(0, 1)), mean, rtol=0.15, atol=1e-3)


def test_without_a_pattern_the_draws_spread_like_the_bootstrap(make_composites, blocks) -> None:
    # With little but nugget, cores are independent and both methods see a mean of n values.
    places = np.random.default_rng(6).uniform(0, 400, (80, 2))
    cores = make_composites(places, range_m=40, sill=0.05, nugget=0.3, seed=6)
    study = study_pattern(cores)
    assert study.model is not None
    site = replace(blocks, zone=np.zeros(len(blocks), dtype=int))
    simulated = spatial_composition(study, cores, site, ["a"], Draws(600, seed=1))
    resampled = composition_from_cores(cores, ["a"], Draws(2000, seed=1))
    ratio = simulated.wet_fraction.std(axis=0) / resampled.wet_fraction.std(axis=0)
    assert np.median(ratio) == pytest.approx(1.0, abs=0.15)


def test_a_zone_without_cores_is_kriged_from_its_neighbours(make_composites, blocks) -> None:
    places = np.random.default_rng(8).uniform([0, 0], [200, 400], (60, 2))
    cores = make_composites(places, zones=["west"] * 60)
    study = study_pattern(cores)
    best = spatial_composition(study, cores, blocks, ["west", "east"], Draws.best_estimate())
    np.testing.assert_allclose(best.wet_fraction[0].sum(axis=1), 1)
    found = krige_blocks(study, cores, blocks)
    assert found.kriging_sd[blocks.zone == 1].mean() > found.kriging_sd[blocks.zone == 0].mean()


def test_missing_moisture_stays_missing(patterned, blocks) -> None:
    cores = replace(patterned, moisture=np.full(len(patterned), np.nan))
    study = study_pattern(cores)
    best = spatial_composition(study, cores, blocks, ["west", "east"], Draws.best_estimate())
    assert np.isnan(best.moisture).all()
    draws = spatial_composition(study, cores, blocks, ["west", "east"], Draws(5, seed=1))
    assert np.isnan(draws.moisture).all()
    assert np.isfinite(draws.bulk_density_t_m3).all()


def test_next_cores_fall_in_the_empty_quarter(make_composites, blocks) -> None:
    rng = np.random.default_rng(3)
    places = rng.uniform(0, 400, (90, 2))
    places = places[~((places > 220).all(axis=1))]
    study = study_pattern(make_composites(places))
    found = next_cores(study, blocks)
    assert (found.places_m[0] > 200).all()
    assert (np.diff(found.error_left) < 0).all()
    assert found.error_left[0] < 1


def test_next_cores_without_a_model_fill_the_gaps(make_composites, blocks) -> None:
    study = study_pattern(make_composites(np.array([[10.0, 10], [390, 10], [10, 390]])))
    found = next_cores(study, blocks)
    np.testing.assert_allclose(found.places_m[0], [390, 390])
    np.testing.assert_allclose(found.error_left[0], np.sqrt(3 / 4))
    assert "gaps" in found.method


def test_blocks_of_one_place(make_composites) -> None:
    one = Blocks(np.zeros((1, 2)), np.zeros(1, dtype=int), np.ones(1), (1.0, 1.0))
    study = study_pattern(make_composites(np.zeros((1, 2))))
    assert len(next_cores(study, one).places_m) == 0


def test_each_draw_picks_a_picture_and_all_are_picked(patterned, blocks) -> None:
    study = study_pattern(patterned)
    between = (study, patterned, blocks, ["west", "east"])
    kriged = spatial_composition(*between, Draws.best_estimate())
    pictures = spatial_composition(*between, Draws(50, seed=1))
    assert picked_composition(kriged, pictures, Draws.best_estimate()) is kriged
    draws = picked_composition(kriged, pictures, Draws(100, seed=2))
    for found in (draws, picked_composition(kriged, pictures, Draws(100, seed=2))):
        fines = np.sort(found.wet_fraction[:, 0, -1])
        np.testing.assert_array_equal(fines, np.sort(np.repeat(pictures.wet_fraction[:, 0, -1], 2)))
    # Moisture and composition of a draw come from one picture.
    row = int(np.flatnonzero((pictures.wet_fraction == draws.wet_fraction[0]).all(axis=(1, 2)))[0])
    np.testing.assert_array_equal(draws.moisture[0], pictures.moisture[row])
