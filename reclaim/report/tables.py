"""The tables as CSV: one row per thing, plain numbers, units in the column names.

Text from the site's files cannot run in a spreadsheet: a cell that starts like a formula gets an
apostrophe in front. Numbers are written as they are.
"""

from __future__ import annotations

import csv
from typing import TYPE_CHECKING, Any

import numpy as np

from reclaim.reference import read_rows, sources

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence
    from pathlib import Path

    import pandas as pd

    from reclaim.estimate import Estimate
    from reclaim.report.results import Document

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
        "zone_composites": _zone_composites(document),
        "zones_and_lifts": _zones_and_lifts(estimate),
        "products": _products(document),
        "product_makeup": _product_makeup(document),
        "streams": _streams(estimate),
        "cash_flow": _cash_flow(document),
        "assumptions": _assumptions(document),
        "settings": [dict(row) for row in document["settings"]],
        "cautions": [dict(row) for row in document["cautions"]],
        "checks": [dict(row) for row in document["checks"]],
        "material_properties": [dict(row) for row in read_rows("material_properties.csv")],
        "machine_shares": _machine_shares(estimate),
        "gas_readings": _records(estimate.site.cores.gas),
    }


EMPTY_COLUMNS: Mapping[str, Sequence[str]] = {
    "core_composites": ("core_id", "zone"),
    "zone_composites": ("zone", "material"),
    "machine_shares": ("kind", "outlet", "material", "low", "mode", "high"),
    "cautions": ("key", "topic", "level", "what", "why", "do", "who_decides", "source", "status"),
    "checks": ("level", "where", "what", "what_to_do"),
    "gas_readings": (
        "core_id", "depth_m", "ch4_pct", "co2_pct", "o2_pct", "h2s_ppm", "co_ppm", "flow_l_h",
    ),
}  # fmt: skip
"""Header of a table that a site may leave without rows."""


def write_table(path: Path, rows: Sequence[Row]) -> None:
    """Write one table: UTF-8 with a byte order mark, commas, a header, lines ended by CR LF.

    Notes
    -----
    RFC 4180. The byte order mark makes spreadsheets read names with accents rightly.
    """
    columns = list(rows[0]) if rows else list(EMPTY_COLUMNS[path.stem])
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


def _core_composites(estimate: Estimate) -> list[Row]:
    summary = estimate.core_summary
    return [] if summary is None else _records(summary.per_core)


def _records(frame: pd.DataFrame) -> list[Row]:
    """Return a frame's rows with their column names as text."""
    return [{str(name): cell for name, cell in row.items()} for row in frame.to_dict("records")]


def _zone_composites(document: Document) -> list[Row]:
    return [
        {
            "zone": composite["zone"],
            "material": name,
            **_spread("wet_fraction", share),
            "dry_fraction": composite["dry_fraction"][name],
            **_spread("moisture", composite["moisture"]),
        }
        for composite in document["core_composites"]
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


def _machine_shares(estimate: Estimate) -> list[Row]:
    """Return the reference shares of the kinds of machine in this line."""
    kinds = {machine.kind for machine in estimate.site.line.machines}
    return [dict(row) for row in read_rows("machine_shares.csv") if row["kind"] in kinds]


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
