"""What a whole site may not depend on: units, origin, and the order in which anything is listed."""

from __future__ import annotations

import io
from dataclasses import dataclass, field, replace

import geopandas
import numpy as np
import pandas as pd
import pytest
import rasterio
import shapely
from affine import Affine
from hypothesis import given
from hypothesis import strategies as st

from reclaim import read_site
from reclaim.assumptions import Draws
from reclaim.estimate import dig_of
from reclaim.uncertainty.sources import PartlyDrawn

FOOT_M = 0.3048  # exact: NIST Special Publication 811 (2008), appendix B.6
PROJECTION = "+proj=tmerc +lat_0=0 +lon_0=15 +k=1 +x_0={} +y_0=0 +ellps=GRS80 +type=crs +units={}"
ALONG = [f"{place}" for place in "ABCDEFG"]
TOML = """\
[site]
name = "Invented Tip"
currency = "EUR"
price_year = 2025
opened = 1961
closed = 1987
[footprint]
file = "footprint.gpkg"
zone_field = "cell"
[surfaces]
survey = "survey.tif"
base = "base.tif"
cover_m = 0.5
vertical_unit = "{unit}"
[excavation]
side_slope = {side_slope}
overdig_m = 0.2
[cores]
collars = "collars.csv"
intervals = "intervals.csv"
samples = "samples.csv"
[uncertainty]
draws = 50
seed = 7
{more}
"""
SAMPLES = """\
core_id,from_m,to_m,wet_mass_kg,moisture,bulk_density_t_m3,plastic_film,wood,glass,fines
A,1,4,100,0.30,1.1,20,10,10,60
A,4,8,80,0.25,,16,8,8,48
B,1,8,100,0.35,1.2,10,10,20,60
C,1,8,100,,,20,10,10,60
D,1,8,100,0.30,1.0,5,20,10,65
E,1,5,100,0.22,,30,10,10,50
F,1,8,100,0.31,1.15,20,15,5,60
G,1,8,100,0.27,,18,2,10,70
"""


@dataclass
class Tip:
    """A tip of two zones and seven cores, written in any units, place and order."""

    vertical: str = "m"
    unit_m: float = 1.0
    horizontal: str = "m"
    horizontal_m: float = 1.0
    corner: tuple[float, float] = (500_000.0, 5_400_000.0)
    order: tuple[int, ...] = tuple(range(7))
    turned: bool = False
    side_slope: float = 1.5
    cell_m: float = 1.0
    more: str = ""
    places: dict[str, tuple[float, float]] = field(
        default_factory=lambda: dict(
            zip(ALONG, [(20, 20), (100, 25), (25, 75), (96, 80), (60, 50), (40, 30), (80, 60)],
                strict=True)
        )
    )  # fmt: skip

    def read(self, folder):
        folder.mkdir(exist_ok=True)
        west, south = self.corner
        false_east = 500_000.0
        crs = PROJECTION.format(false_east, self.horizontal)
        for name, cell, height in (
            ("survey.tif", self.cell_m, lambda u, v: 20 + 0.02 * u + 0.01 * v + np.sin(u / 9)),
            ("base.tif", 2.0, lambda u, v: 12 + 0.01 * u + np.cos(v / 13)),
        ):
            rows, columns = int(100 / cell), int(120 / cell)
            u = (np.arange(columns) + 0.5) * cell
            v = 100 - (np.arange(rows) + 0.5) * cell
            size = cell / self.horizontal_m
            transform = Affine(size, 0, west / self.horizontal_m,
                               0, -size, (south + 100) / self.horizontal_m)  # fmt: skip
            with rasterio.open(
                folder / name, "w", driver="GTiff", width=columns, height=rows, count=1, crs=crs,
                transform=transform, dtype="float64",
            ) as file:  # fmt: skip
                file.write(height(u[None, :], v[:, None]) / self.unit_m, 1)
        # No side is a whole number of cells long, so that rounding leaves the rim's pieces alone.
        zones = {
            "north": shapely.box(10.3, 50.2, 109.6, 89.7),
            "south": shapely.box(10.3, 10.4, 109.6, 50.2),
        }
        if self.turned:
            zones = {
                name: shapely.Polygon(np.roll(shapely.get_coordinates(zone)[:-1], 2, axis=0)[::-1])
                for name, zone in reversed(zones.items())
            }
        placed = [
            shapely.transform(zone, lambda at: (at + self.corner) / self.horizontal_m)
            for zone in zones.values()
        ]
        geopandas.GeoDataFrame({"cell": list(zones)}, geometry=placed, crs=crs).to_file(
            folder / "footprint.gpkg"
        )
        self._write_cores(folder)
        path = folder / "site.toml"
        text = TOML.format(unit=self.vertical, side_slope=self.side_slope, more=self.more)
        if "composition" in self.more:
            text = text.replace('samples = "samples.csv"\n', "")
        path.write_text(text, encoding="utf-8")
        return read_site(path)

    def _write_cores(self, folder):
        names = [ALONG[place] for place in self.order]
        collars, layers = [], []
        for name in names:
            u, v = self.places[name]
            ground = 20 + 0.02 * u + 0.01 * v + np.sin(u / 9)
            waste_to = round(ground - (12 + 0.01 * u + np.cos(v / 13)), 3)
            east, north = np.array([u, v]) + self.corner
            collars.append((name, east / self.horizontal_m, north / self.horizontal_m,
                            ground / self.unit_m, (waste_to + 1) / self.unit_m))  # fmt: skip
            for start, end, layer in (
                (0, 0.5, "cover"), (0.5, waste_to, "waste"), (waste_to, waste_to + 1, "natural")
            ):  # fmt: skip
                layers.append((name, start / self.unit_m, end / self.unit_m, layer))
        samples = pd.read_csv(io.StringIO(SAMPLES))
        samples["bottom"] = samples["core_id"].map(
            {name: end for name, _, end, layer in layers if layer == "waste"}
        )
        for key in ("from_m", "to_m"):
            samples[key] /= self.unit_m
        samples["to_m"] = samples[["to_m", "bottom"]].min(axis=1)
        samples = pd.concat([samples[samples["core_id"] == name] for name in names])
        samples.drop(columns="bottom").to_csv(folder / "samples.csv", index=False)
        pd.DataFrame(
            collars, columns=["core_id", "x", "y", "elevation_m", "depth_m"]
        ).to_csv(folder / "collars.csv", index=False)  # fmt: skip
        pd.DataFrame(layers, columns=["core_id", "from_m", "to_m", "layer"]).to_csv(
            folder / "intervals.csv", index=False
        )


