"""Make the files of the demo site, an invented old dump called Marrow Fen Tip.

Run ``python demo_site/make_demo_site.py`` to rewrite every data file of this folder, always alike.
Positions are east and north offsets [m] from ``CENTRE``. The ground before tipping and the mound
are plain functions of position, so grids and cores are read off one truth. Random numbers come
from ``RandomState``, whose stream is frozen for all numpy versions (NEP 19).
"""

from __future__ import annotations

import csv
import json
import sys
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import rasterio
import shapely
from numpy.random import RandomState

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    Array = np.typing.NDArray[np.float64]
    Grid = tuple[float, float, int, int, float]  # west, north, rows, columns, cell [m]

CRS = "EPSG:32631"
CENTRE = (493_400.0, 5_973_000.0)  # open sea, so that the numbers point at nobody's land
COMPOUND = shapely.Polygon([(84, -52), (118, -46), (115, -22), (96, -24), (82, -27)])  # gas flare
CORES = (  # east and north as pegged out
    (-52, 146), (14, 152), (63, 118), (-80, 88), (-31, 98), (22, 84), (91, 64), (-66, 44), (31, 38),
    (-102, -12), (-37, -22), (24, -31), (-78, -71), (62, -79), (-14, -92), (-41, -136), (33, -141),
)  # fmt: skip
REFUSED = 8  # this core, counted from 0, stopped before the base
REMARKS = {  # (core, depth [m]): what the driller added
    ("MF03", 2.5): "No asbestos seen",
    ("MF05", 3.5): "Cement sheet fragments, asbestos suspected",
    ("MF09", 5.5): "Refused on concrete, base not reached",
    ("MF12", 5.0): "Strong odour",
    ("MF14", 7.5): "Wet from 7.5 m",
    ("MF16", 2.0): "Drum, crushed, empty",
}
COVER_WORDS = ("Brown silty clay, roots at top", "Clay with brick rubble, stiff", "Loamy clay")
WASTE_WORDS = {  # last year of tipping to which the words apply
    1967: ("Black ash and clinker, bottles, rust", "Dark grey sooty fill, pottery, tins, brick"),
    1979: ("Dark brown soily fill, rags, wood, wire", "Grey-brown fill, rubble, tins, some film"),
    1987: ("Bags and sheet plastic, loose, wet paper", "Household fill in bags, paper legible"),
}
MATERIALS = {  # "Film & bags" is the lab's own word, explained in site.toml
    # mean [% wet], coefficient of variation, trend of log share 1974-87; dry: NCV, ash, chlorine
    "paper_card": (3.6, 0.85, 0.35, 13.0, 0.25, 0.003),
    "wood": (4.6, 0.85, 0.05, 16.0, 0.10, 0.002),
    "garden_food": (1.8, 0.70, 0.50, 12.0, 0.35, 0.004),
    "textiles": (3.0, 0.80, 0.10, 16.0, 0.20, 0.005),
    "rubber_leather": (1.2, 0.80, 0.05, 22.0, 0.25, 0.012),
    "Film & bags": (4.3, 0.45, 0.50, 27.0, 0.30, 0.008),
    "plastic_dense": (3.2, 0.45, 0.40, 28.0, 0.15, 0.025),
    "ferrous": (2.3, 0.60, 0.05, 0.0, 1.00, 0.0),
    "aluminium": (0.5, 1.10, 0.40, 0.0, 1.00, 0.0),
    "other_nonferrous": (0.2, 1.20, -0.05, 0.0, 1.00, 0.0),
    "glass": (2.2, 0.60, -0.10, 0.0, 1.00, 0.0),
    "stone_ceramic": (10.0, 0.60, -0.10, 0.0, 1.00, 0.0),
    "fines": (57.0, 0.36, -0.12, 3.2, 0.82, 0.002),
    "hazardous": (0.6, 0.90, 0.0, 3.0, 0.80, 0.010),  # in one sample out of three
    "other_combustible": (1.4, 0.70, 0.20, 15.0, 0.25, 0.010),
    "other_inert": (2.6, 0.70, 0.0, 0.0, 1.00, 0.0),
}
MEAN, SPREAD, TREND, *LAB = np.array(list(MATERIALS.values())).T
NAMES = list(MATERIALS)


