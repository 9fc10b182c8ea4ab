"""An invented estimate, built from the dataclasses alone: small, consistent, and quick to make."""

from __future__ import annotations

from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
import pytest
from shapely import MultiPolygon, Point, Polygon, box

from reclaim import plant
from reclaim.appraisal import (
    Bill,
    Comparison,
    Prices,
    Timetable,
    compare,
    quantities_of,
    side_by_side,
)
from reclaim.appraisal.appraisal import Airspace, Appraisal, CashItem
from reclaim.assumptions import Draws, default_assumption
from reclaim.estimate import Estimate, Outcome
from reclaim.ground import study_ground
from reclaim.ground.excavation import (
    DugVolumes,
    Excavation,
    Section,
    ThicknessMap,
    VolumeError,
)
from reclaim.hazards import Caution, HazardAssessment, Mark, trigger_levels
from reclaim.hazards.finds import finds_of, waste_codes
from reclaim.hazards.gas_summary import gas_table, gas_trends
from reclaim.hazards.readings import Reading
from reclaim.reference import assumption_defaults, heavy_metals, material_names
from reclaim.report.results import results
from reclaim.site.model import Cores, Footprint, Grid, InputFile, Site, Window, Zone
from reclaim.site.plantfile import DEFAULT_LINE, read_line
from reclaim.site.problems import Check, Findings
from reclaim.site.settings import setting_defaults
from reclaim.uncertainty import (
    Confidence,
    Drivers,
    GroupWorth,
    Index,
    Investigation,
    Knowing,
    ScenarioResult,
    Swing,
    Worth,
    confidence_of,
    spread_of,
)
from reclaim.waste.feed import CoreSummary, Feed, Properties

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from reclaim.plant.products import Products

DRAWS = 200
GAS = [
    Reading("ch4_pct", 20.0 + depth, f"C{core:02}", "north", depth)
    for core in range(1, 6)
    for depth in (2.0, 5.0)
]
WEST, NORTH, CELL = 512_000.0, 5_412_300.0, 2.0
ROWS, COLUMNS = 150, 200
ZONES = ("north", "south")

SHARES = {
    "fines": 0.53, "plastic_film": 0.08, "plastic_dense": 0.04, "paper_card": 0.04, "wood": 0.05,
    "textiles": 0.04, "rubber_leather": 0.012, "ferrous": 0.022, "aluminium": 0.003,
    "other_nonferrous": 0.002, "glass": 0.016, "stone_ceramic": 0.10, "garden_food": 0.02,
    "hazardous": 0.002, "other_combustible": 0.013, "other_inert": 0.03,
}  # fmt: skip


@dataclass(frozen=True)
class Hummock:
    """A smooth surface over the grid, `height_m` above `floor_m` in the middle."""

    label: str
    floor_m: float
    height_m: float

    def at(self, x: np.ndarray, y: np.ndarray) -> np.ndarray:
        across = (x - (WEST + 200)) / 170
        along = (y - (NORTH - 150)) / 120
        bump = np.clip(1 - across**2 - along**2, 0, None)
        return self.floor_m + self.height_m * bump * (1 + 0.06 * np.sin(x / 14) * np.cos(y / 11))

    @contextmanager
    def reader(self) -> Iterator[Callable[[Window], np.ndarray]]:
        def read(window: Window) -> np.ndarray:
            x = WEST + CELL * (window.column + np.arange(window.columns) + 0.5)
            y = NORTH - CELL * (window.row + np.arange(window.rows) + 0.5)
            return self.at(*np.meshgrid(x, y))

        yield read


SURVEY = Hummock("survey.tif", 20.0, 9.0)
BASE = Hummock("base.tif", 19.5, -3.0)
COVER = Hummock("0.5 m everywhere", 0.5, 0.0)


