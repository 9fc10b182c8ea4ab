"""Small hand-made sites for the hazards tests."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pandas as pd
import pytest
from shapely import MultiPolygon, box

from reclaim.assumptions import Draws, default_assumption
from reclaim.ground.excavation import ThicknessMap
from reclaim.hazards import ModelRun
from reclaim.reference import assumption_defaults, heavy_metals, material_names
from reclaim.site import HazardInputs
from reclaim.waste.feed import Feed, Properties

GAS_COLUMNS = ("core_id", "depth_m", "ch4_pct", "co2_pct", "o2_pct", "h2s_ppm", "co_ppm")


def gas_table(*rows: tuple[Any, ...]) -> pd.DataFrame:
    """Return a gas table; rows are core, depth, CH4, CO2, O2, H2S, CO, with flow left unread."""
    frame = pd.DataFrame(rows, columns=list(GAS_COLUMNS))
    for column in GAS_COLUMNS[1:]:
        frame[column] = frame[column].astype(float)
    return frame.assign(flow_l_h=np.nan, row=np.arange(2, 2 + len(frame)))


def collar_table(*cores: str, zone: str = "") -> pd.DataFrame:
    places = np.arange(len(cores), dtype=float)
    return pd.DataFrame(
        {"core_id": list(cores), "x_m": places, "y_m": places, "zone": [zone] * len(cores)}
    )


def log_table(*notes: str) -> pd.DataFrame:
    depths = np.arange(len(notes), dtype=float)
    return pd.DataFrame(
        {"core_id": "C1", "from_m": depths, "to_m": depths + 1.0, "layer": "waste", "note": notes}
    ).assign(row=np.arange(2, 2 + len(notes)))


def make_feed(*, hazardous_t: float = 0.0, degradable: float = 0.05) -> Feed:
    names = material_names()
    dry = np.full((1, len(names)), 1000.0)
    dry[0, names.index("hazardous")] = hazardous_t
    shape = dry.shape
    nothing = np.zeros(shape)
    return Feed(
        materials=names,
        dry_t=dry,
        water_t=nothing,
        bulk_density_t_m3=np.ones(1),
        cover_t=np.zeros(1),
        overdig_t=np.zeros(1),
        properties=Properties(
            ncv_dry_mj_kg=nothing,
            ash=nothing,
            chlorine=nothing,
            carbon=nothing,
            biogenic_carbon=nothing,
            mercury_mg_kg=nothing,
            degradable=np.full(shape, degradable),
            box_loss=nothing,
            heavy_metals_mg_kg=np.zeros((*shape, len(heavy_metals()))),
        ),
    )


def make_products(*, fuel_moisture: float = 0.10, dried_t: float = 15_000.0) -> Any:
    return SimpleNamespace(
        names=("fuel", "soil"),
        product_wet_t=np.array([[4000.0, 9000.0]]),
        moisture=np.array([[fuel_moisture, 0.2]]),
        drying=SimpleNamespace(
            feed_t=np.array([dried_t]),
            heat_bought_mwh=np.array([dried_t / 10.0]),
            solids_lost_t=np.array([dried_t / 1000.0]),
        ),
    )


def make_run(*, feed: Feed | None = None, products: Any = None) -> ModelRun:
    volumes = SimpleNamespace(waste_m3=np.array([15_000.0]))
    feed = feed or make_feed(hazardous_t=10.0)
    return ModelRun(volumes, feed, products or make_products(), Draws.best_estimate())


def make_dig(*, deepest_m: float = 9.0) -> Any:
    return SimpleNamespace(
        deepest_m=deepest_m, left_in_slopes_m3=np.array([500.0]), area_m2=np.array([10_000.0])
    )


def make_map(*, depth_m: float = 9.0, side_slope: float = 1.5, cell_m: float = 1.0) -> ThicknessMap:
    """Return a dig of 100 m by 100 m in level ground at 20 m, its rim at the edge."""
    cells = int(100 / cell_m)
    middle = (np.arange(cells) + 0.5) * cell_m
    rim_m = np.minimum(middle, 100 - middle)
    away_m = np.minimum(rim_m[:, None], rim_m[None, :])
    steep = np.full_like(away_m, depth_m) if side_slope == 0 else away_m / side_slope
    thickness = np.minimum(depth_m, steep)
    ground = np.full_like(thickness, 20.0)
    return ThicknessMap(0.0, 100.0, cell_m, cell_m, thickness, ground, ground - thickness)


def make_site(**changes: Any) -> Any:
    west, east = box(0, 0, 100, 100), box(100, 0, 120, 100)
    site = {
        "opened": 1955,
        "closed": 1987,
        "price_year": 2025,
        "climate": "temperate_wet",
        "side_slope": 1.5,
        "overdig_m": 0.3,
        "cores": SimpleNamespace(
            collars=collar_table("C1", "C2", zone="north"),
            intervals=log_table("dark fines", "no asbestos seen", "wet, sulphur smell, old tyres"),
            gas=gas_table(("C1", 2.0, 30.0, 25.0, 2.0, 12.0, 8.0)),
        ),
        "footprint": SimpleNamespace(
            outline=MultiPolygon([west]),
            as_given=MultiPolygon([west]),
            exclusions=MultiPolygon([east]),
        ),
        "assumptions": {
            key: default_assumption(default) for key, default in assumption_defaults().items()
        },
        "hazards": HazardInputs(),
        "files": {"gas": "gas.csv", "intervals": "logs.csv"},
    }
    return SimpleNamespace(**(site | changes))


@pytest.fixture
def empty_gas() -> pd.DataFrame:
    return gas_table()