def waves(seed: int, wavelength_m: float, sd_m: float) -> Callable[[Array, Array], Array]:
    """Return a smooth random field as a function of position: a sum of plane waves."""
    random, count = RandomState(seed), 40
    angle, phase = random.uniform(0, 2 * np.pi, (2, count))
    number = 2 * np.pi / (wavelength_m * random.uniform(0.7, 1.6, count))

    def field(east: Array, north: Array) -> Array:
        along = (east * np.cos(a) + north * np.sin(a) for a in angle)
        total = sum(np.cos(k * x + p) for k, x, p in zip(number, along, phase, strict=True))
        return np.asarray(sd_m * np.sqrt(2 / count) * total)

    return field


def outline() -> shapely.Polygon:
    """Return the edge of tipping, 56 vertices."""
    angle = np.linspace(0, 2 * np.pi, 56, endpoint=False)
    wobble = 1 + 0.05 * np.sin(3 * angle + 0.6) + 0.05 * np.cos(5 * angle)
    wobble += RandomState(5).uniform(-0.025, 0.025, angle.size)
    east, north = 140 * wobble * np.cos(angle), 188 * wobble * np.sin(angle)
    return shapely.Polygon(np.column_stack([east, north]).round(1))


def cells() -> dict[str, shapely.Polygon]:
    """Return the older north cell and the younger south cell, parted by an old haul road."""
    road = [(-200, 14), (-70, 8), (10, 19), (80, 11), (200, 16)]
    north_side = shapely.Polygon([*road, (200, 300), (-200, 300)])
    whole = outline()
    return {"north": whole.intersection(north_side), "south": whole.difference(north_side)}


def valley(east: Array, north: Array, stream_m: float = 0.0) -> Array:
    """Return the elevation of the valley [m], with a stream as deep as that."""
    aside = east - 22 * np.sin(north / 75)
    side, stream = 4.5 * (1 - np.exp(-((aside / 130) ** 2))), np.exp(-((aside / 5) ** 2))
    return np.asarray(9.0 + 0.006 * north + side - stream_m * stream)


def quarry_radius(east: Array, north: Array) -> Array:
    """Return the distance from the middle of the old quarry as a share of its radius."""
    across, along = (east - 50) / 46, (north + 82) / 40
    return np.asarray(np.hypot(across, along) + 0.12 * np.sin(3 * np.arctan2(along, across)))


def old_ground(east: Array, north: Array) -> Array:
    """Return the ground before tipping [m]: the valley, its stream and a small quarry."""
    quarry = 4.6 / (1 + np.exp((quarry_radius(east, north) - 1) * 18))
    return valley(east, north, stream_m=1.0) - quarry + waves(11, 45, 0.08)(east, north)


def today(east: Array, north: Array) -> Array:
    """Return today's ground [m]: old ground outside the edge, a capped mound inside."""
    points, edge = shapely.points(east, north), outline()
    shapely.prepare(edge)
    bank = valley(east, north) + 0.7 + shapely.distance(edge.exterior, points) / 3  # 1 in 3
    plateau = 18.4 - 0.8 * np.tanh((north - 12) / 14) - np.hypot(east / 118, north / 159) ** 2
    mound = -0.5 * np.logaddexp(-bank / 0.5, -plateau / 0.5)  # the lower of both, rounded off
    mound += waves(12, 28, 0.13)(east, north)
    random = RandomState(13)
    for _ in range(16):  # hollows where waste has settled more
        x, y, radius, depth = random.uniform([-95, -135, 7, 0.25], [95, 135, 18, 0.9])
        mound -= depth * np.exp(-((east - x) ** 2 + (north - y) ** 2) / radius**2)
    return np.where(shapely.contains(edge, points), mound, old_ground(east, north))


def old_plan(east: Array, north: Array) -> Array:
    """Return the base as drawn from old plans [m]: wrong where nobody can look any more."""
    ground, now = old_ground(east, north), today(east, north)
    return ground + np.clip((now - ground) / 4, 0, 1) * waves(14, 110, 0.45)(east, north)


def write_raster(
    path: Path, surface: Callable[[Array, Array], Array], grid: Grid, noise_m: float
) -> None:
    """Write a surface to a GeoTIFF, rounded to centimetres."""
    west, north, rows, columns, cell_m = grid
    across, down = (np.arange(columns) + 0.5) * cell_m, (np.arange(rows) + 0.5) * cell_m
    values = surface(*np.meshgrid(west + across, north - down))
    values += noise_m * RandomState(15).standard_normal(values.shape)
    place = rasterio.Affine(cell_m, 0, CENTRE[0] + west, 0, -cell_m, CENTRE[1] + north)
    with rasterio.open(
        path, "w", driver="GTiff", dtype="float32", count=1, height=rows, width=columns, crs=CRS,
        transform=place, nodata=-9999, tiled=True, blockxsize=256, blockysize=256,
        compress="deflate", predictor=3, zlevel=9,
    ) as raster:  # fmt: skip
        raster.write(values.round(2).astype("float32"), 1)


