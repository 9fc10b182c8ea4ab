"""Bulk values of a mix from its materials' reference values, added up by hand."""

from __future__ import annotations

import numpy as np
import pytest

from reclaim.assumptions import Draws
from reclaim.waste.bulk_properties import bulk_of_materials


def test_bulk_values_are_means_by_dry_mass(make_feed) -> None:
    feed = make_feed(draws=Draws(3, seed=1))
    found = bulk_of_materials(feed)
    for draw in range(3):
        dry, water = feed.dry_t[draw], feed.water_t[draw]
        for name, field in (
            ("ash", "ash"), ("chlorine", "chlorine"), ("mercury_mg_kg", "mercury_mg_kg"),
        ):  # fmt: skip
            mean = sum(dry * getattr(feed.properties, field)[draw]) / sum(dry)
            assert found[name][draw] == pytest.approx(mean)
        # ISO 21640 and EN 15359: as received less 2.443 MJ for each kilogram of water (ISO 21654,
        # from memory).
        heat = sum(dry * feed.properties.ncv_dry_mj_kg[draw]) - 2.443 * sum(water)
        assert found["ncv_mj_kg"][draw] == pytest.approx(heat / (sum(dry) + sum(water)))


def test_bulk_of_a_single_material_is_its_own(make_feed) -> None:
    feed = make_feed({"wood": 1.0}, moisture=0.25)
    found = bulk_of_materials(feed)
    wood = feed.materials.index("wood")
    assert found["ash"][0] == pytest.approx(feed.properties.ash[0, wood])
    assert np.all(found["ncv_mj_kg"] < feed.properties.ncv_dry_mj_kg[0, wood] * 0.76)
