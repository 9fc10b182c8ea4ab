"""The closer look at the ground: second opinion, curve, chances, and where soil and waste go."""

from __future__ import annotations

from math import isfinite
from typing import TYPE_CHECKING

from reclaim.report.sections.blocks import Block, Picture, Table, Words, setting
from reclaim.report.wording import (
    MINUS,
    as_stated,
    band_of,
    best_of,
    best_with_interval,
    interval_of,
    number,
    percent,
    whole,
    with_unit,
)

if TYPE_CHECKING:
    from reclaim.estimate import Estimate
    from reclaim.report.results import Document


def closer_look(estimate: Estimate, document: Document) -> list[Block]:
    """Return the figures, tables and words of the ground study."""
    ground, area_m2 = document["ground"], document["excavation"]["area_m2"]
    thick = ground["thicker_than"]
    depth = as_stated(thick["depth_m"])
    share = percent(thick["expected_area_m2"] / area_m2)
    return [
        Picture(
            "hypsometric_curve",
            "Curves of the volume dug below each elevation and of the area open at it.",
            "Left: cover and waste dug below an elevation. Right: how wide the pit is there. Both "
            "are exact at every level; dotted lines are limits of lifts.",
        ),
        Picture(
            "chance_map",
            f"Map of the chance that the waste is thicker than {depth} m.",
            f"How sure it is that the waste is thicker than {depth} m, from the errors of survey "
            f"and base; the cover is not counted. By expectation that holds on "
            f"{with_unit(number(thick['expected_area_m2']), 'm2')}, {share} of the area.",
        ),
        _opinion_table(document),
        Words(_opinion_words(document)),
        *_core_residuals(estimate),
        _soil_table(document),
        Words(_soil_words(document)),
    ]


def _opinion_table(document: Document) -> Table:
    opinion = document["ground"]["second_opinion"]
    grid_m3 = opinion["grid_m3"]
    rows = [("Grid, every cell by its exact share", number(grid_m3, 4), "")]
    for words, key in (
        ("Parallel sections, prismoidal formula", "prismoidal_m3"),
        ("Parallel sections, average end areas", "end_area_m3"),
    ):
        off = (opinion[key] - grid_m3) / grid_m3 if grid_m3 else 0.0
        beside = f"{percent(abs(off))} {'more' if off > 0 else 'less'}" if off else "the same"
        rows.append((words, number(opinion[key], 4), beside))
    return Table(
        "Second opinion on cover and waste dug",
        ("Method", "Volume [m³]", "Beside the grid"),
        tuple(rows),
        text_columns=(0, 2),
    )


def _opinion_words(document: Document) -> tuple[str, ...]:
    opinion = document["ground"]["second_opinion"]
    error_m3 = document["excavation"]["waste_volume_sd_m3"]["total"]
    off_m3 = opinion["prismoidal_m3"] - opinion["grid_m3"]
    bend_m3 = opinion["end_area_m3"] - opinion["prismoidal_m3"]
    inside = "within" if abs(off_m3) <= error_m3 else "more than"
    spacing, bend, off, error = (
        with_unit(number(volume_m3, 2), "m3")
        for volume_m3 in (opinion["spacing_error_m3"], abs(bend_m3), abs(off_m3), error_m3)
    )
    words = (
        f"{whole(opinion['sections'])} sections across the long axis. What lies between them is "
        f"not seen: at this spacing about {spacing}. End areas differ from the prismoidal formula "
        f"by {bend} because the ground between sections is no wedge. The prismoidal volume is "
        f"{off} off the grid's, {inside} the stated error of {error}. The estimate goes on with "
        "the grid."
    )
    return (words,)


def _core_residuals(estimate: Estimate) -> list[Block]:
    """Return what logs and surfaces say at each core; nothing where no core says anything."""
    frame = estimate.site.core_residuals
    if frame is None or frame[["base_residual_m", "cover_residual_m"]].isna().all(axis=None):
        return []
    columns = [
        f"{what}_{kind}_m" for what in ("base", "cover")
        for kind in ("logged", "surface", "residual")
    ]  # fmt: skip
    rows = [
        (str(row["core_id"]), *(_metres(row[name]) for name in columns))
        for row in frame.to_dict("records")
    ]
    means = frame[columns].mean()
    rows.append(("Mean", *(_metres(means[name]) if "residual" in name else "" for name in columns)))
    sampled = estimate.site.base_sampled or estimate.site.base_kriging_sd is not None
    words = (
        "The base comes from the cores; at each core it is shown as the other cores alone give it."
        if sampled
        else f"The base is {estimate.site.base.label}."
    )
    return [
        Table(
            "Cores beside the surfaces: base and cover",
            (
                "Core", "Base logged [m]", "Base used [m]", "Difference [m]", "Cover logged [m]",
                "Cover used [m]", "Difference [m]",
            ),
            tuple(rows),
            small=True,
        ),
        Words((f"{words} A mean difference far from nothing is a bias of the surface used.",)),
    ]  # fmt: skip


def _metres(value: float) -> str:
    """Return a length to the centimetre; nothing where it is not known."""
    if not isfinite(value):
        return ""
    text = f"{abs(value):.2f}"
    return f"{MINUS}{text}" if round(value, 2) < 0 else text


def _soil_table(document: Document) -> Table:
    soil, target = document["ground"]["soil"], document["ground"]["restoration"]
    rows = [
        ("Waste, loose", "waste_loose_m3"),
        ("Stripped cover, loose", "cover_loose_m3"),
        ("Over-dig, loose", "overdig_loose_m3"),
        ("Ground under one heap of cover and over-dig", "soil_heap_m2"),
        ("Ground under the waste that waits", "waste_heap_m2"),
        ("What cover and over-dig fill when placed", "soil_placed_m3"),
    ]
    if target is not None:
        rows += [("Soil to bring in", "import_m3"), ("Soil left over", "export_m3")]
    return Table(
        "Swell, heaps and soil",
        ("Quantity", "Best estimate", "P10 to P90"),
        tuple(
            (words, best_of(band_of(soil[key])), interval_of(band_of(soil[key])))
            for words, key in rows
        ),
    )


def _soil_words(document: Document) -> tuple[str, ...]:
    ground = document["ground"]
    target, soil = ground["restoration"], ground["soil"]
    clean = (
        "Whether cover and over-dig may be used again is for tests and the authority to say; "
        "until then a heap of them is treated as waste. Heaps are kept from watercourses and from "
        "the edge of the dig."
    )
    if target is None:
        asked = (
            "No shape is asked for after the dig, so no soil is counted as short or left over. "
            "Give restoration_elevation_m or restoration under [excavation]."
        )
        return asked, clean
    short, left = band_of(soil["import_m3"]), band_of(soil["export_m3"])
    balance = (
        f"{best_with_interval(short)} of soil have to be brought in"
        if short.value > 0
        else f"{best_with_interval(left)} of soil are left over"
    )
    cut = (
        f", and {with_unit(number(target['cut_m3']), 'm3')} of ground above it are cut"
        if target["cut_m3"] > 0
        else ""
    )
    overdig = as_stated(setting(document, "excavation.overdig_m"))
    filled = (
        f"The ground after the dig shall be {target['target']}. Filling up to it takes "
        f"{with_unit(number(target['fill_m3']), 'm3')} placed, {overdig} m of over-dig "
        f"included{cut}. Without residue or other fill, {balance}."
    )
    return filled, clean