def write_polygons(path: Path, polygons: dict[str, shapely.Polygon], field: str) -> None:
    """Write named polygons to GeoJSON in map coordinates."""
    features = []
    for name, polygon in polygons.items():
        placed = shapely.transform(polygon, lambda corners: (corners + CENTRE).round(2))
        geometry = json.loads(shapely.to_geojson(placed))
        features.append({"type": "Feature", "properties": {field: name}, "geometry": geometry})
    crs = {"type": "name", "properties": {"name": f"urn:ogc:def:crs:{CRS.replace(':', '::')}"}}
    collection = {"type": "FeatureCollection", "crs": crs, "features": features}
    path.write_text(json.dumps(collection, indent=1) + "\n", encoding="utf-8")


class Core(NamedTuple):
    """One core: where it stands, its depths [m], and how its waste differs from the average."""

    name: str
    east: float
    north: float
    top_m: float
    cover_m: float
    base_m: float
    depth_m: float
    effect: Array  # standard normal, by material

    def year(self, upper_m: float, lower_m: float) -> float:
        """Return when a layer was tipped: north cell to 1974, south cell to 1987."""
        first, last = (1961, 1974) if self.north > 12 else (1975, 1987)
        share = ((upper_m + lower_m) / 2 - self.cover_m) / (self.base_m - self.cover_m)
        return last - share * (last - first)


def drill() -> list[Core]:
    """Drill every core; what neighbours have in common falls off over 90 m."""
    random, count = RandomState(61), len(CORES)
    east, north = (np.array(CORES) + random.uniform(-2, 2, (count, 2))).round(2).T
    apart = np.hypot(np.subtract.outer(east, east), np.subtract.outer(north, north))
    effects = np.linalg.cholesky(np.exp(-apart / 90)) @ random.standard_normal((count, len(NAMES)))
    cover, below = random.uniform(0.5, 1.2, count).round(1), random.uniform(0.4, 1.0, count)
    base = today(east, north) - old_ground(east, north) + random.normal(0, 0.15, count)
    base[REFUSED], below[REFUSED] = 0.75 * base[REFUSED], 0
    base, top = base.round(1), (today(east, north) + random.normal(0, 0.02, count)).round(2)
    depth, names = (base + below).round(1), [f"MF{number + 1:02d}" for number in range(count)]
    return list(map(Core, names, east, north, top, cover, base, depth, effects))


