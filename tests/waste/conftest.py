"""Core tables and composites made by hand or from a known law."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from reclaim.geostatistics import CovarianceModel
from reclaim.reference import material_names
from reclaim.site import Cores
from reclaim.waste import Blocks, CoreComposites, moisture_pattern

N = len(material_names())


@pytest.fixture
def make_composites():
    """Return a function that makes composites whose log-ratios follow a known covariance."""

    def make(places, *, zones=None, range_m=150.0, nugget=0.05, sill=0.25, seed=0):
        rng = np.random.default_rng(seed)
        count = len(places)
        logs = np.log(np.linspace(1, 10, N)) + np.zeros((count, N))
        if sill > 0:
            model = CovarianceModel("spherical", sill * (1 - nugget), range_m, sill * nugget)
            root = np.linalg.cholesky(model.between(places, places) + 1e-9 * np.eye(count))
            logs = logs + root @ rng.standard_normal((count, N))
        shares = np.exp(logs)
        return CoreComposites(
            core_ids=tuple(f"C{i}" for i in range(count)),
            zones=tuple(zones or ["a"] * count),
            places_m=np.asarray(places, dtype=float),
            wet_fraction=shares / shares.sum(axis=1, keepdims=True),
            moisture=rng.uniform(0.25, 0.40, count),
            bulk_density_t_m3=rng.uniform(0.9, 1.3, count),
            waste_m=np.full(count, 5.0),
            sampled_m=np.full(count, 5.0),
            weight=np.full(count, 5.5),
            samples=np.full(count, 2),
            sorted_kg=np.full(count, 150.0),
            narrow=np.zeros(count, dtype=bool),
            of_unknown_width=np.zeros(count, dtype=bool),
            moisture_pattern=moisture_pattern(),
        )

    return make


@pytest.fixture
def blocks():
    """A dig of 400 by 400 m in blocks of 20 m, west half zone 0, east half zone 1."""
    middle = np.arange(10.0, 400, 20)
    places = np.stack(np.meshgrid(middle, middle), axis=-1).reshape(-1, 2)
    return Blocks(places, (places[:, 0] > 200).astype(int), np.full(400, 2000.0), (20.0, 20.0))


@pytest.fixture
def make_cores():
    """Return a function that makes core tables; samples are (core, from, to, moisture, {kg})."""

    def make(samples, intervals, places=None, zones=None, lab=None):
        ids = sorted({row[0] for row in intervals})
        rows = [
            {
                "core_id": core_id,
                "from_m": top,
                "to_m": bottom,
                "wet_mass_kg": sum(masses.values()),
                "moisture": moisture,
                "bulk_density_t_m3": np.nan,
                **(dict.fromkeys(material_names(), 0.0) | masses),
            }
            for core_id, top, bottom, moisture, masses in samples
        ]
        return Cores(
            collars=pd.DataFrame(
                {
                    "core_id": ids,
                    "zone": [(zones or {}).get(i, "") for i in ids],
                    "x_m": [(places or {}).get(i, (10.0 * n, 0.0))[0] for n, i in enumerate(ids)],
                    "y_m": [(places or {}).get(i, (10.0 * n, 0.0))[1] for n, i in enumerate(ids)],
                    "elevation_m": 20.0,
                    "method": "auger",
                    "diameter_mm": 900.0,
                }
            ),
            intervals=pd.DataFrame(
                intervals, columns=["core_id", "from_m", "to_m", "layer", "note"]
            ),
            samples=pd.DataFrame(rows),
            lab=pd.DataFrame(lab or [], columns=["core_id", "from_m", "to_m", "ncv_mj_kg", "ash"]),
            gas=pd.DataFrame(),
        )

    return make
