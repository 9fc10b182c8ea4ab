"""How far the cores can be trusted: statistics, precision, pattern in space, the next cores."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from reclaim.reference import constant, materials
from reclaim.report.sections.blocks import Block, Picture, Section, Table, Words
from reclaim.report.traced import count
from reclaim.report.wording import counted, listed, number, percent, whole

if TYPE_CHECKING:
    from reclaim.report.results import Document
    from reclaim.waste import CoreStudy


def core_study_section(study: CoreStudy, document: Document) -> Section:
    """Return the section on statistics, precision and the spatial estimate."""
    known = document["core_study"]["precision"]
    method = "kriging between the cores" if study.spatial.used else "the mean of each zone's cores"
    finding = (
        f"The estimate takes {method}. With the cores there are, "
        f"{counted(known['materials_known'], 'material')} of {whole(known['materials_found'])} "
        f"found, {percent(known['known_share'])} of the wet mass, are known to within "
        f"{percent(known['wanted'])} at {percent(known['confidence'])} confidence."
    )
    blocks: list[Block] = [_statistics(study), Words(_what_each_mean_is_for()), _precision(study)]
    if study.precision["precision"].notna().any():
        blocks.append(
            Picture(
                "precision",
                "Curves of the half-width of the interval against the number of cores.",
                "Half-width of the interval for the largest materials, as a share of their mean. "
                "Markers stand at the cores there are.",
            )
        )
    if len(study.spatial.variogram):
        blocks.append(
            Picture(
                "variogram",
                "Semivariance between cores against their distance.",
                f"Pooled over all materials. {study.spatial.fit.reason}",
            )
        )
    if study.spatial.skill is not None:
        blocks.append(
            Picture(
                "skill",
                "Bars of the skill of kriging for each material.",
                study.spatial.why,
            )
        )
    blocks.append(
        Picture(
            "ternary",
            "Triangle of fuel, fines and inert with every core.",
            "Each mark is a core. Cores that lie apart are worth a second look.",
        )
    )
    if len(study.moistures):
        blocks.append(_moistures(study))
    blocks += _next(study)
    blocks.append(Words((*_tests(study, document), *study.notes), as_list=True))
    return Section(
        "core-study",
        "How far the cores can be trusted",
        "Are there enough cores, and what lies between them?",
        finding,
        tuple(blocks),
    )


def _statistics(study: CoreStudy) -> Table:
    label_of = {material.name: material.label for material in materials()}
    site = study.statistics[study.statistics["zone"] == "site"]
    site = site[site["mean"] > 0].sort_values("mean", ascending=False)
    records = site.to_dict("records")
    columns = {
        "Material": [label_of[str(row["material"])] for row in records],
        "Cores with it": [str(row["found_in"]) for row in records],
        "Mean": [percent(row["mean"]) for row in records],
        "P10 to P90, bootstrap": [_between(row["bca_low"], row["bca_high"]) for row in records],
        "P10 to P90, t": [_between(row["t_low"], row["t_high"]) for row in records],
        "Median": [percent(row["median"]) for row in records],
        "Between cores, sd": [_percent(row["sd"]) for row in records],
        "Geometric centre": [percent(row["log_ratio_centre"]) for row in records],
    }
    for title, name in (
        ("Mean by area", "mean_by_area"), ("Mean by cells", "mean_by_cells"), ("Kriged", "kriged")
    ):  # fmt: skip
        if site[name].notna().any():
            columns[title] = [_percent(row[name]) for row in records]
    return Table(
        f"Statistics over all {int(site['cores'].max())} cores, shares of wet mass",
        tuple(columns),
        tuple(zip(*columns.values(), strict=True)),
        small=True,
    )


def _what_each_mean_is_for() -> tuple[str, ...]:
    return (
        (
            "Tonnage takes the arithmetic mean by mass. Means by area and by cells weigh lonely "
            "cores more; where they differ much from the mean, the cores are clustered. The "
            "geometric centre, from log-ratios, describes a typical core and is biased for tonnage."
        ),
    )


def _precision(study: CoreStudy) -> Table:
    label_of = {material.name: material.label for material in materials()}
    table = study.precision[study.precision["mean"] > 0].sort_values("mean", ascending=False)
    wanted = percent(constant("sampling_precision"))
    return Table(
        "Enough samples? Precision reached, and what more would need",
        (
            "Material", "Between cores", "Within a core", "Precision now",
            f"Cores for {wanted}", f"Samples for {wanted}, if independent",
        ),
        tuple(
            (
                label_of[str(row["material"])],
                _percent(row["sd_between"]),
                _percent(row["sd_within"]),
                _percent(row["precision"]),
                _count(row["cores_needed"]),
                _count(row["samples_needed"]),
            )
            for row in table.to_dict("records")
        ),
        small=True,
    )  # fmt: skip


def _moistures(study: CoreStudy) -> Table:
    label_of = {material.name: material.label for material in materials()}
    return Table(
        "Moisture of the materials that were dried one by one. The estimate keeps these "
        "proportions and scales them together to the moisture of the mix",
        ("Material", "Samples", "Wet mass [kg]", "Moisture"),
        tuple(
            (
                label_of[str(row["material"])],
                str(row["samples"]),
                number(row["wet_mass_kg"]),
                percent(row["moisture"]),
            )
            for row in study.moistures.to_dict("records")
        ),
        small=True,
    )


def _next(study: CoreStudy) -> list[Block]:
    proposed = study.next_cores
    if proposed is None or not len(proposed.places_m):
        return []
    return [
        Picture(
            "next_cores",
            "Map of the cores there are and of the next ones proposed, numbered.",
            f"{proposed.method} Check access, services and buried hazards before drilling.",
        ),
        Table(
            "Where to core next",
            ("Order", "Easting [m]", "Northing [m]", "Error of the total, of today's"),
            tuple(
                (str(place + 1), f"{x:.0f}", f"{y:.0f}", percent(left))
                for place, ((x, y), left) in enumerate(
                    zip(proposed.places_m, proposed.error_left, strict=True)
                )
            ),
        ),
    ]


def _tests(study: CoreStudy, document: Document) -> tuple[str, ...]:
    label_of = {material.name: material.label.lower() for material in materials()}
    sentences = []
    if np.isfinite(study.zones_chance):
        verdict = "differ" if study.zones_chance < 0.05 else "cannot be told apart"
        sentences.append(
            f"Zones {verdict}: were they alike, cores would differ as much between zones with a "
            f"chance of {number(document['core_study']['zones_chance'], 2)} (permutation test on "
            "log-ratios)."
        )
    trends = [row for row in document["core_study"]["trends"] if row["chance"] is not None]
    steep = [row for row in trends if row["chance"] < 0.05]
    if steep:
        trended = whole(count(document, "core_study.trends"))
        words = [
            f"{label_of[str(row['material'])]} {'rises' if row['slope_per_m'] > 0 else 'falls'} by "
            f"{percent(abs(row['slope_per_m']))} per metre"
            for row in steep
        ]
        sentences.append(
            f"With depth, inside cores: {listed(words)}. Of {trended} materials about "
            "one would seem to by chance alone."
        )
    unlike = [str(name) for name in study.outliers["core_id"][study.outliers["unlike"]]]
    if unlike:
        sentences.append(
            f"Unlike the other cores: {listed(unlike)}. They are kept; check their records."
        )
    return tuple(sentences)


def _between(low: Any, high: Any) -> str:
    if not np.isfinite(low):
        return "not known"
    return f"{percent(max(low, 0.0))} to {percent(high)}"


def _percent(value: Any) -> str:
    return percent(value) if np.isfinite(value) else "\u2013"


def _count(value: Any) -> str:
    return f"{value:.0f}" if np.isfinite(value) else "\u2013"