def make_site() -> Site:
    rim = Point(WEST + 200, NORTH - 150).buffer(1)
    outline = MultiPolygon(
        [Polygon([(WEST + 200 + 155 * (x - WEST - 200), NORTH - 150 + 105 * (y - NORTH + 150))
                  for x, y in rim.exterior.coords])]
    )  # fmt: skip
    compound = MultiPolygon([box(WEST + 240, NORTH - 130, WEST + 270, NORTH - 105)])
    halves = (
        box(WEST, NORTH - 150, WEST + 400, NORTH),
        box(WEST, NORTH - 300, WEST + 400, NORTH - 150),
    )
    diggable = outline.buffer(-3).difference(compound)
    zones = tuple(
        Zone(name, MultiPolygon([part]) if part.geom_type == "Polygon" else part)
        for name, part in zip(ZONES, (diggable.intersection(half) for half in halves), strict=True)
    )
    defaults = assumption_defaults()
    assumptions = {key: default_assumption(default) for key, default in defaults.items()}
    given = assumptions["waste.bulk_density_t_m3"]
    assumptions["waste.bulk_density_t_m3"] = replace(
        given, numbers=(0.9, 1.1, 1.4), source="site file", status="given", given=True
    )
    findings = Findings()
    line = read_line(None, Path(DEFAULT_LINE), findings)
    assert line is not None
    return Site(
        path=Path("/somewhere/private/site.toml"),
        name="Marrow Fen Tip",
        currency="EUR",
        price_year=2025,
        opened=1961,
        closed=1987,
        footprint=Footprint(
            zones, MultiPolygon([diggable]) if diggable.geom_type == "Polygon" else diggable,
            outline, compound, 3.0,
        ),
        grid=Grid(WEST, NORTH, CELL, CELL, ROWS, COLUMNS, crs_wkt()),
        survey=SURVEY,
        base=BASE,
        cover=COVER,
        cover_sampled=False,
        base_sampled=False,
        core_residuals=pd.DataFrame(
            {
                "core_id": ["B1", "B2"],
                "base_logged_m": [11.2, 9.4],
                "base_surface_m": [11.4, 9.3],
                "base_residual_m": [-0.2, 0.1],
                "cover_logged_m": [0.9, 0.7],
                "cover_surface_m": [0.8, 0.8],
                "cover_residual_m": [0.1, -0.1],
            }
        ),
        lift_m=3.0,
        side_slope=1.5,
        overdig_m=0.3,
        survey_sd_m=0.05,
        base_sd_m=0.4,
        error_range_m=60.0,
        cores=make_cores(),
        line=line,
        assumptions=assumptions,
        composition={},
        draws=DRAWS,
        seed=7,
        inputs=(InputFile("site.toml", "ab" * 32), InputFile("survey.tif", "cd" * 32)),
        checks=(),
        settings={
            **setting_defaults(),
            "excavation.lift_m": setting_defaults()["excavation.lift_m"].stated(3.0),
        },
        fines_sieve_mm=20.0,
        climate="temperate_wet",
    )  # fmt: skip


def crs_wkt() -> str:
    from pyproj import CRS

    return str(CRS.from_epsg(25832).to_wkt())


