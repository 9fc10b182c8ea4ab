"""The tables as CSV: one row per thing, plain numbers, units in the column names.

Text from the site's files cannot run in a spreadsheet: a cell that starts like a formula gets an
apostrophe in front. Numbers are written as they are.
"""

from __future__ import annotations

import csv
from typing import TYPE_CHECKING, Any

import numpy as np

from reclaim.reference import read_rows, sources
from reclaim.report.confidence import CONFIDENCE_COLUMNS, confidence_tables
from reclaim.report.core_study import core_study_tables, laboratory_rows
from reclaim.report.hazards import HAZARD_COLUMNS, caution_row, hazard_tables

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence
    from pathlib import Path

    import pandas as pd

    from reclaim.estimate import Estimate
    from reclaim.report.results import Document
    from reclaim.waste import CoreSummary

Row = dict[str, Any]

_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n")


def tables(estimate: Estimate, document: Document) -> dict[str, list[Row]]:
    """Return every table by file name, without its ending.

    Parameters
    ----------
    estimate
        Read for what the document does not hold: single cores, streams, gas readings.
    document
        From `results`.
    """
    return {
        "materials": _materials(document),
        "core_composites": _core_composites(estimate),
        "core_residuals": _core_residuals(estimate),
        **core_study_tables(estimate.core_study),
        **({"laboratory": laboratory_rows(estimate.laboratory)} if estimate.laboratory else {}),
        "zone_composites": zone_rows(document["core_composites"]),
        "zones_and_lifts": _zones_and_lifts(estimate),
        "blocks": _blocks(estimate),
        "hypsometry": _hypsometry(estimate),
        "parallel_sections": _parallel_sections(estimate),
        "products": _products(document),
        "product_makeup": _product_makeup(document),
        "streams": _streams(estimate),
        "cash_flow": _cash_flow(document),
        "courses": _courses(document),
        "methane": [dict(row) for row in (document["carbon"] or {"by_year": []})["by_year"]],
        "schedule": [dict(row) for row in document["schedule"]["blocks"]],
        "published_cases": [dict(row) for row in document["outside_view"]["cases"]],
        "published_ranges": _published_ranges(document),
        "assumptions": _assumptions(document),
        "settings": [dict(row) for row in document["settings"]],
        "cautions": [caution_row(row) for row in document["cautions"]],
        **hazard_tables(estimate),
        **confidence_tables(estimate, document),
        "checks": [dict(row) for row in document["checks"]],
        "material_properties": [dict(row) for row in read_rows("material_properties.csv")],
        "machine_shares": _of_the_line(estimate, "machine_shares.csv"),
        "machine_settings": _machine_settings(estimate),
        "particle_sizes": [dict(row) for row in read_rows("particle_sizes.csv")],
        "product_limits": _product_limits(document),
        "gas_readings": records(estimate.site.cores.gas),
    }


EMPTY_COLUMNS: Mapping[str, Sequence[str]] = {
    "blocks": ("zone", "lift_top_m", "lift_bottom_m", "row", "column", "x_m", "y_m"),
    "hypsometry": ("elevation_m", "dug_below_m3", "open_area_m2"),
    "parallel_sections": ("station_m", "dug_area_m2"),
    "core_composites": ("core_id", "zone"),
    "core_residuals": ("core_id", "base_logged_m", "base_surface_m", "base_residual_m"),
    "zone_composites": ("zone", "material"),
    "machine_shares": ("kind", "outlet", "material", "low", "mode", "high"),
    "product_limits": ("product", "specification", "quantity", "value", "limit", "passes"),
    "methane": ("year",),
    "cautions": ("key", "topic", "level", "what", "why", "do", "who_decides", "source", "status"),
    **HAZARD_COLUMNS,
    **CONFIDENCE_COLUMNS,
    "checks": ("level", "where", "what", "what_to_do"),
    "gas_readings": (
        "core_id", "depth_m", "ch4_pct", "co2_pct", "o2_pct", "h2s_ppm", "co_ppm", "flow_l_h",
    ),
}  # fmt: skip
"""Header of a table that a site may leave without rows."""