def best_of(tip, folder):
    """Headlines of the best estimate, by name."""
    dig = dig_of(tip.read(folder))
    return headlines(dig.run(Draws.best_estimate()))


def headlines(outcome):
    made = outcome.products
    return {
        "waste_m3": outcome.volumes.waste_m3,
        "cover_m3": outcome.volumes.cover_m3,
        "overdig_m3": outcome.volumes.overdig_m3,
        "wet_t": outcome.feed.total_wet_t,
        "water_t": outcome.feed.water_t.sum(axis=1),
        **{name: made.wet_t(name) for name in made.names},
        "heat_mwh": made.drying.heat_bought_mwh,
        "airspace_m3": outcome.appraisal.airspace.reclaimed_m3,
        "cost": outcome.appraisal.cost,
        "npv": outcome.appraisal.npv,
    }


def assert_same(one, other, rel):
    for name, value in one.items():
        np.testing.assert_allclose(other[name], value, rtol=rel, atol=1e-9, err_msg=name)


@pytest.fixture(scope="module")
def plain(tmp_path_factory):
    """The dig of the tip as it is, and its headlines."""
    dig = dig_of(Tip().read(tmp_path_factory.mktemp("plain")))
    return dig, headlines(dig.run(Draws.best_estimate()))


@pytest.mark.parametrize(("vertical", "unit_m"), [("ft", FOOT_M), ("us-ft", 1200 / 3937)])
def test_elevations_in_feet_agree_with_metres(plain, tmp_path, vertical, unit_m):
    assert_same(plain[1], best_of(Tip(vertical=vertical, unit_m=unit_m), tmp_path), rel=1e-9)


@pytest.mark.parametrize(("horizontal", "unit_m"), [("ft", FOOT_M), ("us-ft", 1200 / 3937)])
def test_coordinates_in_feet_agree_with_metres(plain, tmp_path, horizontal, unit_m):
    tip = Tip(horizontal=horizontal, horizontal_m=unit_m)
    assert_same(plain[1], best_of(tip, tmp_path), rel=1e-7)


