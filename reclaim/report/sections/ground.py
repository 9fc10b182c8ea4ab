"""How much is in the ground: volumes by zone and lift, and how well they are known."""

from __future__ import annotations

from typing import TYPE_CHECKING

from reclaim.report.figures.section import REACH
from reclaim.report.sections.blocks import Block, Picture, Section, Table, Words, setting
from reclaim.report.sections.ground_study import closer_look
from reclaim.report.traced import count, marked
from reclaim.report.wording import (
    as_stated,
    band_of,
    best_of,
    best_with_interval,
    counted,
    interval_of,
    listed,
    number,
    with_unit,
)

if TYPE_CHECKING:
    from reclaim.estimate import Estimate
    from reclaim.report.results import Document


def how_much(estimate: Estimate, document: Document) -> Section:
    """Return the section on volumes."""
    dig, headlines = document["excavation"], document["headlines"]
    excavated, waste = band_of(headlines["excavated_m3"]), band_of(dig["waste_m3"])
    hectares = number(dig["area_m2"] / 1e4)
    finding = (
        f"The dig would take out {best_with_interval(excavated)} from {hectares} hectares, "
        f"{best_of(waste)} of it waste; it is {number(dig['mean_depth_m'])} m deep on average and "
        f"{number(dig['deepest_m'])} m at its deepest."
    )
    blocks: list[Block] = [_map(estimate, document)]
    if dig["lifts"]:
        blocks.append(_dig_surface(estimate))
    if estimate.sections:
        blocks.append(_sections(estimate))
    blocks += [_zones(document), Words(_caveats(document))]
    if dig["lifts"]:
        fullest = max(dig["lifts"], key=lambda lift: lift["waste_m3"] + lift["cover_m3"])
        volume = fullest["waste_m3"] + fullest["cover_m3"]
        bottom, top = (marked(f"{fullest[end]:.1f}", fullest[end]) for end in ("bottom_m", "top_m"))
        caption = (
            f"Dug volume in place by {counted(count(document, 'excavation.lifts'), 'lift')} of "
            f"{as_stated(setting(document, 'excavation.lift_m'))} m. The lift from {bottom} to "
            f"{top} m holds most, {number(volume)} m³. Over-dig is not included."
        )
        alt = "Bars of dug cover and waste volume against elevation, one bar for each lift."
        blocks.append(Picture("lift_volumes", alt, caption))
    if document["ground"] is not None:
        blocks += closer_look(estimate, document)
    return Section("how-much", "How much", "How much is in the ground?", finding, tuple(blocks))


def _map(estimate: Estimate, document: Document) -> Picture:
    footprint, cores = estimate.site.footprint, len(estimate.site.cores.collars)
    zones = listed(zone.name for zone in footprint.zones)
    held_back = " The hatched area must not be dug." if not footprint.exclusions.is_empty else ""
    return Picture(
        "thickness_map",
        f"Map of the site: dug thickness up to {number(estimate.excavation.deepest_m)} m in the "
        f"footprint, with {counted(len(footprint.zones), 'zone')} and {counted(cores, 'core')}.",
        f"Thickness of cover and waste that the dig takes. "
        f"{'Zones' if len(footprint.zones) > 1 else 'Zone'}: {zones}. The edge is set back "
        f"{as_stated(setting(document, 'footprint.setback_m'))} m from the footprint as given."
        f"{held_back}",
    )


def _dig_surface(estimate: Estimate) -> Picture:
    by_depth = estimate.excavation.lifts_by == "depth"
    height = "depth below today's ground" if by_depth else "elevation"
    return Picture(
        "dig_surface",
        f"Map of the bottom of the dig, coloured by {height} in steps of one lift.",
        f"Bottom of the dig before over-dig, by {height}; each colour is one lift. Slopes are "
        "drawn as the site file asks for them. Whether they stand is for a licensed engineer.",
    )


def _sections(estimate: Estimate) -> Picture:
    count = len(estimate.sections)
    return Picture(
        "sections",
        f"{counted(count, 'vertical section')} through the site: today's ground, cover, waste, "
        "base and the bottom of the dig, with the cores nearby.",
        f"{'Section' if count == 1 else 'Sections'} along the "
        f"{'line' if count == 1 else 'lines'} on the map. Cores within "
        f"{as_stated(100 * REACH)}% of a section's length from it are drawn on it, with their "
        "distance from the line. Heights are exaggerated.",
    )


def _zones(document: Document) -> Table:
    dig = document["excavation"]
    rows = []
    for zone in dig["zones"]:
        waste = band_of(zone["waste_m3"])
        rows.append(
            (
                zone["name"],
                number(zone["area_m2"]),
                number(zone["cover_m3"]),
                best_of(waste).removesuffix("\u00a0m³"),
                interval_of(waste).removesuffix("\u00a0m³"),
                number(zone["overdig_m3"]),
                number(zone["left_in_slopes_m3"]),
            )
        )
    whole = band_of(dig["waste_m3"])
    rows.append(
        (
            "Whole site",
            number(dig["area_m2"]),
            number(dig["cover_m3"]["value"]),
            best_of(whole).removesuffix("\u00a0m³"),
            interval_of(whole).removesuffix("\u00a0m³"),
            number(dig["overdig_m3"]["value"]),
            number(dig["left_in_slopes_m3"]),
        )
    )
    return Table(
        "Volumes in place by zone",
        (
            "Zone", "Area [m²]", "Cover [m³]", "Waste [m³]", "Waste, P10 to P90 [m³]",
            "Over-dig [m³]", "Stays under slopes [m³]",
        ),
        tuple(rows),
    )  # fmt: skip


def _caveats(document: Document) -> tuple[str, ...]:
    dig = document["excavation"]
    error = dig["waste_volume_sd_m3"]
    parts = [
        (
            "The waste volume has a standard deviation of "
            f"{with_unit(number(error['total'], 2), 'm3')} from the surfaces alone: "
            f"{number(error['systematic'], 2)} m³ from a shift of a whole surface, "
            f"{number(error['correlated'], 2)} m³ from errors shared by neighbouring points and "
            f"{number(error['random'], 2)} m³ from random ones."
        )
    ]
    if dig["unknown_area_m2"] > 0:
        parts.append(
            f"On {with_unit(number(dig['unknown_area_m2']), 'm2')} of the footprint the ground or "
            "the base is not known; that area adds no volume."
        )
    if dig["inverted_area_m2"] > 0:
        parts.append(
            f"On {with_unit(number(dig['inverted_area_m2']), 'm2')} the base lies above today's "
            "ground; that area is counted as nothing."
        )
    return tuple(parts)
