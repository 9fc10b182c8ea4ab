"""Made-up old dumps: rounded mounds of known volume on a tilted plain, as mosaic and layer."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import pytest
import rasterio
from shapely.geometry import Point

if TYPE_CHECKING:
    from pathlib import Path

CRS = "EPSG:32631"
WEST, NORTH = 500_000.0, 5_800_000.0
CELL_M = 2.0
PITCH_M = 240.0
SHARED = '[site]\ncurrency = "EUR"\nprice_year = 2025\n\n[plant]\nline = "mobile_small_site"\n'


@dataclass(frozen=True)
class Place:
    """A folder with ``ground.tif``, ``sites.gpkg`` and ``shared.toml``."""

    folder: Path

    @property
    def ground(self):
        return self.folder / "ground.tif"

    @property
    def layer(self):
        return self.folder / "sites.gpkg"

    @property
    def shared(self):
        return self.folder / "shared.toml"

    def arguments(self, *more):
        """Return a command line that screens the layer with few draws."""
        return [
            "portfolio",
            str(self.layer),
            "--survey",
            str(self.ground),
            "--shared",
            str(self.shared),
            "--draws",
            "32",
            *map(str, more),
        ]

    def change_layer(self, change):
        frame = gpd.read_file(self.layer)
        frame = change(frame)
        self.layer.unlink()
        frame.to_file(self.layer, layer="sites")

    def change_ground(self, change):
        with rasterio.open(self.ground, "r+") as raster:
            raster.write(change(raster.read(1)), 1)


def plain(x, y):
    """Ground before tipping: a tilted plain."""
    return 20 + 0.01 * (x - WEST) - 0.02 * (NORTH - y)


def centre(number):
    """Middle of the mound with a number, in rows of four."""
    row, column = divmod(number, 4)
    return WEST + (column + 0.5) * PITCH_M, NORTH - (row + 0.5) * PITCH_M


def make_place(folder, count=4, radius_m=60.0, height_m=8.0):
    """Write cones on a plain; mound `n` is ``height_m + n`` high."""
    rows = -(-count // 4)
    shape = int(rows * PITCH_M / CELL_M), int(4 * PITCH_M / CELL_M)
    x = WEST + (np.arange(shape[1]) + 0.5) * CELL_M
    y = NORTH - (np.arange(shape[0]) + 0.5) * CELL_M
    x, y = np.meshgrid(x, y)
    ground = plain(x, y)
    for number in range(count):
        x_0, y_0 = centre(number)
        share = 1 - np.hypot(x - x_0, y - y_0) / radius_m
        ground += np.maximum(share, 0) * (height_m + number)
    profile = {
        "driver": "GTiff",
        "height": shape[0],
        "width": shape[1],
        "count": 1,
        "dtype": "float32",
        "nodata": -9999.0,
        "crs": CRS,
        "transform": rasterio.Affine(CELL_M, 0, WEST, 0, -CELL_M, NORTH),
        "tiled": True,
        "blockxsize": 256,
        "blockysize": 256,
    }
    folder.mkdir(parents=True, exist_ok=True)
    with rasterio.open(folder / "ground.tif", "w", **profile) as raster:
        raster.write(ground.astype("float32"), 1)
    gpd.GeoDataFrame(
        {
            "name": [f"Tip {number + 1}" for number in range(count)],
            "closed": [1960 + 10 * (number % 4) for number in range(count)],
            "wetness": [None if number else 0.4 for number in range(count)],
        },
        geometry=[Point(centre(n)).buffer(radius_m, quad_segs=32) for n in range(count)],
        crs=CRS,
    ).to_file(folder / "sites.gpkg", layer="sites")
    (folder / "shared.toml").write_text(SHARED, encoding="utf-8")
    return Place(folder)


@pytest.fixture(scope="session")
def make_county():
    """Return `make_place`."""
    return make_place


@pytest.fixture
def place_of(tmp_path):
    """Return a function that makes a county with as many mounds as asked for."""
    return lambda count: make_place(tmp_path / "county", count)


@pytest.fixture
def place(tmp_path):
    return make_place(tmp_path / "county")
