"""A small synthetic site, right in every way, that a test spoils in one.

Survey and base are planes, so every elevation can be worked out by hand: with u and v the metres
east and north of the south-west corner, survey = 20 + 0.02 u + 0.01 v and base = 12 + 0.01 u.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
import pytest

from reclaim.site import Check, Site, SiteError, read_core_tables, read_site

if TYPE_CHECKING:
    from pathlib import Path

    from reclaim.site.reading import CoreSite

WEST, SOUTH, WIDTH, HEIGHT = 500_000.0, 5_400_000.0, 120, 100
CRS = "EPSG:32633"

SITE = """\
[site]
name = "Small Tip"
currency = "EUR"
price_year = 2025
opened = 1961
closed = 1987

[footprint]
file = "footprint.geojson"

[surfaces]
survey = "survey.tif"
base = "base.tif"
cover_m = 0.5

[excavation]
lift_m = 2.5

[cores]
collars = "collars.csv"
intervals = "intervals.csv"
samples = "samples.csv"
lab = "lab.csv"
gas = "gas.csv"

[waste]
moisture = { low = 0.2, mode = 0.3, high = 0.4 }

[waste.names]
"Film & bags" = "plastic_film"

[uncertainty]
draws = 50
seed = 7
"""

COLLARS = """\
core_id,x,y,elevation_m,depth_m,drilled_on,method,diameter_mm
A,500020,5400020,20.6,9.4,2024-05-01,auger,900
B,500100,5400020,22.2,10.2,2024-05-01,auger,900
C,500020,5400080,21.2,10.0,2024-05-02,auger,900
D,500100,5400080,22.8,10.8,2024-05-02,auger,900
"""

INTERVALS = """\
core_id,from_m,to_m,layer,note
A,0,0.5,cover,clayey soil
A,0.5,8.4,waste,
A,8.4,9.4,natural,sand
B,0,0.5,cover,
B,0.5,9.2,waste,
B,9.2,10.2,natural,
C,0,0.5,cover,
C,0.5,9.0,waste,
C,9.0,10.0,natural,
D,0,0.5,cover,
D,0.5,9.8,waste,
D,9.8,10.8,natural,
"""

SAMPLES = """\
core_id,from_m,to_m,wet_mass_kg,moisture,bulk_density_t_m3,Film & bags,wood,glass,fines
A,1,4,100,0.30,1.1,20,10,10,60
A,4,8,80,0.25,,16,8,8,48
B,1,8,100,0.35,1.2,10,10,20,60
C,1,8,100,,,20,10,10,60
D,1,8,100,0.30,1.0,20,10,10,60
"""

LAB = """\
core_id,from_m,to_m,ncv_mj_kg,ash,chlorine,mercury_mg_kg
A,1,4,8.5,0.45,0.006,0.4
"""

GAS = """\
core_id,depth_m,ch4_pct,co2_pct,o2_pct,h2s_ppm,co_ppm,flow_l_h
A,3,35,28,0.5,12,3,-0.2
B,3,12,18,4,0,0,0.1
"""


@dataclass
class SmallSite:
    """Files of the site as text, and the rasters as arrays; change them, then `read`."""

    folder: Path
    toml: str = SITE
    tables: dict[str, str] = field(
        default_factory=lambda: {
            "collars.csv": COLLARS,
            "intervals.csv": INTERVALS,
            "samples.csv": SAMPLES,
            "lab.csv": LAB,
            "gas.csv": GAS,
        }
    )
    footprint: list[tuple[dict[str, object], list[list[list[float]]]]] = field(
        default_factory=lambda: [({"cell": "all"}, [SmallSite.square(10, 10, 110, 90)])]
    )
    footprint_crs: str | None = CRS

    def __post_init__(self) -> None:
        self.write_raster("survey.tif", 1.0, lambda u, v: 20 + 0.02 * u + 0.01 * v)
        self.write_raster("base.tif", 2.0, lambda u, _: 12 + 0.01 * u)

    @staticmethod
    def square(west: float, south: float, east: float, north: float) -> list[list[float]]:
        """Return a closed ring from metres east and north of the corner."""
        u, v = [west, east, east, west, west], [south, south, north, north, south]
        return [[WEST + x, SOUTH + y] for x, y in zip(u, v, strict=True)]

    def write_raster(
        self, name, cell, value, *, crs=CRS, west=0.0, south=0.0, transform=None, **profile
    ) -> None:
        """Write `value(u, v)` at the cell centres of a raster of 120 by 100 m."""
        import rasterio
        from affine import Affine

        rows, columns = int(HEIGHT / cell), int(WIDTH / cell)
        u = west + (np.arange(columns) + 0.5) * cell
        v = south + HEIGHT - (np.arange(rows) + 0.5) * cell
        values = np.broadcast_to(value(u[None, :], v[:, None]), (rows, columns))
        transform = transform or Affine(cell, 0, WEST + west, 0, -cell, SOUTH + south + HEIGHT)
        profile = {"dtype": "float64", "nodata": -9999.0, **profile}
        with rasterio.open(
            self.folder / name,
            "w",
            driver="GTiff",
            width=columns,
            height=rows,
            count=1,
            crs=crs,
            transform=transform,
            **profile,
        ) as file:
            file.write(values.astype(profile["dtype"]), 1)

    def edit(self, old: str, new: str, file: str = "site.toml") -> None:
        """Replace text that must be there, in the site file or in a table."""
        text = self.toml if file == "site.toml" else self.tables[file]
        assert old in text, f"{old!r} is not in {file}"
        if file == "site.toml":
            self.toml = text.replace(old, new, 1)
        else:
            self.tables[file] = text.replace(old, new, 1)

    def write(self) -> Path:
        for name, text in self.tables.items():
            (self.folder / name).write_text(text, encoding="utf-8")
        self.write_polygons("footprint.geojson", self.footprint)
        path = self.folder / "site.toml"
        path.write_text(self.toml, encoding="utf-8")
        return path

    def write_polygons(self, name: str, features) -> None:
        document = {
            "type": "FeatureCollection",
            "features": [
                {
                    "type": "Feature",
                    "properties": properties,
                    "geometry": {"type": "Polygon", "coordinates": rings},
                }
                for properties, rings in features
            ],
        }
        if self.footprint_crs is not None:
            name_of_crs = f"urn:ogc:def:crs:{self.footprint_crs.replace(':', '::')}"
            document["crs"] = {"type": "name", "properties": {"name": name_of_crs}}
        (self.folder / name).write_text(json.dumps(document), encoding="utf-8")

    def read(self) -> Site:
        return read_site(self.write())

    def read_core_tables(self) -> CoreSite:
        return read_core_tables(self.write())

    def errors(self) -> list[str]:
        """Return the messages of the errors, which there must be."""
        with pytest.raises(SiteError) as caught:
            self.read()
        assert caught.value.exit_code == 2
        messages = [str(check) for check in caught.value.checks]
        assert all(str(self.folder) not in message for message in messages)
        assert all(check.what_to_do for check in caught.value.checks)
        return messages

    def warnings(self) -> list[str]:
        return [str(check) for check in self.checks("warning")]

    def checks(self, level: str) -> list[Check]:
        return [check for check in self.read().checks if check.level == level]


@pytest.fixture
def site(tmp_path: Path) -> SmallSite:
    return SmallSite(tmp_path)
