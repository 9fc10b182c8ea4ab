"""What could hurt someone, behind the cautions: gas, trigger levels, the face, finds, codes."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from reclaim.hazards import DEFERENCE
from reclaim.hazards.opening import FARTHEST_M, NEAREST_M
from reclaim.report.sections.blocks import Block, Picture, Section, Table, Words
from reclaim.report.traced import count
from reclaim.report.wording import (
    as_stated,
    band_of,
    best_of,
    counted,
    interval_of,
    number,
    percent,
    whole,
)

if TYPE_CHECKING:
    from reclaim.report.results import Document

_PROFILES = {
    "all": "US federal, UK and EU rules together, the strictest first",
    "us": "US federal rules",
    "uk": "UK rules",
    "eu": "EU rules",
}
_OPENING = (
    ("dug_m3_d", "Waste dug in a working day"),
    ("stored_m3_d", "Methane from the pores of what is dug, a day"),
    ("seeping_m3_d", "Methane out of the standing face, a day"),
    ("generated_m3_d", "Methane made in the waste and let out at the face, a day"),
    ("methane_m3_d", "All methane let out, a day"),
    ("mixed_pct", "Methane in the air that light wind drives past the face"),
    ("dilution_air_m3_s", "Fresh air that keeps methane below the trigger level"),
    ("methane_distance_m", "Distance downwind to the trigger level of methane"),
    (
        "odour_distance_m",
        "Distance downwind to the guideline against the smell of hydrogen sulphide alone",
    ),
    ("whole_dig_m3", "Methane in the pores of all waste that is dug"),
)


def what_could_hurt(document: Document, *, drawn: bool = False) -> Section:
    """Return the section on the numbers behind the cautions; `drawn` where gas has a figure."""
    found = document["hazards"]
    stop, act, watch = (
        count(document, "cautions", level=level) for level in ("stop", "act", "watch")
    )
    finding = (
        f"{counted(stop, 'caution')} to stop, {whole(act)} to act and {whole(watch)} to watch, by "
        f"{_PROFILES[found['profile']]}; "
        f"{counted(count(document, 'not_assessed'), 'thing')} not assessed."
    )
    blocks: list[Block] = [
        Words(
            (
                DEFERENCE,
                (
                    "Numbers below are for planning. Distances and air flows are of the right "
                    "order at best, and do not hold in pits, in the lee, or in calm air."
                ),
            )
        )
    ]
    if found["triggers"]:
        blocks.append(_triggers(found["triggers"]))
    if drawn:
        blocks.append(_picture())
    blocks += _gas(found)
    if found["opening"] is not None:
        blocks.append(_opening(found["opening"]))
    if found["leachate"] is not None:
        blocks.append(_leachate(found["leachate"]))
    if found["finds"]:
        blocks.append(_finds(found["finds"]))
    if found["codes"]:
        blocks.append(_codes(found["codes"]))
    return Section(
        "what-could-hurt",
        "What could hurt someone",
        "What do the cautions rest on, and from which levels on is work stopped?",
        finding,
        tuple(blocks),
    )


def _picture() -> Picture:
    return Picture(
        "gas_against_depth",
        "Gas readings against depth, one panel for each gas, one marker for each zone.",
        "Gas in the cores against depth. Lines are the levels to act (dashed) and to stop (solid) "
        "for the air where people work; gas in a core is not that air. Levels far above the "
        "readings are not drawn.",
    )


def _triggers(rows: list[dict[str, Any]]) -> Table:
    ladders: dict[tuple[str, str], dict[str, dict[str, Any]]] = {}
    for row in rows:
        ladders.setdefault((row["label"], row["direction"]), {})[row["level"]] = row
    return Table(
        "Trigger levels for the air where people work (temperature: in the waste). The strictest "
        "limit that the profile names sets each; a limit of your own takes its place.",
        ("Reading", "Unit", "Watch", "Act", "Stop", "Set by"),
        tuple(
            (
                f"{label}, {direction}",
                next(iter(ladder.values()))["unit"],
                *(
                    as_stated(ladder[level]["value"]) if level in ladder else ""
                    for level in ("watch", "act", "stop")
                ),
                "; ".join(
                    f"{level}: {row['limit']} ({row['jurisdiction']}"
                    f"{', ' + row['edition'] if row['edition'] else ''})"
                    for level, row in ladder.items()
                ),
            )
            for (label, direction), ladder in ladders.items()
        ),
        text_columns=(0, 1, 5),
        small=True,
    )


def _gas(found: Document) -> list[Block]:
    zones = [row for row in found["gas"] if not row["core"]]
    if not zones:
        return []
    table = Table(
        "Gas in the cores, for the site and by zone. Core by core it is in tables/gas_summary.csv.",
        (
            "Reading",
            "Zone",
            "Unit",
            "Readings",
            "Lowest",
            "Median",
            "Highest",
            "Worst at, m",
            "Level",
        ),
        tuple(
            (
                row["label"],
                row["zone"] or "site",
                row["unit"],
                str(row["readings"]),
                number(row["lowest"]),
                number(row["median"]),
                number(row["highest"]),
                number(row["worst_depth_m"]),
                row["level"] or "none",
            )
            for row in zones
        ),
        text_columns=(0, 1, 2, 8),
        small=True,
    )
    told = tuple(row["in_words"] for row in found["trends"])
    return [table, Words(told, as_list=True)] if told else [table]


def _opening(opening: Document) -> Table:
    rows = []
    for key, label in _OPENING:
        if opening[key] is not None:
            band = band_of(opening[key])
            of_distance = key.endswith("distance_m")
            reach = f"{_distance(band.low)} to {_distance(band.high)}"
            rows.append(
                (label, _distance(band.value), reach)
                if of_distance
                else (label, best_of(band), interval_of(band))
            )
    return Table(
        "Gas let out at an opened face: an order of magnitude. Gas in the pores of what is dug, "
        "diffusion out of the face (Crank 1975; Millington and Quirk 1961), and the face's share "
        "of what the waste makes; plume by Briggs (1973) in stable air, which holds from 100 m on.",
        ("Number", "Best estimate", "P10 to P90"),
        tuple(rows),
    )


def _distance(distance_m: float | None) -> str:
    """Return a distance in words; the curves hold between two ends and say nothing beyond."""
    if distance_m is None:
        return "not known"
    if distance_m <= NEAREST_M:
        return f"within {NEAREST_M:.0f} m"
    if distance_m >= FARTHEST_M:
        return f"beyond {FARTHEST_M / 1000:.0f} km"
    return f"{number(distance_m, 2)} m"


def _leachate(leachate: Document) -> Table:
    band = band_of(leachate["to_pump_m3"])
    return Table(
        f"Water in the waste, from {counted(len(leachate['cores']), 'core')} with a water level.",
        ("Number", "Best estimate", "P10 to P90"),
        (
            (
                "Highest head over the bottom of the waste, m",
                number(leachate["highest_head_m"]),
                "",
            ),
            ("Share of the logged waste under water", percent(leachate["saturated_share"]), ""),
            ("To pump, rain and inflow not counted", best_of(band), interval_of(band)),
        ),
    )


def _finds(rows: list[dict[str, Any]]) -> Table:
    return Table(
        "What finds mean, where the logs, the years or the composition point to them.",
        ("Find", "The dig", "The line", "Disposal", "Likely codes", "Tests that decide"),
        tuple(
            (
                row["key"].replace("_", " ").capitalize(),
                row["dig"],
                row["line"],
                row["disposal"],
                row["codes"],
                row["tests"],
            )
            for row in rows
        ),
        text_columns=(0, 1, 2, 3, 4, 5),
        small=True,
    )


def _codes(rows: list[dict[str, Any]]) -> Table:
    return Table(
        "Likely waste category of what comes out: European List of Waste, from memory; only tests "
        "and the waste regulator decide. A star marks hazardous waste.",
        ("Product", "Code", "In words", "Hazardous twin", "Tests that decide", "US tests"),
        tuple(
            (
                row["product"].capitalize(),
                row["code"],
                row["name"],
                row["mirror_code"],
                row["tests"],
                row["tests_us"],
            )
            for row in rows
        ),
        text_columns=(0, 1, 2, 3, 4, 5),
        small=True,
    )
