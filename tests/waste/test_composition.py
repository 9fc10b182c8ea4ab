from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from reclaim.assumptions import Draws
from reclaim.ground import DugVolumes
from reclaim.reference import material_names
from reclaim.waste import (
    CoreComposites,
    composition_from_cores,
    composition_stated,
    feed_from_volumes,
    material_moisture,
    moisture_pattern,
    properties_of_site,
    summarise_cores,
)

N = len(material_names())


def composites(n_cores, zones, seed=0, alpha=20.0):
    rng = np.random.default_rng(seed)
    return CoreComposites(
        core_ids=tuple(f"C{i}" for i in range(n_cores)),
        zones=tuple(zones),
        places_m=rng.uniform(0, 200, (n_cores, 2)),
        wet_fraction=rng.dirichlet(np.full(N, alpha), size=n_cores),
        moisture=rng.uniform(0.25, 0.40, n_cores),
        bulk_density_t_m3=rng.uniform(0.9, 1.3, n_cores),
        waste_m=np.full(n_cores, 5.0),
        sampled_m=np.full(n_cores, 5.0),
        weight=rng.uniform(3, 9, n_cores),
        samples=np.full(n_cores, 2),
        sorted_kg=np.full(n_cores, 150.0),
        narrow=np.zeros(n_cores, dtype=bool),
        of_unknown_width=np.zeros(n_cores, dtype=bool),
        moisture_pattern=moisture_pattern(),
    )


def test_best_estimate_is_the_weighted_mean_of_every_core(best) -> None:
    cores = composites(6, ["a"] * 3 + ["b"] * 3)
    found = composition_from_cores(cores, ["a", "b"], best)
    expected = np.average(cores.wet_fraction[:3], axis=0, weights=cores.weight[:3])
    np.testing.assert_allclose(found.wet_fraction[0, 0], expected, rtol=1e-12)
    np.testing.assert_allclose(found.wet_fraction.sum(axis=2), 1, rtol=1e-12)
    assert found.pooled_zones == ()


def test_bootstrap_spread_is_that_of_a_mean() -> None:
    # With one core fewer than there are, the variance of the mean is the unbiased variance
    # between cores over their number (Rao and Wu 1988, JASA 83, 231-241); equal weights.
    cores = replace(composites(12, ["a"] * 12), weight=np.ones(12))
    draws = composition_from_cores(cores, ["a"], Draws(20_000, seed=5)).wet_fraction[:, 0]
    expected = cores.wet_fraction.std(axis=0, ddof=1) / np.sqrt(12)
    np.testing.assert_allclose(draws.std(axis=0), expected, rtol=0.03)
    np.testing.assert_allclose(draws.mean(axis=0), cores.wet_fraction.mean(axis=0), rtol=0.01)


def test_zone_with_too_few_cores_takes_all(best) -> None:
    cores = composites(7, ["a"] * 5 + ["b"] * 2)
    found = composition_from_cores(cores, ["a", "b"], best)
    assert found.pooled_zones == ("b",)
    everyone = np.average(cores.wet_fraction, axis=0, weights=cores.weight)
    np.testing.assert_allclose(found.wet_fraction[0, 1], everyone, rtol=1e-12)


def test_cores_outside_every_zone_are_not_pooled(best) -> None:
    cores = composites(6, ["a"] * 3 + [""] * 3)
    found = composition_from_cores(cores, ["a", "b"], best)
    np.testing.assert_allclose(found.wet_fraction[0, 1], found.wet_fraction[0, 0], rtol=1e-12)


def test_order_of_cores_does_not_matter(best) -> None:
    cores = composites(6, ["a"] * 6)
    order = np.array([3, 1, 5, 0, 2, 4])
    shuffled = replace(
        cores,
        wet_fraction=cores.wet_fraction[order],
        moisture=cores.moisture[order],
        bulk_density_t_m3=cores.bulk_density_t_m3[order],
        weight=cores.weight[order],
    )
    one = composition_from_cores(cores, ["a"], best)
    two = composition_from_cores(shuffled, ["a"], best)
    np.testing.assert_allclose(one.wet_fraction, two.wet_fraction, rtol=1e-12)
    np.testing.assert_allclose(one.moisture, two.moisture, rtol=1e-12)


def test_stated_composition_is_closed(assumptions, best) -> None:
    share = replace(assumptions["waste.moisture"], kind="fixed", numbers=(0.3,))
    found = composition_stated({"glass": share, "fines": share}, ["a", "b"], best)
    np.testing.assert_allclose(found.wet_fraction.sum(axis=2), 1)
    assert found.wet_fraction[0, 1, material_names().index("glass")] == 0.5
    assert np.isnan(found.moisture).all()


