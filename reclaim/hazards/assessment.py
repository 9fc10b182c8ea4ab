"""All cautions of a site, the most urgent first, and everything that was not assessed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from reclaim.hazards.contents import contents_cautions
from reclaim.hazards.dig import EdgeDistance, dig_cautions, edge_distance
from reclaim.hazards.finds import finds_of, waste_codes
from reclaim.hazards.gas import gas_cautions
from reclaim.hazards.gas_summary import gas_table, gas_trends
from reclaim.hazards.leachate import leachate, leachate_cautions
from reclaim.hazards.log_words import find_mentions
from reclaim.hazards.opening import face_caution, open_face
from reclaim.hazards.process import process_cautions
from reclaim.hazards.readings import read_gas_table
from reclaim.hazards.register import map_marks
from reclaim.hazards.residual_methane import residual_gas, residual_methane
from reclaim.hazards.rules import URGENCY, RuleBook, rule_book
from reclaim.hazards.triggers import trigger_levels
from reclaim.hazards.water_and_air import receptor_cautions, water_and_air_cautions
from reclaim.reference import constant, materials

if TYPE_CHECKING:
    from collections.abc import Sequence

    from reclaim.assumptions import Draws
    from reclaim.ground.excavation import DugVolumes, Excavation, ThicknessMap
    from reclaim.hazards.caution import Caution
    from reclaim.hazards.finds import Find, WasteCode
    from reclaim.hazards.gas_summary import GasRow, GasTrend
    from reclaim.hazards.leachate import Leachate
    from reclaim.hazards.opening import Opening
    from reclaim.hazards.readings import Reading
    from reclaim.hazards.register import Mark
    from reclaim.hazards.residual_methane import ResidualMethane
    from reclaim.hazards.triggers import Trigger
    from reclaim.plant.products import Products
    from reclaim.site.model import Site
    from reclaim.waste.feed import CoreSummary, Feed

DEFERENCE = (
    "These cautions come from the numbers and records of this site and from published limits. "
    "They do not make a safe design, and what is not listed is not thereby safe. Local codes and "
    "licensed practice decide; where they ask for more, they hold."
)

_Raised = tuple[tuple["Caution", ...], tuple[str, ...]]
_TOPICS = ("gas", "excavation", "contents", "water", "process")


@dataclass(frozen=True, slots=True)
class ModelRun:
    """What the hazards read of one run of the model, for central values or for many draws.

    Attributes
    ----------
    volumes, feed, products
        Of that run; arrays have a leading axis of ``n_draws``.
    draws
        The source of its draws.
    """

    volumes: DugVolumes
    feed: Feed
    products: Products
    draws: Draws


@dataclass(frozen=True, slots=True)
class HazardAssessment:
    """Everything the hazards room found out about a site.

    Attributes
    ----------
    cautions
        The most urgent first, by topic within a level.
    not_assessed
        One sentence for each thing that could not be assessed, and why.
    profile
        The profile of rules that was screened against.
    gas, trends
        Readings by gas for the site, each zone and each core, and whether they rise.
    triggers
        Trigger levels for the air where people work.
    methane_best, methane_spread
        What the decay model says about the gas to come, best and over all draws; None where the
        assessment was made without a model.
    opening_best, opening_spread
        Gas let out when a face is opened, best and over all draws.
    leachate_best, leachate_spread
        Water in the waste, best and over all draws; None where no level was read.
    finds, codes
        What the finds mean, and the likely waste category of every product.
    marks
        Places on the map.
    """

    cautions: tuple[Caution, ...]
    not_assessed: tuple[str, ...]
    profile: str = "all"
    gas: tuple[GasRow, ...] = ()
    trends: tuple[GasTrend, ...] = ()
    triggers: tuple[Trigger, ...] = ()
    methane_best: ResidualMethane | None = None
    methane_spread: ResidualMethane | None = None
    opening_best: Opening | None = None
    opening_spread: Opening | None = None
    leachate_best: Leachate | None = None
    leachate_spread: Leachate | None = None
    finds: tuple[Find, ...] = ()
    codes: tuple[WasteCode, ...] = ()
    marks: tuple[Mark, ...] = ()


def assess(
    site: Site,
    excavation: Excavation,
    dug: ThicknessMap,
    summary: CoreSummary | None,
    best: ModelRun,
    spread: ModelRun,
    still_degradable_share: float | None = None,
) -> HazardAssessment:
    """Return the cautions of a site, what was not assessed, and the numbers behind them.

    Parameters
    ----------
    site, excavation, dug, summary
        The inputs, the dig, its thickness over the site, and the geologist's summary (None where
        there is none).
    best, spread
        The best estimate, and the run over all draws.
    still_degradable_share
        Share of the original degradable carbon that is left [-], None where not known.
    """
    book = rule_book(site.hazards.profile, site.hazards.limits)
    gas_file = site.files.get("gas", "gas table")
    readings = read_gas_table(site.cores.gas, site.cores.collars, gas_file)
    triggers = trigger_levels(book)
    trigger_pct = next(row.value for row in triggers if (row.gas, row.level) == ("ch4_pct", "act"))
    methane = [
        residual_methane(run.feed, site.climate, site.assumptions, run.draws)
        for run in (best, spread)
    ]
    opening = [
        open_face(
            readings=readings,
            waste_m3=run.volumes.waste_m3,
            area_m2=float(excavation.area_m2.sum()),
            density_t_m3=run.feed.bulk_density_t_m3,
            generated_m3_d=made.generated_m3_d,
            trigger_pct=trigger_pct,
            assumptions=site.assumptions,
            draws=run.draws,
        )
        for run, made in zip((best, spread), methane, strict=True)
    ]
    water = [
        leachate(
            site.cores.collars,
            site.cores.intervals,
            run.volumes.waste_m3,
            run.draws.of(site.assumptions["hazards.drainable_porosity"]),
        )
        for run in (best, spread)
    ]
    age_years = None if site.closed is None else float(site.price_year - site.closed)
    parts: Sequence[_Raised] = (
        gas_cautions(site.cores.gas, site.cores.collars, book, gas_file),
        residual_gas(
            *methane,
            age_years=age_years,
            still_degradable_share=still_degradable_share,
            book=book,
        ),
        (
            (face_caution(opening[0], opening[1], trigger_pct, book),),
            (_FACE_GAPS,),
        ),
        dig_cautions(
            deepest_m=excavation.deepest_m,
            overdig_m=site.overdig_m,
            side_slope=site.side_slope,
            left_in_slopes_m3=float(excavation.left_in_slopes_m3.sum()),
            edges=_edges(site, dug, book),
            receptors_given=site.hazards.receptors_given,
            book=book,
        ),
        *_from_logs_and_feed(site, best, book),
        leachate_cautions(
            *water,
            water_by_volume=float(best.feed.moisture[0] * best.feed.bulk_density_t_m3[0]),
            book=book,
            file=site.files.get("collars", "collar table"),
        ),
        _from_receptors(site, readings, book),
        ((), _gaps_in_samples(summary)),
    )
    cautions = in_order([caution for raised, _ in parts for caution in raised])
    not_assessed = [sentence for _, sentences in parts for sentence in sentences]
    return HazardAssessment(
        cautions=cautions,
        not_assessed=tuple(dict.fromkeys(not_assessed)),
        profile=book.profile,
        gas=gas_table(readings, book),
        trends=gas_trends(readings, book),
        triggers=triggers,
        methane_best=methane[0],
        methane_spread=methane[1],
        opening_best=opening[0],
        opening_spread=opening[1],
        leachate_best=water[0],
        leachate_spread=water[1],
        finds=finds_of(caution.key for caution in cautions),
        codes=waste_codes(_product_tonnes(best.products)),
        marks=map_marks(cautions, site.cores.collars),
    )


_FACE_GAPS = (
    "Gas driven out of an opened face by falling air pressure, by gas wells or by water, and gas "
    "of stockpiles and boxes, were not calculated."
)


def in_order(cautions: list[Caution]) -> tuple[Caution, ...]:
    """Return cautions by urgency, then by topic, then as they were raised."""
    return tuple(
        sorted(cautions, key=lambda caution: (URGENCY[caution.level], _TOPICS.index(caution.topic)))
    )


def _edges(site: Site, dug: ThicknessMap, book: RuleBook) -> list[tuple[str, EdgeDistance]]:
    """Return what lies near the edge of the dig, each with the rule for an undercut."""
    footprint = site.footprint
    relief_m = float(np.nanmax(dug.survey_m) - np.nanmin(dug.dig_m)) + site.overdig_m
    felt_m = relief_m * max(book["structure_undercut"].number, constant("influence_depths"))
    shapes = [
        ("undercut", "An excluded area", footprint.exclusions),
        ("boundary_undercut", "The edge of the footprint as given", footprint.as_given.boundary),
        *(
            ("structure_undercut", f"The receptor {receptor.name}", receptor.shape)
            for receptor in site.hazards.receptors
            if footprint.outline.distance(receptor.shape) <= felt_m
        ),
    ]
    edges = []
    raised: set[str] = set()
    measured = (
        (key, edge_distance(name, shape, dug, site.overdig_m, book[key].number))
        for key, name, shape in shapes
    )
    for key, edge in sorted(
        ((key, edge) for key, edge in measured if edge is not None),
        key=lambda pair: -pair[1].reach_m,
    ):
        if key not in raised:  # the worst of each kind; the register has one row per hazard
            raised.add(key)
            edges.append((key, edge))
    return edges


def _from_logs_and_feed(site: Site, best: ModelRun, book: RuleBook) -> tuple[_Raised, ...]:
    """Raise what logs, years, composition and line say."""
    intervals, feed, products = site.cores.intervals, best.feed, best.products
    words = site.hazards.words
    file = site.files.get("intervals", "interval table")
    mentions = find_mentions(intervals, words, file)
    wet_t = {
        name: float(tonnes) for name, tonnes in zip(feed.materials, feed.wet_t[0], strict=True)
    }
    hazardous_t = sum(wet_t[item.name] for item in materials() if item.group == "hazardous")
    feed_t = float(feed.total_wet_t[0])
    capacity_t_y = site.assumptions["plant.capacity_t_y"].central
    fuel = products.names.index("fuel") if "fuel" in products.names else None
    return (
        contents_cautions(
            mentions=mentions,
            notes=int(sum(bool(str(note).strip()) for note in intervals["note"])),
            opened=site.opened,
            hazardous_t=hazardous_t,
            feed_t=feed_t,
            own_words=len(words),
            book=book,
        ),
        water_and_air_cautions(
            mentions=mentions,
            overdig_m=site.overdig_m,
            feed_t=feed_t,
            capacity_t_y=capacity_t_y,
            film_and_paper_t=wet_t["plastic_film"] + wet_t["paper_card"],
            food_t=wet_t["garden_food"],
            book=book,
        ),
        process_cautions(
            fuel_t=0.0 if fuel is None else float(products.product_wet_t[0, fuel]),
            fuel_moisture=1.0 if fuel is None else float(products.moisture[0, fuel]),
            feed_t=feed_t,
            capacity_t_y=capacity_t_y,
            drying_feed_t=float(products.drying.feed_t[0]),
            heat_bought_mwh=float(products.drying.heat_bought_mwh[0]),
            hazardous_t=hazardous_t,
            solids_lost_t=float(products.drying.solids_lost_t[0]),
            book=book,
        ),
    )


def _from_receptors(site: Site, readings: Sequence[Reading], book: RuleBook) -> _Raised:
    outline = site.footprint.outline
    methane = [reading.value for reading in readings if reading.gas == "ch4_pct"]
    distances_m: dict[str, float] = {}
    for receptor in site.hazards.receptors:
        away_m = float(outline.distance(receptor.shape))
        distances_m[receptor.name] = min(away_m, distances_m.get(receptor.name, away_m))
    return receptor_cautions(
        distances_m,
        given=site.hazards.receptors_given,
        highest_methane_pct=max(methane) if methane else None,
        book=book,
    )


def _product_tonnes(products: Products) -> dict[str, float]:
    return {
        name: float(tonnes)
        for name, tonnes in zip(products.names, products.product_wet_t[0], strict=True)
        if np.isfinite(tonnes)
    }


def _gaps_in_samples(summary: CoreSummary | None) -> tuple[str, ...]:
    if summary is None:
        return (
            (
                "What the waste holds was not assessed from samples: the composition comes from "
                "the site file."
            ),
        )
    if not summary.moisture_measured:
        return (
            (
                "How wet the waste is was not measured: the moisture is a default, and so are dust "
                "and leachate cautions that rest on it."
            ),
        )
    return ()
