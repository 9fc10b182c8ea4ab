"""Facts of the trade, on a published raw waste composition run through the default line.

All marked `common practice, no source` unless a source is named. An old dump does not reach them,
and the last test says by which numbers.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from reclaim.plant import run_line
from reclaim.reference import assumption_defaults
from reclaim.waste import net_as_received

# Residential waste, per cent of wet mass: Tchobanoglous, Theisen and Vigil (1993), ch. 4, mapped
# to our materials (food and yard together; cans ferrous; half of "other metal" non-ferrous; dirt
# as fines). Its moisture is 21 %; the same book gives 15 to 40 % for municipal waste.
RAW_WASTE = {
    "garden_food": 27.5,
    "paper_card": 40,
    "plastic_film": 4.5,
    "plastic_dense": 2.5,
    "textiles": 2,
    "rubber_leather": 1,
    "wood": 2,
    "glass": 8,
    "ferrous": 7.5,
    "aluminium": 0.5,
    "other_nonferrous": 1.5,
    "fines": 3,
}
FRESH = (2025, 2025, 2025)


@pytest.fixture
def clean(assumptions):
    """Default assumptions for waste that was never in the ground: no soil sticks to it."""
    soil = assumptions["waste.adhering_soil"]
    return {**assumptions, "waste.adhering_soil": replace(soil, kind="fixed", numbers=(0.0,))}


@pytest.fixture
def raw(make_feed, assumptions, clean):
    assumptions.update(clean)

    def run(line, best, moisture):
        feed = make_feed(RAW_WASTE, moisture, FRESH)
        return feed, run_line(feed, line, assumptions, best)

    return run


def ncv_as_received(feed):
    dry = feed.dry_t.sum()
    ncv_dry = (feed.dry_t * feed.properties.ncv_dry_mj_kg).sum() / dry
    return float(net_as_received(ncv_dry, feed.moisture[0]))


def test_about_half_of_raw_waste_ends_as_fuel(raw, default_line, best) -> None:
    feed, products = raw(default_line, best, 0.2122)
    share = products.wet_t("fuel")[0] / feed.total_wet_t[0]
    assert 0.40 <= share <= 0.60


def test_fuel_has_about_twice_the_energy_per_tonne(raw, default_line, best) -> None:
    # At the middle of the book's range of moisture.
    feed, products = raw(default_line, best, 0.30)
    fuel = products.ncv_mj_kg[0, products.names.index("fuel")]
    assert 1.6 <= fuel / ncv_as_received(feed) <= 2.4


def test_fresh_waste_dries_on_its_own_heat(raw, default_line, best) -> None:
    # Velis et al. (2009): biodrying of fresh waste needs no bought heat; 25 to 30 % of the mass
    # goes as water and gas at the moisture of the trials; 10 to 20 % of volatile solids (from
    # memory) are lost.
    feed, products = raw(default_line, best, 0.30)
    assert products.drying.heat_bought_mwh[0] == 0
    lost = (products.water_lost_t + products.gas_lost_t)[0] / feed.total_wet_t[0]
    assert 0.20 <= lost <= 0.30
    volatile = (feed.dry_t * (1 - feed.properties.ash)).sum()
    assert 0.08 <= products.gas_lost_t[0] / volatile <= 0.20


def test_few_non_combustibles_stay_in_fuel(raw, default_line, best) -> None:
    # Under 1 % of non-combustible pieces in the fuel.
    _, products = raw(default_line, best, 0.30)
    assert products.purity[0, products.names.index("fuel")] > 0.99


def test_heavy_metal_mass_is_the_same_before_and_after_drying(raw, default_line, best) -> None:
    feed, products = raw(default_line, best, 0.30)
    assert products.gas_lost_t[0] > 0
    entering = (feed.dry_t * feed.properties.mercury_mg_kg).sum()
    leaving = np.nansum(products.mercury_mg_mj * products.ncv_mj_kg * products.product_wet_t)
    assert leaving == pytest.approx(entering, rel=1e-9)
    fed = np.einsum("dm,dmk->k", feed.dry_t, feed.properties.heavy_metals_mg_kg)
    made = np.einsum("dp,dpk->k", products.product_dry_t, products.heavy_metals_mg_kg)
    assert made == pytest.approx(fed, rel=1e-9)
    assert products.balance.elements < 1e-9


def test_sorted_glass_holds_at_most_25_g_of_foreign_matter_per_tonne(
    raw, default_line, best
) -> None:
    _, products = raw(default_line, best, 0.30)
    foreign = 1 - products.purity[0, products.names.index("glass")]
    assert 0 < foreign * 1e6 <= 25


def test_about_two_thirds_of_the_fuel_is_biogenic(raw, default_line, best) -> None:
    # Roughly two thirds biogenic, a tenth plastics, a quarter rubber and synthetics. The book's
    # waste of the 1970s has more paper and almost no synthetics, so its fuel is more biogenic and
    # the last figure is out of reach; a waste with shoes, carpets and nappies comes near.
    _, products = raw(default_line, best, 0.30)
    fuel = products.names.index("fuel")
    assert 0.60 <= products.biogenic_energy[0, fuel] <= 0.80
    assert 0.60 <= products.biogenic_mass[0, fuel] <= 0.85
    assert 0.05 <= share_of(products, "plastic_film", "plastic_dense") <= 0.20


# The same waste with a fifth of the paper and yard waste replaced by rubber, textiles and mixed
# composites, as in a household bin after paper and bio bins came in. Made up for this check.
SYNTHETIC_WASTE = {
    **RAW_WASTE,
    "paper_card": 30,
    "garden_food": 24,
    "textiles": 7,
    "rubber_leather": 5,
    "other_combustible": 4.5,
}


def test_fuel_of_waste_with_synthetics(make_feed, default_line, assumptions, clean, best) -> None:
    assumptions.update(clean)
    feed = make_feed(SYNTHETIC_WASTE, 0.30, FRESH)
    products = run_line(feed, default_line, assumptions, best)
    fuel = products.names.index("fuel")
    assert products.biogenic_energy[0, fuel] == pytest.approx(2 / 3, abs=0.10)
    assert share_of(products, "plastic_film", "plastic_dense") == pytest.approx(0.10, abs=0.08)
    synthetic = share_of(products, "rubber_leather", "textiles", "other_combustible")
    assert synthetic == pytest.approx(0.25, abs=0.08)


def share_of(products, *names):
    fuel = products.names.index("fuel")
    wet = products.dry_t[0, fuel] + products.water_t[0, fuel]
    return wet[np.isin(products.materials, names)].sum() / wet.sum()


def test_batteries_are_taken_from_the_ferrous_stream_by_hand(default_line) -> None:
    after_magnet = next(m for m in default_line.machines if m.name == "magnet").outlets["ferrous"]
    picking = next(m for m in default_line.machines if m.name == after_magnet)
    assert picking.kind == "ferrous_picking"
    assert picking.outlets == {"rest": "ferrous", "hazardous": "hazardous"}


def test_process_air_is_burnt_at_850_degrees() -> None:
    assert assumption_defaults()["plant.air_treatment_c"].quantity.mode == 850


def test_a_box_run_takes_about_seven_days() -> None:
    assert assumption_defaults()["plant.drying_days"].quantity.mode == 7


def test_old_waste_gives_little_heat_and_little_fuel(
    make_feed, default_line, assumptions, best
) -> None:
    # Not a fact of fresh waste: what is old has rotted. Published old fines hold the mass, and
    # drying trials on old waste took 24 days for want of heat (Halbenrain, Detritus).
    feed = make_feed()
    products = run_line(feed, default_line, assumptions, best)
    assert products.wet_t("fuel")[0] / feed.total_wet_t[0] < 0.30
    drying = products.drying
    assert drying.heat_own_mwh[0] < 0.1 * drying.heat_needed_mwh[0]
    assert drying.heat_bought_mwh[0] > 0.9 * drying.heat_needed_mwh[0]
    foreign = 1 - products.purity[0, products.names.index("glass")]
    assert foreign * 1e6 > 25