@pytest.mark.parametrize("cell_m", [2.0, 4.0])
def test_a_coarser_survey_stays_within_the_stated_error(plain, tmp_path, cell_m):
    """The base, which keeps its cells, is brought to each survey's."""
    found = dig_of(Tip(cell_m=cell_m).read(tmp_path)).excavation
    fine = plain[0].excavation
    off_m3 = float(found.waste_m3.sum() - fine.waste_m3.sum())
    assert 0 < abs(off_m3) < fine.error.total_m3
    assert found.area_m2.sum() == pytest.approx(fine.area_m2.sum(), rel=1e-9)


@pytest.mark.examples(2)
@given(east=st.integers(-400_000, 900_000), north=st.integers(-9_000_000, 9_000_000))
def test_another_place_on_the_map_agrees(plain, tmp_path_factory, east, north):
    tip = Tip(corner=(east, north))
    assert_same(plain[1], best_of(tip, tmp_path_factory.mktemp("place")), rel=1e-7)


@pytest.mark.examples(2)
@given(order=st.permutations(range(7)))
def test_the_order_of_cores_zones_and_vertices_changes_nothing(plain, tmp_path_factory, order):
    tip = Tip(order=tuple(order), turned=True)
    assert_same(plain[1], best_of(tip, tmp_path_factory.mktemp("order")), rel=1e-9)


@pytest.mark.examples(4)
@given(n_draws=st.integers(2, 30), seed=st.integers(0, 99))
def test_draws_without_spread_are_the_best_estimate(plain, n_draws, seed):
    """Monte Carlo in which every number stays at its centre: the same model, draw by draw."""
    dig, best = plain
    drawn = headlines(dig.run(PartlyDrawn(n_draws, seed, drawn={})))
    for name, value in best.items():
        assert drawn[name].shape == (n_draws,)
        np.testing.assert_allclose(drawn[name], value[0], rtol=1e-9, atol=1e-9, err_msg=name)


@pytest.fixture(scope="module")
def stated(tmp_path_factory):
    """The dig of the tip with its composition stated."""
    shares = "[waste.composition]\nfines = { low = 0.4, mode = 0.6, high = 0.7 }\nwood = 0.4"
    return dig_of(Tip(more=shares).read(tmp_path_factory.mktemp("stated")))


@pytest.mark.examples(4)
@given(seed=st.integers(0, 99), order=st.permutations(range(6)))
def test_the_order_of_the_draws_changes_nothing(stated, shuffled, seed, order):
    """With the composition stated; whole cores are drawn in a stream of their own."""
    draws = Draws(6, seed)
    one, two = headlines(stated.run(draws)), headlines(stated.run(shuffled(draws, order)))
    assert_same({name: value[order] for name, value in one.items()}, two, rel=1e-8)


@pytest.mark.examples(4)
@given(seed=st.integers(0, 99), wider=st.floats(1.01, 3))
def test_a_less_certain_density_never_narrows_the_tonnage(stated, seed, wider):
    """Tonnes are volume times density: with all else central, the range grows as density's does."""
    key, ranges = "waste.bulk_density_t_m3", []
    drawn = {key: Draws(64, seed).uniform(key)}
    for factor in (1.0, wider):
        item = replace(
            stated.site.assumptions[key],
            kind="triangular",
            numbers=(1.0 - 0.1 * factor, 1.0, 1.0 + 0.15 * factor),
            given=True,
        )
        site = replace(stated.site, assumptions={**stated.site.assumptions, key: item})
        dig = replace(stated, site=site)
        tonnes = dig.run(PartlyDrawn(64, seed, drawn=drawn)).feed.total_wet_t
        ranges.append(np.subtract(*np.quantile(tonnes, [0.9, 0.1])))
    assert ranges[1] == pytest.approx(wider * ranges[0], rel=1e-7)


@pytest.mark.examples(4)
@given(seed=st.integers(0, 99), n_draws=st.integers(2, 12))
def test_zones_add_up_to_the_site(plain, seed, n_draws):
    """Each zone is sent through the line by itself; tonnes and cubic metres add up exactly.

    The water of a mix is shared out among its materials, so what is dry, and with it the carbon,
    depends a little on what was mixed.
    """
    drawn = plain[0].drawn(Draws(n_draws, seed))
    zones = drawn.bill.zones
    assert len(zones) == 2
    for name in ("waste_m3", "cover_m3", "overdig_m3", "waste_t", "area_m2"):
        together = sum(getattr(zone, name) for zone in zones)
        np.testing.assert_allclose(together, getattr(drawn.bill.whole, name), rtol=1e-9)
    carbon_t = sum(zone.carbon_t for zone in zones)
    np.testing.assert_allclose(carbon_t, drawn.bill.whole.carbon_t, rtol=0.01)
