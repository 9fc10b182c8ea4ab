"""All cautions of a site, the most urgent first, and everything that was not assessed."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from reclaim.hazards.contents import contents_cautions
from reclaim.hazards.dig import dig_cautions, exclusion_distance
from reclaim.hazards.gas import gas_cautions, residual_gas
from reclaim.hazards.log_words import find_mentions
from reclaim.hazards.process import process_cautions
from reclaim.hazards.rules import URGENCY
from reclaim.hazards.water_and_air import water_and_air_cautions
from reclaim.reference import materials

if TYPE_CHECKING:
    from reclaim.ground.excavation import Excavation
    from reclaim.hazards.caution import Caution
    from reclaim.plant.products import Products
    from reclaim.site.model import Site
    from reclaim.waste.feed import CoreSummary, Feed

DEFERENCE = (
    "These cautions come from the numbers and records of this site and from published limits. "
    "They do not make a safe design, and what is not listed is not thereby safe. Local codes and "
    "licensed practice decide; where they ask for more, they hold."
)

_TOPICS = ("gas", "excavation", "contents", "water", "process")


def assess(
    site: Site,
    excavation: Excavation,
    summary: CoreSummary | None,
    best_feed: Feed,
    best_products: Products,
    still_degradable_share: float | None = None,
) -> tuple[tuple[Caution, ...], tuple[str, ...]]:
    """Return the cautions of a site and what was not assessed.

    Parameters
    ----------
    site, excavation, summary
        The inputs, the dig, and the geologist's summary (None where there is none).
    best_feed, best_products
        Best estimate: one draw.
    still_degradable_share
        Share of the original degradable carbon that is left [-], None where not known.

    Returns
    -------
    cautions
        The most urgent first, by topic within a level.
    not_assessed
        One sentence for each thing that could not be assessed, and why.
    """
    intervals = site.cores.intervals
    mentions = find_mentions(intervals)
    hazardous_t = _hazardous_t(best_feed)
    feed_t = float(best_feed.total_wet_t[0])
    fuel = best_products.names.index("fuel") if "fuel" in best_products.names else None
    parts = (
        gas_cautions(site.cores.gas, site.cores.collars),
        residual_gas(
            degradable_t=float((best_feed.dry_t * best_feed.properties.degradable)[0].sum()),
            age_years=None if site.closed is None else float(site.price_year - site.closed),
            still_degradable_share=still_degradable_share,
        ),
        dig_cautions(
            deepest_m=excavation.deepest_m,
            overdig_m=site.overdig_m,
            side_slope=site.side_slope,
            exclusion_distance_m=exclusion_distance(site.footprint),
        ),
        contents_cautions(
            mentions=mentions,
            notes=int(sum(bool(str(note).strip()) for note in intervals["note"])),
            opened=site.opened,
            hazardous_t=hazardous_t,
            feed_t=feed_t,
        ),
        water_and_air_cautions(mentions=mentions, overdig_m=site.overdig_m),
        process_cautions(
            fuel_t=0.0 if fuel is None else float(best_products.product_wet_t[0, fuel]),
            fuel_moisture=1.0 if fuel is None else float(best_products.moisture[0, fuel]),
            feed_t=feed_t,
            capacity_t_y=site.assumptions["plant.capacity_t_y"].central,
            drying_feed_t=float(best_products.drying.feed_t[0]),
            heat_bought_mwh=float(best_products.drying.heat_bought_mwh[0]),
            hazardous_t=hazardous_t,
        ),
        ((), _gaps_in_samples(summary)),
    )
    cautions = [caution for raised, _ in parts for caution in raised]
    not_assessed = [sentence for _, sentences in parts for sentence in sentences]
    return in_order(cautions), tuple(dict.fromkeys(not_assessed))


def in_order(cautions: list[Caution]) -> tuple[Caution, ...]:
    """Return cautions by urgency, then by topic, then as they were raised."""
    return tuple(
        sorted(cautions, key=lambda caution: (URGENCY[caution.level], _TOPICS.index(caution.topic)))
    )


def _hazardous_t(feed: Feed) -> float:
    hazardous = {material.name for material in materials() if material.group == "hazardous"}
    chosen = np.array([name in hazardous for name in feed.materials])
    return float(feed.wet_t[0, chosen].sum())


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
