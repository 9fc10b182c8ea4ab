"""What the waste is made of: shares and tonnes by material, and the cores behind them."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from reclaim.reference import materials
from reclaim.report.sections.blocks import Block, Picture, Section, Table, Words
from reclaim.report.wording import (
    band_of,
    best_of,
    best_with_interval,
    counted,
    interval_of,
    number,
    percent,
)

if TYPE_CHECKING:
    from collections.abc import Hashable, Mapping

    from reclaim.estimate import Estimate
    from reclaim.report.results import Document

CORES_LISTED = 60
"""With more cores than this the page names the table file instead of listing them."""


def what_it_is(estimate: Estimate, document: Document) -> Section:
    """Return the section on composition."""
    feed = document["feed"]
    shares = group_shares(document)
    finding = (
        f"The dig holds {best_with_interval(band_of(feed['waste_t']))} of wet waste: "
        f"{percent(shares['fines'])} soil-like fines, {percent(shares['combustible'])} "
        f"combustible, {percent(shares['mineral'])} stone, glass and other minerals and "
        f"{percent(shares['metal'])} metal, by wet mass."
    )
    largest = max(feed["materials"], key=lambda row: row["wet_fraction"]["value"])
    summary = estimate.core_summary
    origin = (
        "the site file"
        if summary is None
        else f"{counted(document['core_tables']['sampled_cores'], 'core')} with samples"
    )
    caption = (
        f"Make-up from {origin}. {largest['label']} is the largest part, "
        f"{best_with_interval(band_of(largest['wet_fraction']))} of wet mass. Bars are the best "
        "estimate for all that is dug, lines P10 to P90."
    )
    blocks: list[Block] = [
        Picture("composition", "Bars of the share of each material in the wet mass.", caption),
        _materials(document),
        Words(_moisture(estimate, document)),
    ]
    if estimate.laboratory:
        blocks.append(_laboratory(estimate))
    if summary is not None and len(summary.per_core) <= CORES_LISTED:
        blocks.append(_cores(estimate))
    elif summary is not None:
        blocks.append(Words(("All cores are listed in tables/core_composites.csv.",)))
    return Section(
        "what-it-is", "What it is made of", "What is the waste made of?", finding, tuple(blocks)
    )


def group_shares(document: Document) -> dict[str, float]:
    """Return the share of wet mass by group of materials [-], best estimate."""
    group_of = {material.name: material.group for material in materials()}
    shares = dict.fromkeys(group_of.values(), 0.0)
    for row in document["feed"]["materials"]:
        shares[group_of[row["name"]]] += row["wet_fraction"]["value"]
    return shares


def _materials(document: Document) -> Table:
    rows = sorted(
        document["feed"]["materials"], key=lambda row: row["wet_fraction"]["value"], reverse=True
    )
    return Table(
        "Tonnes of each material in the waste that is dug",
        (
            "Material", "Share of wet mass", "P10 to P90", "Wet mass [t]", "P10 to P90 [t]",
            "Dry mass [t]",
        ),
        tuple(
            (
                row["label"],
                best_of(band_of(row["wet_fraction"])),
                interval_of(band_of(row["wet_fraction"])),
                best_of(band_of(row["wet_t"])).removesuffix("\u00a0t"),
                interval_of(band_of(row["wet_t"])).removesuffix("\u00a0t"),
                best_of(band_of(row["dry_t"])).removesuffix("\u00a0t"),
            )
            for row in rows
        ),
    )  # fmt: skip


def _moisture(estimate: Estimate, document: Document) -> tuple[str, ...]:
    feed = document["feed"]
    summary = estimate.core_summary
    measured = summary is not None and summary.moisture_measured
    origin = "measured on the samples" if measured else "assumed, not measured"
    return (
        (
            f"In place the waste holds {best_with_interval(band_of(feed['moisture']))} water, as a "
            f"share of wet mass ({origin}"
            f"), and weighs {best_with_interval(band_of(feed['bulk_density_t_m3']))}."
        ),
        (
            "Soil-like fines are what passes the sorting sieve: cover soil, rotted matter and "
            f"small stones. Cover ({best_of(band_of(feed['cover_t']))}) and over-dig "
            f"({best_of(band_of(feed['overdig_t']))}) are soil that does not go through the plant; "
            "they are not in this table."
        ),
    )


def _laboratory(estimate: Estimate) -> Table:
    from reclaim.waste import QUANTITY_WORDS

    return Table(
        "Bulk waste as the laboratory measured it, and as the reference values of the materials "
        "give it. The estimate brings the materials to the measured means by one factor for each "
        "line",
        ("Quantity", "Cores tested", "Measured", "Standard error", "From the materials", "Used"),
        tuple(
            (
                _capital(QUANTITY_WORDS[fit.measured.quantity]),
                str(fit.measured.cores),
                number(fit.measured.mean),
                number(fit.measured.standard_error, 2),
                number(fit.of_materials),
                number(fit.used),
            )
            for fit in estimate.laboratory
        ),
    )


def _capital(words: str) -> str:
    return words[0].upper() + words[1:]


def _cores(estimate: Estimate) -> Table:
    summary = estimate.core_summary
    assert summary is not None
    group_of = {material.name: material.group for material in materials()}

    def share(core: Mapping[Hashable, Any], group: str) -> str:
        return percent(sum(core[name] for name in summary.materials if group_of[name] == group))

    return Table(
        "The cores: what was sampled and found, shares of wet mass",
        (
            "Core", "Zone", "Waste [m]", "Sampled [m]", "Samples", "Sorted mass [kg]",
            "Moisture", "Fines", "Combustible", "Mineral", "Metal",
        ),
        tuple(
            (
                str(core["core_id"]),
                str(core["zone"]) or "outside",
                number(core["waste_m"]),
                number(core["sampled_m"]),
                f"{core['samples']:.0f}",
                number(core["wet_mass_kg"]),
                percent(core["moisture"], absent="not measured"),
                share(core, "fines"),
                share(core, "combustible"),
                share(core, "mineral"),
                share(core, "metal"),
            )
            for core in summary.per_core.to_dict("records")
        ),
        text_columns=(0, 1),
        small=True,
    )  # fmt: skip
