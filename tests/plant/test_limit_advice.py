"""Limits recomputed material by material, and advice followed to see where it leads."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest

from reclaim.assumptions import Draws
from reclaim.plant import check_limits, run_line
from reclaim.reference import heavy_metals, materials

# ISO 21640 and EN 15359 state fuels as received: q_ar = q_dry (1 - w) - 2.443 MJ/kg w, with the
# heat of vaporisation of ISO 21654 (from memory).
VAPORISATION_MJ_KG = 2.443
STEP = re.compile(r"(all|\d+%) of the ([a-z, -]+?) \(([\d.,e-]+) t\)")
LABELS = {item.label.lower(): number for number, item in enumerate(materials())}


@pytest.fixture(autouse=True)
def whole_advice(monkeypatch):
    monkeypatch.setattr("reclaim.plant.limits._MOST_STEPS", 30)


@pytest.fixture
def feed(make_feed):
    return make_feed()


@pytest.fixture
def best(feed, default_line, assumptions):
    return run_line(feed, default_line, assumptions, Draws.best_estimate())


@pytest.fixture
def many(make_feed, default_line, assumptions):
    draws = Draws(40, seed=1)
    return run_line(make_feed(draws=draws), default_line, assumptions, draws)


def with_value(products, field, name, value):
    """Return products of which one says another number."""
    changed = getattr(products, field).copy()
    changed[0, products.names.index(name)] = value
    return replace(products, **{field: changed})


def check_of(best, many, feed, product, quantity):
    checks = check_limits(best, many, feed.properties)
    return next(c for c in checks if (c.product, c.quantity) == (product, quantity))


def kept_after(advice, wet):
    """Return the share of each material that stays when the advice is followed."""
    kept = np.ones(len(LABELS))
    steps = STEP.findall(advice)
    assert steps
    for part, label, tonnes in steps:
        share = 1.0 if part == "all" else float(part[:-1]) / 100
        kept[LABELS[label]] -= share
        taken = share * wet[LABELS[label]]
        assert float(tonnes.replace(",", "")) == pytest.approx(taken, rel=0.05)
    return kept


def test_contents_are_counted_material_by_material(feed, best, many) -> None:
    groups = {item.name: {item.name, item.group} for item in materials()}
    expected = {
        ("fuel", "content"): {name for name in groups if groups[name] & {"metal", "mineral"}},
        ("ferrous", "foreign"): set(groups) - {"ferrous"},
    }
    for (product, quantity), counted in expected.items():
        check = check_of(best, many, feed, product, quantity)
        assert set(check.materials) == counted
        place = many.names.index(product)
        shares = []
        for products in (best, many):
            wet = products.dry_t[:, place] + products.water_t[:, place]
            part = sum(wet[:, products.materials.index(name)] for name in sorted(counted))
            shares.append(part / wet.sum(axis=1))
        assert check.value == pytest.approx(float(shares[0][0]))
        assert [check.low, check.high] == pytest.approx(np.quantile(shares[1], [0.1, 0.9]))
        assert check.chance == np.count_nonzero(shares[1] <= check.limit) / 40
        assert check.margin == pytest.approx(1 - check.value / check.limit)


def test_moisture_and_purity_are_counted_product_by_product_and_draw_by_draw(many) -> None:
    meant = {"ferrous": {"ferrous"}, "glass": {"glass"}}
    for place, name in enumerate(many.names):
        for draw in (0, 7):
            dry, water = many.dry_t[draw, place], many.water_t[draw, place]
            wet = sum(dry) + sum(water)
            assert many.moisture[draw, place] == pytest.approx(sum(water) / wet)
            assert many.wet_t(name)[draw] == pytest.approx(wet)
            assert many.product_dry_t[draw, place] == pytest.approx(sum(dry))
            if name in meant:
                places = [many.materials.index(one) for one in meant[name]]
                good = sum(dry[places]) + sum(water[places])
                assert many.purity[draw, place] == pytest.approx(good / wet)
    assert np.isnan(many.purity[:, many.names.index("residue")]).all()


def test_a_floor_is_kept_by_more_and_a_ceiling_by_less(feed, best, many) -> None:
    heat = check_of(best, many, feed, "fuel", "ncv")
    assert not heat.is_maximum
    assert heat.margin == pytest.approx(heat.value / heat.limit - 1)
    assert heat.chance == np.mean(many.ncv_mj_kg[:, many.names.index("fuel")] >= heat.limit)
    for off, passes in ((-0.01, False), (0.0, True), (0.01, True)):
        changed = with_value(best, "ncv_mj_kg", "fuel", heat.limit + off)
        assert check_of(changed, many, feed, "fuel", "ncv").passes is passes
    for off, passes in ((-0.001, True), (0.0, True), (0.001, False)):
        changed = with_value(best, "chlorine", "fuel", 0.01 + off)
        assert check_of(changed, many, feed, "fuel", "chlorine").passes is passes


def test_a_product_that_is_not_made_is_not_held_against_limits(feed, best, many) -> None:
    place = best.names.index("glass")
    dry, water = best.dry_t.copy(), best.water_t.copy()
    dry[:, place] = water[:, place] = 0.0
    none = replace(best, dry_t=dry, water_t=water)
    names = {check.product for check in check_limits(none, many, feed.properties)}
    assert "glass" not in names
    assert "fuel" in names


def test_drying_off_the_water_named_meets_the_limit(feed, best, many) -> None:
    place = best.names.index("fuel")
    water = best.water_t.copy()
    water[0, place] *= 3
    damp = replace(best, water_t=water)
    check = check_of(damp, many, feed, "fuel", "moisture")
    off, share = re.search(r"another ([\d.,]+) t of water \((\d+)%", check.what_would_help).groups()
    left = water[0, place].sum() - float(off.replace(",", ""))
    dry = best.dry_t[0, place].sum()
    assert left / (left + dry) == pytest.approx(0.2, rel=0.01)
    whole = dry + water[0, place].sum()
    assert float(share) / 100 == pytest.approx(float(off.replace(",", "")) / whole, abs=0.005)


def test_fuel_as_dry_as_advised_has_the_heat_of_the_limit(feed, best, many) -> None:
    damp = with_value(best, "ncv_mj_kg", "fuel", 14.0)
    check = check_of(damp, many, feed, "fuel", "ncv")
    moisture = float(re.search(r"Dry it to (\d+)% water", check.what_would_help)[1]) / 100
    dry_heat = float(best.ncv_dry_mj_kg[0, best.names.index("fuel")])
    heat = dry_heat * (1 - moisture) - VAPORISATION_MJ_KG * moisture
    assert heat == pytest.approx(check.limit, abs=0.005 * (dry_heat + VAPORISATION_MJ_KG))


def test_fuel_too_poor_when_dry_is_told_what_to_take_out(feed, best, many) -> None:
    # Drying can not help where dry matter itself is below the limit of 15 MJ/kg: stones are
    # taken out until the rest, dry, has the heat.
    place = best.names.index("fuel")
    dry, water = best.dry_t.copy(), best.water_t.copy()
    stone = best.materials.index("stone_ceramic")
    dry[0, place, stone] += 2 * dry[0, place].sum()
    heats = feed.properties.ncv_dry_mj_kg[0]
    dry_heat = float((dry[0, place] * heats).sum() / dry[0, place].sum())
    assert dry_heat < 15
    poor = replace(best, dry_t=dry, water_t=water)
    poor = with_value(with_value(poor, "ncv_dry_mj_kg", "fuel", dry_heat), "ncv_mj_kg", "fuel", 5.0)
    check = check_of(poor, many, feed, "fuel", "ncv")
    kept = kept_after(check.what_would_help, (dry + water)[0, place])
    rest = dry[0, place] * kept
    assert (rest * heats).sum() / rest.sum() == pytest.approx(15, rel=0.02)


def test_mercury_by_heat_meets_the_limit_when_the_advice_is_followed(feed, best, many) -> None:
    # A limit in mg/MJ: what is taken out takes its mercury and its heat as received with it.
    place = best.names.index("fuel")
    dry, water = best.dry_t[0, place], best.water_t[0, place]
    over = with_value(best, "mercury_median_mg_mj", "fuel", 0.06)
    check = check_of(over, many, feed, "fuel", "mercury_median")
    kept = kept_after(check.what_would_help, dry + water)
    mercury = dry * feed.properties.mercury_mg_kg[0]
    heat = dry * feed.properties.ncv_dry_mj_kg[0] - VAPORISATION_MJ_KG * water
    ratio = (mercury * kept).sum() / (heat * kept).sum() / (mercury.sum() / heat.sum())
    assert 0.06 * ratio == pytest.approx(0.05, rel=0.02)


def test_copper_meets_the_limit_when_the_advice_is_followed(feed, best, many) -> None:
    place = best.names.index("soil")
    dry, water = best.dry_t[0, place], best.water_t[0, place]
    check = check_of(best, many, feed, "soil", "copper")
    assert check.limit < check.value
    metal = list(heavy_metals()).index("copper")
    assert check.value == best.heavy_metals_mg_kg[0, place, metal]
    kept = kept_after(check.what_would_help, dry + water)
    copper = dry * feed.properties.heavy_metals_mg_kg[0, :, metal]
    ratio = (copper * kept).sum() / (dry * kept).sum() / (copper.sum() / dry.sum())
    assert check.value * ratio == pytest.approx(check.limit, rel=0.03)


def test_a_target_over_the_limit_by_itself_can_not_be_sorted(feed, best, many) -> None:
    check = check_of(best, many, feed, "soil", "zinc")
    place = best.names.index("soil")
    metal = list(heavy_metals()).index("zinc")
    zinc = feed.properties.heavy_metals_mg_kg[0, :, metal]
    scale = check.value / ((best.dry_t[0, place] * zinc).sum() / best.dry_t[0, place].sum())
    assert zinc[best.materials.index("fines")] * scale > check.limit
    assert check.what_would_help.startswith("Sorting does not help: the soil-like fines")


def test_long_advice_names_the_worst_and_counts_the_rest(feed, best, many, monkeypatch) -> None:
    whole = STEP.findall(check_of(best, many, feed, "nonferrous", "foreign").what_would_help)
    monkeypatch.setattr("reclaim.plant.limits._MOST_STEPS", 4)
    short = check_of(best, many, feed, "nonferrous", "foreign").what_would_help
    assert STEP.findall(short) == whole[:4]
    assert short.endswith(f" and a little of {len(whole) - 4} more.")
    monkeypatch.setattr("reclaim.plant.limits._MOST_STEPS", len(whole))
    assert "more" not in check_of(best, many, feed, "nonferrous", "foreign").what_would_help