def make_cores() -> Cores:
    generator = np.random.default_rng(3)
    collars, intervals, samples, gas = [], [], [], []
    names = material_names()
    for index in range(12):
        x = WEST + 90 + 55 * (index % 5) + generator.uniform(-9, 9)
        y = NORTH - 100 - 48 * (index // 5) + generator.uniform(-9, 9)
        core_id = f"C{index + 1:02d}"
        top = float(SURVEY.at(np.array(x), np.array(y)))
        bottom = float(BASE.at(np.array(x), np.array(y)))
        collars.append((core_id, x, y, top, top - bottom + 0.8, "2024-05-02",
                        ZONES[0] if y > NORTH - 150 else ZONES[1]))  # fmt: skip
        for from_m, to_m, layer in (
            (0.0, 0.5, "cover"), (0.5, top - bottom, "waste"),
            (top - bottom, top - bottom + 0.8, "natural"),
        ):  # fmt: skip
            intervals.append((core_id, from_m, to_m, layer, ""))
        share = generator.dirichlet(60 * np.array([SHARES[name] for name in names]))
        samples.append((core_id, 0.5, 2.5, 60.0, 0.33, 1.1, *(60.0 * share)))
        gas.append((core_id, 2.0, 12.0 + index, 18.0, 2.0, 3.0, 0.0, 0.4))
    return Cores(
        collars=pd.DataFrame(
            collars,
            columns=["core_id", "x_m", "y_m", "elevation_m", "depth_m", "drilled_on", "zone"],
        ),
        intervals=pd.DataFrame(
            intervals, columns=["core_id", "from_m", "to_m", "layer", "note"]
        ),
        samples=pd.DataFrame(
            samples,
            columns=["core_id", "from_m", "to_m", "wet_mass_kg", "moisture", "bulk_density_t_m3",
                     *names],
        ),
        lab=pd.DataFrame(columns=["core_id", "from_m", "to_m", "ncv_mj_kg"]),
        gas=pd.DataFrame(
            gas, columns=["core_id", "depth_m", "ch4_pct", "co2_pct", "o2_pct", "h2s_ppm",
                          "co_ppm", "flow_l_h"],
        ),
    )  # fmt: skip


def make_summary(cores: Cores) -> CoreSummary:
    names = material_names()
    samples, collars = cores.samples, cores.collars
    fractions = samples[list(names)].to_numpy(float) / 60.0
    zone = collars["zone"].to_numpy()
    rows = [fractions[zone == name].mean(axis=0) for name in ZONES] + [fractions.mean(axis=0)]
    spread = fractions.std(axis=0) / 2
    per_core = pd.DataFrame(
        {
            "core_id": collars["core_id"], "zone": collars["zone"],
            "waste_m": collars["depth_m"] - 1.3, "sampled_m": 2.0, "samples": 1,
            "wet_mass_kg": 60.0, "moisture": 0.33, "bulk_density_t_m3": 1.1,
            **{name: fractions[:, place] for place, name in enumerate(names)},
        }
    )  # fmt: skip
    wet = np.array(rows)
    return CoreSummary(
        materials=names,
        zones=(*ZONES, "site"),
        per_core=per_core,
        wet_fraction=wet,
        low=np.clip(wet - spread, 0, 1),
        high=wet + spread,
        dry_fraction=wet,
        moisture=np.full(3, 0.33),
        moisture_low=np.full(3, 0.29),
        moisture_high=np.full(3, 0.37),
        moisture_measured=True,
    )


def make_outcome(site: Site, dig: Excavation, factor: np.ndarray, money: np.ndarray) -> Outcome:
    """Make an outcome whose mass is `factor` times the central one, and money `money` times."""
    names = material_names()
    n = factor.size
    zone_waste = factor[:, None] * dig.waste_m3.sum(axis=1)[None, :]
    volumes = DugVolumes(
        cover_m3=factor * dig.cover_m3.sum(),
        waste_m3=zone_waste.sum(axis=1),
        overdig_m3=np.full(n, dig.overdig_m3.sum()),
        zone_waste_m3=zone_waste,
    )
    wet = 1.1 * volumes.waste_m3[:, None] * np.array([SHARES[name] for name in names])
    wet[:, names.index("glass")] *= factor  # the make-up changes too
    feed = Feed(
        materials=names,
        dry_t=0.67 * wet,
        water_t=0.33 * wet,
        bulk_density_t_m3=1.1 * factor,
        cover_t=1.7 * volumes.cover_m3,
        overdig_t=1.7 * volumes.overdig_m3,
        properties=Properties(
            *(np.full((n, len(names)), 0.2) for _ in range(8)),
            heavy_metals_mg_kg=np.full((n, len(names), len(heavy_metals())), 50.0),
        ),
    )
    made = run_line(site, feed)
    return Outcome(volumes, feed, made, make_appraisal(volumes, made, money))


def run_line(site: Site, feed: Feed) -> Products:
    """Send the feed through the line, and give the products a quality that tests can name."""
    n = feed.dry_t.shape[0]
    draws = Draws.best_estimate() if n == 1 else Draws(n, seed=1)
    made = plant.run_line(feed, site.line, site.assumptions, draws)
    shape = made.ncv_mj_kg.shape
    mercury = np.where(np.arange(shape[1]) == 0, np.full(shape, 0.03), np.nan)
    return replace(
        made,
        ncv_mj_kg=np.full(shape, 13.2) * np.linspace(0.9, 1.1, n)[:, None],
        ncv_dry_mj_kg=np.full(shape, 16.0),
        ash=np.full(shape, 0.24),
        chlorine=np.full(shape, 0.008),
        mercury_mg_mj=mercury,
        mercury_median_mg_mj=mercury,
        mercury_p80_mg_mj=2 * mercury,
        biogenic_share=np.full(shape, 0.45),
    )


def make_appraisal(volumes: DugVolumes, made: Products, money: np.ndarray) -> Appraisal:
    opened = volumes.cover_m3 + volumes.waste_m3 + volumes.overdig_m3
    refilled, lost = 0.45 * opened, np.full_like(opened, 30_000.0)
    reclaimed = opened - refilled - lost
    years = 6

    def flow(total: np.ndarray, first: int) -> np.ndarray:
        spread = np.zeros((total.size, years))
        spread[:, first:] = total[:, None] / (years - first)
        return spread

    build = np.zeros((opened.size, years))
    build[:, 0] = -7e6 * money
    items = (
        CashItem("plant", "Plant, with engineering and contingency", "capital", build),
        CashItem("digging", "Digging and short haul", "operation", flow(-5 * opened, 1)),
        CashItem("sorting", "Sorting and drying", "operation", flow(-25 * opened * money, 1)),
        CashItem("hazardous", "Hazardous items", "disposal",
                 flow(-500 * made.wet_t("hazardous"), 1)),
        CashItem("ferrous", "Ferrous metal", "products", flow(80 * made.wet_t("ferrous"), 1)),
        CashItem("fuel", "Fuel, a gate fee", "products", flow(-40 * made.wet_t("fuel"), 1)),
        CashItem("airspace", "Airspace reclaimed", "airspace", flow(45 * reclaimed, 1)),
        CashItem("aftercare", "Aftercare no longer owed", "avoided", flow(1.5e6 / money, 3)),
    )  # fmt: skip
    net = sum(item.flow for item in items)
    factors = np.tile(1 / 1.04 ** np.arange(years), (opened.size, 1))
    npv = (net * factors).sum(axis=1)
    digging = np.tile(np.arange(years) > 0, (opened.size, 1)).astype(float)
    nothing = np.full(opened.size, np.nan)
    return Appraisal(
        airspace=Airspace(opened, refilled, lost, reclaimed, reclaimed / 50_000),
        items=items,
        time=Timetable(
            np.full(opened.size, 5.0), digging, digging / 5, digging / 5, np.zeros(opened.size)
        ),
        discount_factors=factors,
        nominal_flow=net * 1.02 ** np.arange(years),
        discount_rate=np.full(opened.size, 0.04),
        duration_years=np.full(opened.size, 5.0),
        capital=7e6 * money,
        cost=7e6 * money + 30 * opened,
        revenue=20 * reclaimed,
        npv=npv,
        payback_years=nothing,
        unit_cost_per_t=33 * money,
        breakeven={"airspace.value_per_m3": 71.3, "money.price_fuel_per_t": float("nan")},
    )


def make_comparison(site: Site, dig: Excavation, best: Outcome, draws: Outcome) -> Comparison:
    """Compare the courses of action with the room's own function, zones by their share of waste."""

    def bill(run: Outcome) -> Bill:
        whole = quantities_of(run.volumes, run.feed, run.products, float(dig.area_m2.sum()))
        shares = dig.waste_m3.sum(axis=1) / dig.waste_m3.sum()
        return Bill(whole, tuple(whole.times(float(share)) for share in shares))

    prices = Prices(site.assumptions, Draws(DRAWS, site.seed))
    return compare(
        dig, bill(best), best.appraisal, draws.appraisal.npv, site.climate, site.assumptions,
        lambda part: side_by_side(dig, part, bill(draws), site.climate, prices),
    )  # fmt: skip


def make_dig(site: Site) -> tuple[Excavation, ThicknessMap, Section]:
    from shapely import contains_xy

    x = WEST + CELL * (np.arange(COLUMNS) + 0.5)
    y = NORTH - CELL * (np.arange(ROWS) + 0.5)
    grid_x, grid_y = np.meshgrid(x, y)
    survey, base = SURVEY.at(grid_x, grid_y), BASE.at(grid_x, grid_y)
    inside = [contains_xy(zone.polygon, grid_x, grid_y) for zone in site.footprint.zones]
    thickness = np.where(inside[0] | inside[1], survey - base, np.nan)
    top = np.array([30.0, 27.0, 24.0, 21.0, 18.0])
    waste = np.zeros((2, 5))
    cover = np.zeros((2, 5))
    for zone, mask in enumerate(inside):
        for lift, lid in enumerate(top):
            upper = np.minimum(survey - 0.5, lid)
            waste[zone, lift] = np.clip(upper - np.maximum(base, lid - 3), 0, None)[mask].sum() * 4
            upper = np.minimum(survey, lid)
            cover[zone, lift] = (
                np.clip(upper - np.maximum(survey - 0.5, lid - 3), 0, None)[mask].sum() * 4
            )
    area = np.array([zone.polygon.area for zone in site.footprint.zones])
    dig = Excavation(
        ZONES, top, top - 3, area, cover, waste, 0.3 * area, 0.05 * area, 0.0, 0.0,
        float(np.nanmax(thickness)), VolumeError(20.0, 900.0, 2500.0),
    )  # fmt: skip
    drawn = ThicknessMap(
        WEST, NORTH, CELL, CELL, thickness, survey, np.where(np.isfinite(thickness), base, np.nan)
    )
    along = np.linspace(0, 340, 341)
    line_y = np.full_like(along, NORTH - 148)
    ground, floor = SURVEY.at(WEST + 30 + along, line_y), BASE.at(WEST + 30 + along, line_y)
    rise = np.minimum(along - 20, 320 - along) / 1.5
    dug = np.where((along > 20) & (along < 320), np.maximum(floor, ground - rise), np.nan)
    section = Section(
        (WEST + 30, NORTH - 148), (WEST + 370, NORTH - 148), along, ground, ground - 0.5, floor, dug
    )
    return dig, drawn, section


def make_confidence(
    site: Site, best: Outcome, draws: Outcome, comparison: Comparison
) -> Confidence:
    """Spread and odds by the room's own functions; drivers and investigations are invented."""
    courses = {c.label: c.npv_beside_leaving for c in comparison.course_draws}
    central = float(best.appraisal.npv[0])
    drivers = Drivers(
        central=central,
        inputs=(
            Swing("money.price_fuel_per_t", "Fuel", central - 2e6, central + 1.5e6, 0.7),
            Swing("airspace.value_per_m3", "Value of the space", central - 1e6, central + 1e6, 0.4),
        ),
        groups=(
            Swing("fuel_price", "Fuel price", central - 2e6, central + 1.5e6, float("nan")),
            Swing("volume", "Volume", central - 4e5, central + 4e5, float("nan")),
        ),
        indices=(
            Index("fuel_price", "Fuel price", 0.7, 0.75, 0.05, 0.04),
            Index("volume", "Volume", 0.08, 0.1, 0.02, 0.01),
        ),
    )
    knowing = Knowing(
        choice="Leave it and look after it",
        everything=Worth(2e5, 1e4, 0.12),
        groups=(GroupWorth("fuel_price", "Fuel price", Worth(1.4e5, 9e3, 0.1)),),
        investigations=(
            Investigation("offers", "written offers (3)", 9e3, Worth(9e4, 8e3, 0.09), 0.75),
            Investigation("cores", "more cores (10)", 4.5e4, Worth(1e4, 2e3, 0.02), 0.37),
        ),
    )
    spread = spread_of(draws.appraisal.npv)
    scenarios = [ScenarioResult("As the site file stands", central, spread, 1e5, 3e5, "Mine part")]
    return confidence_of(
        Draws(DRAWS, site.seed), draws.appraisal.npv, courses, 0.02, drivers, knowing, scenarios
    )


def make_estimate(**changes: Any) -> Estimate:
    site = make_site()
    dig, picture, section = make_dig(site)
    generator = np.random.default_rng(11)
    factor = generator.lognormal(0, 0.12, DRAWS)
    money = generator.lognormal(0, 0.2, DRAWS)
    one = np.ones(1)
    best, drawn = make_outcome(site, dig, one, one), make_outcome(site, dig, factor, money)
    comparison = make_comparison(site, dig, best, drawn)
    made = Estimate(
        site=site,
        excavation=dig,
        thickness_map=picture,
        sections=(section,),
        core_summary=make_summary(site.cores),
        best=best,
        draws=drawn,
        comparison=comparison,
        confidence=make_confidence(site, best, drawn, comparison),
        ground=study_ground(
            site, best.volumes, drawn.volumes, Draws.best_estimate(), Draws(DRAWS, seed=1)
        ),
        hazards=HazardAssessment(
            cautions=(
                Caution(
                    "methane_flammable", "gas", "stop",
                    "Methane in the waste is within the range that burns in air.",
                    "23 % v/v in core C12 at 2.0 m (gas.csv row 13).",
                    "Keep ignition sources away; monitor and ventilate before any opening.",
                    "a competent person for landfill gas", "common_practice", "common practice",
                ),
                Caution(
                    "deep_face", "excavation", "act", "Faces of the dig may slip.",
                    "Greatest dug thickness 12.5 m.", "Have the slopes designed.",
                    "a licensed geotechnical engineer", "common_practice", "common practice",
                ),
            ),
            not_assessed=("Asbestos was not assessed: the core logs have no notes.",),
            gas=gas_table(GAS),
            trends=gas_trends(GAS),
            triggers=trigger_levels(),
            finds=finds_of(["drums"]),
            codes=waste_codes({"fuel": 10.0}),
            marks=(Mark("C01", WEST + 60, NORTH - 60, "stop", ("methane_flammable",)),),
        ),
        checks=(
            Check("warning", "collars.csv row 4", "The collar lies 0.3 m off the survey.",
                  "Check the levelling of core C03."),
            Check("note", "site.toml [surfaces]", "The cover is 0.5 m everywhere.", ""),
        ),
        seconds={"ground": 0.4, "waste": 0.1},
    )  # fmt: skip
    return replace(made, **changes)


@pytest.fixture(scope="session")
def estimate() -> Estimate:
    return make_estimate()


@pytest.fixture(scope="session")
def make() -> Callable[..., Estimate]:
    """Give the maker of estimates, for tests that change a part of it."""
    return make_estimate


@pytest.fixture(scope="session")
def document(estimate: Estimate) -> dict[str, Any]:
    return results(estimate)
