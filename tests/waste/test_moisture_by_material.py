"""Moisture of materials that were dried one by one."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from reclaim.reference import material_names
from reclaim.waste import (
    core_composites,
    layer_composites,
    material_moisture,
    measured_moistures,
    moisture_pattern,
    study_cores,
)

WOOD, GLASS, PAPER = (material_names().index(name) for name in ("wood", "glass", "paper_card"))


@pytest.fixture
def cores(make_cores):
    """Two cores; in one, wood and glass were dried by themselves, wood twice."""
    masses = {"wood": 40.0, "glass": 20.0, "paper_card": 40.0}
    made = make_cores(
        [(name, 1.0, 3.0, 0.3, masses) for name in ("A", "B")],
        [(name, 1.0, 3.0, "waste", "") for name in ("A", "B")],
    )
    dried = pd.DataFrame(
        [
            ("A", 1.0, 3.0, "glass", 20.0, 0.02),
            ("A", 1.0, 3.0, "wood", 30.0, 0.5),
            ("A", 3.0, 5.0, "wood", 10.0, 0.3),
        ],
        columns=["core_id", "from_m", "to_m", "material", "wet_mass_kg", "moisture"],
    )
    return replace(made, material_moisture=dried)


def test_measured_moistures_are_weighted_by_mass(cores) -> None:
    found = measured_moistures(cores)
    assert list(found["material"]) == ["wood", "glass"]  # in reference order
    np.testing.assert_allclose(found["moisture"], [(15 + 3) / 40, 0.02])
    assert list(found["samples"]) == [2, 1]


def test_measured_materials_keep_their_moisture_and_others_follow(cores) -> None:
    found, typical = moisture_pattern(cores), moisture_pattern()
    assert found[WOOD] == pytest.approx(0.45)
    assert found[GLASS] == pytest.approx(0.02)
    # By hand: 18.4 kg of water in 22 kg of dry wood and 19.6 kg of dry glass; the typical
    # moistures, 0.32 and 0.03 on wet mass, would put 22 x 0.32 / 0.68 + 19.6 x 0.03 / 0.97 there.
    factor = 18.4 / (22 * 0.32 / 0.68 + 19.6 * 0.03 / 0.97)
    water = factor * typical[PAPER] / (1 - typical[PAPER])
    assert found[PAPER] == pytest.approx(water / (1 + water))


def test_the_composites_and_layers_take_the_measured_pattern(cores) -> None:
    composites = core_composites(cores)
    np.testing.assert_array_equal(composites.moisture_pattern, moisture_pattern(cores))
    layers = layer_composites(cores)
    wet = np.zeros(len(material_names()))
    wet[[WOOD, GLASS, PAPER]] = [0.4, 0.2, 0.4]
    water = material_moisture(wet[None], moisture_pattern(cores), np.array([0.3]))[0]
    dry = layers[layers["basis"] == "dry"].iloc[0]
    assert dry["wood"] == pytest.approx(0.4 * (1 - water[WOOD]) / 0.7, rel=1e-9)
    # With the typical pattern glass would carry more of the water.
    usual = material_moisture(wet[None], moisture_pattern(), np.array([0.3]))[0]
    assert usual[GLASS] > 1.3 * water[GLASS]


def test_a_sample_dried_whole_says_nothing_of_its_materials(cores) -> None:
    whole = replace(cores, material_moisture=cores.material_moisture.iloc[:0])
    assert measured_moistures(whole).empty
    np.testing.assert_array_equal(moisture_pattern(whole), moisture_pattern())


def test_the_study_hands_them_on(cores) -> None:
    study = study_cores(cores, core_composites(cores), seed=1, lift_m=3.0)
    assert list(study.moistures["material"]) == ["wood", "glass"]
