"""What the terminal shows: the headline numbers of an estimate, and the geologist's summary."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from reclaim.reference import materials
from reclaim.report.headlines import CHANCE_LABEL, HEADLINES, answer
from reclaim.report.results import results
from reclaim.report.wording import (
    band_of,
    best_of,
    counted,
    interval_of,
    number,
    percent,
    plain,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from reclaim.estimate import Estimate
    from reclaim.ground import Excavation
    from reclaim.site import Check, Cores, Site
    from reclaim.waste import CoreSummary

_WIDTH = 100


def summary_text(estimate: Estimate) -> str:
    """Return the estimate in short, as aligned plain text.

    Parameters
    ----------
    estimate
        From the main job.

    Returns
    -------
    str
        The answer, headline numbers with P10 to P90, the cautions that stop all work, and how
        many warnings there are on the data. No line break at the end.
    """
    document = results(estimate)
    rows = [["", "best estimate", "P10 to P90"]]
    for headline in HEADLINES:
        band = band_of(document["headlines"][headline.key])
        rows.append([headline.label, best_of(band), interval_of(band)])
    rows.append([CHANCE_LABEL, percent(document["headlines"]["chance_npv_positive"]), ""])
    lines = [*_wrapped(answer(document)), "", *_aligned(rows, right=(1, 2)), ""]
    lines += _caution_lines(estimate)
    warnings = sum(check.level == "warning" for check in estimate.checks)
    if warnings:
        lines.append(f"{counted(warnings, 'warning')} on the data; see 'Data checks'.")
    return plain("\n".join(lines))


def _caution_lines(estimate: Estimate) -> list[str]:
    """Return what stops all work, and how many other cautions the report has."""
    levels = [caution.level for caution in estimate.cautions]
    stops = [caution for caution in estimate.cautions if caution.level == "stop"]
    heading = "To stop, as the report says for each, until a competent person has dealt with:"
    lines = [heading] if stops else []
    for caution in stops:
        lines += _wrapped(f"* {caution.what}", "  ")
    counts = (
        f"The report has {counted(levels.count('act'), 'caution')} that "
        f"{'needs' if levels.count('act') == 1 else 'need'} controls before work and "
        f"{counted(levels.count('watch'), 'other')}."
    )
    return [
        *lines,
        *_wrapped(
            f"{counts} Local codes and licensed practice decide. This is a scoping-level estimate, "
            "not an offer and not a design."
        ),
    ]


def check_text(site: Site, excavation: Excavation, checks: Sequence[Check]) -> str:
    """Return what was read and measured, in short, and how much of it is suspect.

    Parameters
    ----------
    site
        As read.
    excavation
        From the ground room.
    checks
        All findings, of which no one is an error.
    """
    cores = site.cores
    grid = site.grid
    cell = f"{number(grid.cell_x_m)} x {number(grid.cell_y_m)} m"
    zones = counted(len(site.footprint.zones), "zone")
    samples, readings = (
        counted(len(cores.samples), "sample"),
        counted(len(cores.gas), "gas reading"),
    )
    mean, most = number(excavation.mean_depth_m), number(excavation.deepest_m)
    rows = [
        ["Files read", str(len(site.inputs))],
        ["Footprint", f"{number(excavation.area_m2.sum() / 1e4)} ha in {zones}"],
        ["Grid", f"{grid.columns} x {grid.rows} cells of {cell}"],
        ["Dug thickness", f"{mean} m on average, {most} m at most"],
        ["Waste to dig", f"{number(excavation.waste_m3.sum())} m3"],
        ["Cover to dig", f"{number(excavation.cover_m3.sum())} m3"],
        ["Cores", f"{len(cores.collars)} with {samples} and {readings}"],
        ["Line", site.line.label],
    ]
    warnings = sum(check.level == "warning" for check in checks)
    verdict = (
        f"{site.name}: the inputs can be used, with {counted(warnings, 'warning')}."
        if warnings
        else f"{site.name}: the inputs can be used; nothing looks wrong."
    )
    return plain("\n".join([*_aligned(rows, right=()), "", verdict]))


def cores_text(name: str, cores: Cores, summary: CoreSummary) -> str:
    """Return the geologist's summary: the cores, then composites with their bands.

    Parameters
    ----------
    name
        Of the site, for the heading.
    cores
        The core tables.
    summary
        From the waste room.
    """
    group_of = {material.name: material.group for material in materials()}
    zoned = len(summary.zones) > 1
    groups = ("fines", "combustible", "mineral", "metal", "hazardous")
    rows = [
        ["core", "zone", "waste m", "sampled m", "samples", "sorted kg", "moisture", "t/m3",
         *groups],
    ]  # fmt: skip
    for core in summary.per_core.to_dict("records"):
        shares = [
            percent(sum(core[m] for m in summary.materials if group_of[m] == group))
            for group in groups
        ]
        rows.append(
            [
                str(core["core_id"]),
                str(core["zone"]) or ("outside" if zoned else "none"),
                number(core["waste_m"]),
                number(core["sampled_m"]),
                f"{core['samples']:.0f}",
                number(core["wet_mass_kg"]),
                percent(core["moisture"], absent="none"),
                number(core["bulk_density_t_m3"], absent="none"),
                *shares,
            ]
        )
    lines = [
        (
            f"Cores of {name}: {len(cores.collars)} drilled, {len(summary.per_core)} with samples "
            "of waste. Shares are of wet mass."
        ),
        "",
        *_aligned(rows, right=range(2, 13)),
    ]
    for place, zone in enumerate(summary.zones):
        lines += ["", *_composite(summary, place, zone)]
    if not summary.moisture_measured:
        lines += ["", "No sample has a moisture; the one shown is a default."]
    return plain("\n".join(lines))


def _composite(summary: CoreSummary, place: int, zone: str) -> list[str]:
    labels = {material.name: material.label for material in materials()}
    title = "Whole site" if place == len(summary.zones) - 1 else f"Zone {zone}"
    moisture = (
        f"moisture {percent(summary.moisture[place])} "
        f"({percent(summary.moisture_low[place])} to {percent(summary.moisture_high[place])})"
    )
    rows = [["", "wet mass", "P10 to P90", "dry mass"]]
    absent = []
    for index in np.argsort(-summary.wet_fraction[place], kind="stable"):
        if summary.wet_fraction[place, index] == 0:
            absent.append(labels[summary.materials[index]].lower())
            continue
        low, high = summary.low[place, index], summary.high[place, index]
        rows.append(
            [
                labels[summary.materials[index]],
                percent(summary.wet_fraction[place, index]),
                f"{percent(low)} to {percent(high)}",
                percent(summary.dry_fraction[place, index]),
            ]
        )
    lines = [f"{title}, {moisture}", *_aligned(rows, right=(1, 2, 3))]
    return [*lines, *_wrapped(f"Not found: {', '.join(absent)}.")] if absent else lines


def _aligned(rows: Sequence[Sequence[str]], right: Sequence[int]) -> list[str]:
    """Return rows as lines with their columns aligned, two spaces between."""
    widths = [max(len(row[column]) for row in rows) for column in range(len(rows[0]))]
    lines = []
    for row in rows:
        cells = [
            cell.rjust(width) if column in right else cell.ljust(width)
            for column, (cell, width) in enumerate(zip(row, widths, strict=True))
        ]
        lines.append("  ".join(cells).rstrip())
    return lines


def _wrapped(text: str, indent: str = "") -> list[str]:
    from textwrap import wrap

    return wrap(
        plain(text), _WIDTH, initial_indent=indent, subsequent_indent=indent + "  " * bool(indent)
    )