def write_table(path: Path, rows: Sequence[Row], columns: Sequence[str] = ()) -> None:
    """Write one table: UTF-8 with a byte order mark, commas, a header, lines ended by CR LF.

    Parameters
    ----------
    path, rows
        The file, and its rows, each with the same keys.
    columns
        Header of a table without rows; that of `EMPTY_COLUMNS` where none is given.

    Notes
    -----
    RFC 4180. The byte order mark makes spreadsheets read names with accents rightly.
    """
    columns = list(rows[0]) if rows else list(columns or EMPTY_COLUMNS[path.stem])
    with path.open("w", encoding="utf-8-sig", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(_safe(name) for name in columns)
        writer.writerows([_safe(row[name]) for name in columns] for row in rows)


def _safe(cell: Any) -> Any:
    """Return a cell that a spreadsheet will not run; nothing for what is not known."""
    if cell is None or (isinstance(cell, float | np.floating) and not np.isfinite(cell)):
        return ""
    if isinstance(cell, bool | np.bool_):
        return "yes" if cell else "no"
    if isinstance(cell, str) and len(cell) > 1 and cell.lstrip(" ").startswith(_FORMULA_STARTS):
        return f"'{cell}"
    return cell


def _spread(name: str, band: Mapping[str, Any]) -> Row:
    """Return best, P10 and P90 of a headline object as three columns."""
    return {name: band["value"], f"{name}_p10": band["low"], f"{name}_p90": band["high"]}


def _materials(document: Document) -> list[Row]:
    return [
        {
            "material": row["name"],
            "label": row["label"],
            **_spread("wet_fraction", row["wet_fraction"]),
            **_spread("wet_t", row["wet_t"]),
            **_spread("dry_t", row["dry_t"]),
        }
        for row in document["feed"]["materials"]
    ]


def _published_ranges(document: Document) -> list[Row]:
    """Return every published range in its own money, and whether the estimate lies outside it."""
    outside = {flag["key"] for flag in document["outside_view"]["flags"]}
    return [{**row, "outside": row["key"] in outside} for row in read_rows("published_ranges.csv")]


def _courses(document: Document) -> list[Row]:
    rows = []
    for option in document["options"]:
        row: Row = {"course": option["name"], "label": option["label"]}
        for name, value in option.items():
            if isinstance(value, dict):
                row |= _spread(name, value)
        rows.append(row)
    return rows


def _core_composites(estimate: Estimate) -> list[Row]:
    summary = estimate.core_summary
    return [] if summary is None else core_rows(summary)


def _core_residuals(estimate: Estimate) -> list[Row]:
    """Return one row per core: base and cover in its log beside the surfaces used."""
    residuals = estimate.site.core_residuals
    return [] if residuals is None else records(residuals)


def core_rows(summary: CoreSummary) -> list[Row]:
    """Return one row for each core with waste samples."""
    return records(summary.per_core)


def records(frame: pd.DataFrame) -> list[Row]:
    """Return a frame's rows with their column names as text."""
    return [{str(name): cell for name, cell in row.items()} for row in frame.to_dict("records")]


def zone_rows(composites: Iterable[Document]) -> list[Row]:
    """Return one row for each zone and material, from the composites of a results document."""
    return [
        {
            "zone": composite["zone"],
            "material": name,
            **_spread("wet_fraction", share),
            "dry_fraction": composite["dry_fraction"][name],
            **_spread("moisture", composite["moisture"]),
        }
        for composite in composites
        for name, share in composite["wet_fraction"].items()
    ]


def _zones_and_lifts(estimate: Estimate) -> list[Row]:
    dig = estimate.excavation
    return [
        {
            "zone": name,
            "lift_top_m": float(top),
            "lift_bottom_m": float(bottom),
            "cover_m3": float(dig.cover_m3[zone, lift]),
            "waste_m3": float(dig.waste_m3[zone, lift]),
        }
        for zone, name in enumerate(dig.zones)
        for lift, (top, bottom) in enumerate(zip(dig.lift_top_m, dig.lift_bottom_m, strict=True))
    ]


def _blocks(estimate: Estimate) -> list[Row]:
    """Return the blocks of the dig; coordinates are those of the map, in metres."""
    if estimate.ground is None:
        return []
    found = estimate.ground.blocks
    names = (
        "lift_top_m", "lift_bottom_m", "row", "column", "x_m", "y_m", "elevation_m", "cover_m3",
        "waste_m3", "share_inside",
    )  # fmt: skip
    columns = [getattr(found, name).tolist() for name in names]
    return [
        {"zone": found.zones[zone], **dict(zip(names, row, strict=True))}
        for zone, row in zip(found.zone.tolist(), zip(*columns, strict=True), strict=True)
    ]


def _hypsometry(estimate: Estimate) -> list[Row]:
    if estimate.ground is None:
        return []
    curve = estimate.ground.hypsometry
    columns = (curve.elevation_m, curve.dug_below_m3, curve.open_area_m2)
    rows = zip(*(column.tolist() for column in columns), strict=True)
    return [
        {"elevation_m": level, "dug_below_m3": volume, "open_area_m2": area}
        for level, volume, area in rows
    ]


def _parallel_sections(estimate: Estimate) -> list[Row]:
    if estimate.ground is None:
        return []
    opinion = estimate.ground.second_opinion
    return [
        {"station_m": station, "dug_area_m2": area}
        for station, area in zip(
            opinion.station_m.tolist(), opinion.section_area_m2.tolist(), strict=True
        )
    ]


def _products(document: Document) -> list[Row]:
    banded = (
        "wet_t", "dry_t", "moisture", "ncv_mj_kg", "ncv_dry_mj_kg", "ash", "chlorine",
        "mercury_mg_mj", "biogenic_share",
    )  # fmt: skip
    rows = []
    for product in document["products"]:
        row: Row = {"product": product["name"], "label": product["label"]}
        for name in banded:
            row |= _spread(name, product[name])
        for metal, band in product["heavy_metals_mg_kg"].items():
            row |= _spread(f"{metal}_mg_kg", band)
        rows.append({**row, "fuel_class": product["fuel_class"], "purity": product["purity"]})
    return rows


def _product_makeup(document: Document) -> list[Row]:
    return [
        {"product": product["name"], "material": name, "wet_t": mass}
        for product in document["products"]
        for name, mass in product["materials"].items()
    ]


def _streams(estimate: Estimate) -> list[Row]:
    return [
        {
            "origin": stream.origin,
            "outlet": stream.outlet,
            "target": stream.target,
            "wet_t": float(stream.wet_t[0]),
        }
        for stream in estimate.best.products.streams
    ]


def _of_the_line(estimate: Estimate, name: str) -> list[Row]:
    """Return the reference rows of the kinds of machine in this line."""
    kinds = {machine.kind for machine in estimate.site.line.machines}
    return [dict(row) for row in read_rows(name) if row["kind"] in kinds]


def _machine_settings(estimate: Estimate) -> list[Row]:
    """Return every number of every machine of this line, stated or reference."""
    return [
        {
            "machine": machine.name,
            "kind": machine.kind,
            "setting": name,
            "value": setting.central,
            "unit": setting.unit,
            "distribution": setting.kind,
            "numbers": " ".join(f"{number:g}" for number in setting.numbers),
            "source": setting.source,
            "status": setting.status,
        }
        for machine in estimate.site.line.machines
        for name, setting in machine.settings.items()
    ]


def _product_limits(document: Document) -> list[Row]:
    return [{**row, "materials": " ".join(row["materials"])} for row in document["line"]["limits"]]


def _cash_flow(document: Document) -> list[Row]:
    """Return one row per year and line, so that pivot tables and scripts can use it."""
    return [
        {
            "year": year,
            "group": item["group"],
            "item": item["name"],
            "label": item["label"],
            "amount": amount,
        }
        for item in document["value"]["cash_flow"]
        for year, amount in enumerate(item["by_year"])
    ]


def _assumptions(document: Document) -> list[Row]:
    known = sources()
    rows = []
    for assumption in document["assumptions"]:
        low, high = _ends(assumption["kind"], assumption["numbers"])
        source = assumption["source"]
        rows.append(
            {
                "key": assumption["key"],
                "label": assumption["label"],
                "kind": assumption["kind"],
                "value": assumption["value"],
                "low": low,
                "high": high,
                "spread": _written_spread(assumption["kind"], assumption["numbers"]),
                "unit": assumption["unit"],
                "given": assumption["given"],
                "status": assumption["status"],
                "source": known[source].reference if source in known else source,
            }
        )
    return rows


def _ends(kind: str, numbers: Sequence[float]) -> tuple[float | None, float | None]:
    """Return the ends of a triangular range; other forms have none."""
    return (numbers[0], numbers[2]) if kind == "triangular" else (None, None)


def _written_spread(kind: str, numbers: Iterable[float]) -> str:
    """Return the spread of a normal or lognormal number in words."""
    second = list(numbers)[-1]
    words = {"normal": f"sd {second:g}", "lognormal": f"gsd {second:g}"}
    return words.get(kind, "")