@pytest.mark.parametrize("mix", [0.0, 0.02, 0.33, 0.55])
def test_material_moisture_meets_the_mix(mix) -> None:
    rng = np.random.default_rng(1)
    fractions = rng.dirichlet(np.ones(N), size=4)
    found = material_moisture(fractions, moisture_pattern(), np.full(4, mix))
    np.testing.assert_allclose((fractions * found).sum(axis=1), mix, rtol=1e-9, atol=1e-12)
    assert (found >= 0).all()
    assert (found < 1).all()


def test_more_water_than_the_materials_hold_is_refused() -> None:
    fractions = np.array([[0.5, 0.5]])
    with pytest.raises(ValueError, match="wetter"):
        material_moisture(fractions, np.array([0.3, 0.0]), np.array([0.6]))


def feed(assumptions, cores, draws):
    n = draws.n_draws
    zone_m3 = np.tile([1000.0, 3000.0], (n, 1))
    volumes = DugVolumes(
        cover_m3=np.full(n, 200.0),
        waste_m3=zone_m3.sum(axis=1),
        overdig_m3=np.full(n, 100.0),
        zone_waste_m3=zone_m3,
    )
    composition = composition_from_cores(cores, ["a", "b"], draws)
    properties = properties_of_site(1961, 1987, 2025, "temperate_wet", assumptions, draws)
    return composition, feed_from_volumes(
        volumes, composition, properties, cores.moisture_pattern, assumptions, draws
    )


@pytest.mark.parametrize("draws", [Draws.best_estimate(), Draws(100, seed=2)])
def test_tonnes_add_up(assumptions, draws) -> None:
    cores = composites(8, ["a"] * 4 + ["b"] * 4)
    composition, found = feed(assumptions, cores, draws)
    tonnes = (np.array([1000.0, 3000.0]) * composition.bulk_density_t_m3).sum(axis=1)
    np.testing.assert_allclose(found.total_wet_t, tonnes, rtol=1e-12)
    np.testing.assert_allclose(found.bulk_density_t_m3, tonnes / 4000, rtol=1e-12)
    zone_t = np.array([1000.0, 3000.0]) * composition.bulk_density_t_m3
    moisture = (zone_t * composition.moisture).sum(axis=1) / tonnes
    np.testing.assert_allclose(found.moisture, moisture, rtol=1e-9)
    np.testing.assert_allclose(found.wet_fraction.sum(axis=1), 1, rtol=1e-12)


def test_site_file_density_goes_before_the_cores(assumptions, best) -> None:
    cores = composites(8, ["a"] * 4 + ["b"] * 4)
    given = replace(
        assumptions["waste.bulk_density_t_m3"], kind="fixed", numbers=(1.25,), given=True
    )
    _, found = feed({**assumptions, "waste.bulk_density_t_m3": given}, cores, best)
    assert found.total_wet_t[0] == pytest.approx(5000)


def test_default_density_where_nothing_is_measured(assumptions, best) -> None:
    cores = replace(
        composites(8, ["a"] * 4 + ["b"] * 4),
        bulk_density_t_m3=np.full(8, np.nan),
        moisture=np.full(8, np.nan),
    )
    _, found = feed(assumptions, cores, best)
    assert found.bulk_density_t_m3[0] == assumptions["waste.bulk_density_t_m3"].central
    assert found.moisture[0] == pytest.approx(assumptions["waste.moisture"].central)


def test_summary_bands_hold_the_estimate(assumptions) -> None:
    cores = composites(9, ["a"] * 5 + ["b"] * 4)
    found = summarise_cores(cores, assumptions, seed=1)
    assert found.zones == ("a", "b", "site")
    assert (found.low <= found.wet_fraction).all()
    assert (found.wet_fraction <= found.high).all()
    np.testing.assert_allclose(found.dry_fraction.sum(axis=1), 1, rtol=1e-12)
    everyone = np.average(cores.wet_fraction, axis=0, weights=cores.weight)
    np.testing.assert_allclose(found.wet_fraction[-1], everyone, rtol=1e-12)
    assert found.moisture_measured


def test_summary_without_moisture_says_so(assumptions) -> None:
    cores = replace(composites(4, [""] * 4), moisture=np.full(4, np.nan))
    found = summarise_cores(cores, assumptions, seed=1)
    assert found.zones == ("site",)
    assert not found.moisture_measured
    assert found.moisture[0] == assumptions["waste.moisture"].central
