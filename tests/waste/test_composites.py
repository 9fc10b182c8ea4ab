from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from reclaim.reference import material_names
from reclaim.site import Cores
from reclaim.waste import core_composites


def cores(samples, intervals, zones=None):
    """Core tables by hand; samples are (core, from, to, moisture, density, {material: kg})."""
    ids = sorted({row[0] for row in intervals})
    rows = []
    for core_id, top, bottom, moisture, density, masses in samples:
        row = dict.fromkeys(material_names(), 0.0) | masses
        rows.append(
            {
                "core_id": core_id,
                "from_m": top,
                "to_m": bottom,
                "wet_mass_kg": sum(masses.values()),
                "moisture": moisture,
                "bulk_density_t_m3": density,
                **row,
            }
        )
    return Cores(
        collars=pd.DataFrame(
            {
                "core_id": ids,
                "zone": [(zones or {}).get(i, "") for i in ids],
                "x_m": 10.0 * np.arange(len(ids)),
                "y_m": 0.0,
                "elevation_m": 20.0,
                "method": "auger",
                "diameter_mm": 900.0,
            }
        ),
        intervals=pd.DataFrame(intervals, columns=["core_id", "from_m", "to_m", "layer"]),
        samples=pd.DataFrame(rows),
        lab=pd.DataFrame(),
        gas=pd.DataFrame(),
    )


NAN = float("nan")
GLASS = material_names().index("glass")


def test_samples_count_by_length_not_by_their_own_mass() -> None:
    found = core_composites(
        cores(
            [
                ("A", 0.0, 3.0, 0.2, NAN, {"glass": 10.0}),
                ("A", 3.0, 4.0, 0.4, NAN, {"fines": 990.0}),
            ],
            [("A", 0.0, 4.0, "waste")],
        )
    )
    assert found.wet_fraction[0, GLASS] == pytest.approx(0.75)
    assert found.moisture[0] == pytest.approx(0.25)
    assert np.isnan(found.bulk_density_t_m3[0])
    assert found.weight[0] == 4.0


def test_density_weights_samples_and_cores() -> None:
    found = core_composites(
        cores(
            [
                ("A", 0.0, 2.0, NAN, 0.5, {"glass": 1.0}),
                ("A", 2.0, 4.0, NAN, 1.5, {"fines": 1.0}),
                ("B", 0.0, 2.0, NAN, 2.0, {"fines": 1.0}),
            ],
            [("A", 0.0, 4.0, "waste"), ("B", 0.0, 2.0, "waste")],
        )
    )
    assert found.wet_fraction[0, GLASS] == pytest.approx(0.25)
    np.testing.assert_allclose(found.bulk_density_t_m3, [1.0, 2.0])
    np.testing.assert_allclose(found.weight, [4.0, 4.0])


def test_only_the_part_in_waste_counts() -> None:
    found = core_composites(
        cores(
            [("A", 0.0, 2.0, NAN, NAN, {"glass": 1.0}), ("A", 2.0, 3.0, NAN, NAN, {"fines": 1.0})],
            [("A", 0.0, 1.0, "cover"), ("A", 1.0, 3.0, "waste"), ("A", 3.0, 5.0, "natural")],
        )
    )
    assert found.sampled_m[0] == 2.0
    assert found.waste_m[0] == 2.0
    assert found.wet_fraction[0, GLASS] == pytest.approx(0.5)


def test_cores_without_waste_samples_are_left_out() -> None:
    found = core_composites(
        cores(
            [("A", 0.0, 1.0, NAN, NAN, {"glass": 1.0}), ("B", 0.0, 1.0, NAN, NAN, {"glass": 1.0})],
            [("A", 0.0, 1.0, "waste"), ("B", 0.0, 1.0, "natural")],
            {"A": "north"},
        )
    )
    assert found.core_ids == ("A",)
    assert found.zones == ("north",)


def test_no_samples_at_all() -> None:
    empty = cores([("A", 0.0, 1.0, NAN, NAN, {"glass": 1.0})], [("A", 0.0, 1.0, "natural")])
    found = core_composites(empty)
    assert len(found) == 0
    assert found.wet_fraction.shape == (0, len(material_names()))