def collar_rows(cores: list[Core]) -> Iterator[list[object]]:
    """Yield the collars; two cores were drilled on each working day."""
    for number, core in enumerate(cores):
        place = np.add(CENTRE, (core.east, core.north)).round(2)
        day = np.busday_offset(np.datetime64("2025-03-10"), number // 2)
        yield [core.name, *place, core.top_m, core.depth_m, day, "cased auger", 600]


def interval_rows(cores: list[Core]) -> Iterator[list[object]]:
    """Yield the driller's log."""
    random = RandomState(62)
    for core in cores:
        yield [core.name, 0.0, core.cover_m, "cover", COVER_WORDS[random.randint(3)]]
        limits = np.linspace(core.cover_m, core.base_m, 3 if core.base_m < 8 else 4)
        limits[1:-1] += random.uniform(-0.6, 0.6, limits.size - 2)
        for upper, lower in pairwise(limits.round(1)):
            words = next(w for last, w in WASTE_WORDS.items() if core.year(upper, lower) <= last)
            at = [depth for name, depth in REMARKS if name == core.name and upper <= depth < lower]
            note = ". ".join([words[random.randint(2)], *(REMARKS[core.name, m] for m in at)])
            yield [core.name, upper, lower, "waste", note]
        if core.depth_m > core.base_m:
            in_quarry = quarry_radius(*np.array([core.east, core.north])) < 1
            note = "Weathered marl, old quarry floor" if in_quarry else "Grey silty clay, stiff"
            yield [core.name, core.base_m, core.depth_m, "natural", note]


def wet_shares(random: RandomState, core: Core, year: float) -> Array:
    """Return the shares of one sample by wet mass; they add to one."""
    sigma = np.sqrt(np.log1p(SPREAD**2))  # of a lognormal with that coefficient of variation
    scatter = 0.6 * core.effect + 0.8 * random.standard_normal(len(NAMES))
    share = MEAN * np.exp(TREND * (year - 1974) / 13 + sigma * scatter - sigma**2 / 2)
    share[NAMES.index("hazardous")] *= random.uniform() < 1 / 3
    return np.asarray(share / share.sum())


def sample_and_lab_rows(cores: list[Core]) -> tuple[list[list[object]], list[list[object]]]:
    """Return the sorted samples, and the lab's values of every second one."""
    random, samples, lab = RandomState(63), [], []
    for core in cores:
        count = int(np.clip(round((core.base_m - core.cover_m) / 3), 2, 4))
        for upper, lower in pairwise(np.linspace(core.cover_m, core.base_m, count + 1).round(1)):
            middle = (upper + lower) / 2
            share = wet_shares(random, core, core.year(upper, lower))
            moisture = np.clip(0.245 + 0.009 * middle + random.normal(0, 0.025), 0.2, 0.4).round(3)
            density = 0.98 + 0.025 * middle + 0.6 * (share[NAMES.index("fines")] - 0.55)
            density = np.clip(density + random.normal(0, 0.05), 0.9, 1.4).round(2)
            gauged = density if random.uniform() < 0.6 else ""
            mass, kept = round(random.uniform(85, 195), 1), random.uniform(0.993, 0.999)
            layer = [core.name, upper, lower]
            samples.append([*layer, mass, moisture, gauged, *(share * mass * kept).round(2)])
            ncv, ash, chlorine = LAB @ share * random.uniform([0.92, 0.97, 0.8], [1.08, 1.02, 1.25])
            ncv = ncv * (1 - moisture) - 2.443 * moisture  # as received: water takes heat to leave
            mercury = round(random.lognormal(-0.5, 0.5), 2)
            if len(samples) % 2:
                lab.append([*layer, ncv.round(1), ash.round(3), chlorine.round(4), mercury])
    return samples, lab


def gas_rows(cores: list[Core]) -> Iterator[list[object]]:
    """Yield gas readings high and low in the waste: more methane and less air with depth."""
    random = RandomState(64)
    for core in cores:
        for low in (0.25, 0.8):
            depth_m = round(core.cover_m + low * (core.base_m - core.cover_m), 1)
            methane = np.clip(random.normal(12 + 26 * low, 9), 0.2, 58)
            dioxide = methane * random.uniform(0.55, 0.85) + 3
            oxygen = np.clip(random.normal(7 - 6 * low - methane / 20, 1.2), 0.1, 19)
            percent = np.round([methane, dioxide, oxygen], 1)
            traces = random.lognormal(np.log([4 + 9 * low, 6]), [1.1, 0.7]).round().astype(int)
            yield [core.name, depth_m, *percent, *traces, round(random.lognormal(-0.7, 0.8), 1)]


def write_site(folder: Path) -> None:
    """Write every data file of the demo site to a folder."""
    write_raster(folder / "survey.tif", today, (-220, 270, 540, 440, 1.0), noise_m=0.015)
    write_raster(folder / "base.tif", old_plan, (-240.6, 290.8, 292, 242, 2.0), noise_m=0.0)
    write_polygons(folder / "footprint.geojson", cells(), "cell")
    write_polygons(folder / "exclusions.geojson", {"gas compound": COMPOUND}, "name")
    samples, lab = sample_and_lab_rows(cores := drill())
    place = "core_id,from_m,to_m"
    for name, header, rows in (
        (
            "collars",
            "core_id,x,y,elevation_m,depth_m,drilled_on,method,diameter_mm",
            collar_rows(cores),
        ),
        ("intervals", f"{place},layer,note", interval_rows(cores)),
        ("samples", f"{place},wet_mass_kg,moisture,bulk_density_t_m3,{','.join(NAMES)}", samples),
        ("lab", f"{place},ncv_mj_kg,ash,chlorine,mercury_mg_kg", lab),
        ("gas", "core_id,depth_m,ch4_pct,co2_pct,o2_pct,h2s_ppm,co_ppm,flow_l_h", gas_rows(cores)),
    ):
        with (folder / f"{name}.csv").open("w", encoding="utf-8", newline="") as file:
            csv.writer(file, lineterminator="\n").writerows([header.split(","), *rows])


if __name__ == "__main__":
    write_site(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent)
