"""The core tables one by one: collars, intervals, lab and gas, with every cell checked."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Any

import numpy as np

from reclaim.site.settings import limits
from reclaim.site.spelling import suggestion
from reclaim.site.spreadsheet import Column, Row, Sheet, matched_headers, number_in, read_sheet
from reclaim.site.units import METRES_PER_UNIT

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

    import pandas as pd

    from reclaim.site.problems import Findings

ROW = "row"
"""Extra column of the frames made here: the row of the file, for messages."""

CORE = Column("core_id", is_number=False, required=True)
FROM, TO = Column("from_m", required=True), Column("to_m", required=True)
COLLARS = (
    CORE,
    Column("x", required=True),
    Column("y", required=True),
    Column("elevation_m", required=True),
    Column("depth_m", required=True),
    Column("drilled_on", is_number=False),
    Column("method", is_number=False),
    Column("diameter_mm"),
    Column("water_m"),
)
INTERVALS = (
    CORE,
    FROM,
    TO,
    Column("layer", is_number=False, required=True),
    Column("note", is_number=False),
)
LAB = (
    CORE,
    FROM,
    TO,
    Column("ncv_mj_kg"),
    Column("ash"),
    Column("chlorine"),
    Column("mercury_mg_kg"),
)
WATER = (
    CORE,
    Column("water_m", required=True),
    Column("date", is_number=False),
)
SIZES = (
    CORE,
    FROM,
    TO,
    Column("size_mm", required=True),
    Column("passing", required=True),
)
GAS = (
    CORE,
    Column("depth_m", required=True),
    Column("ch4_pct"),
    Column("co2_pct"),
    Column("o2_pct"),
    Column("h2s_ppm"),
    Column("co_ppm"),
    Column("vinyl_chloride_ppm"),
    Column("benzene_ppm"),
    Column("temperature_c"),
    Column("date", is_number=False),
    Column("flow_l_h"),  # may be negative: a hole draws air in when the barometer rises
)
TRACE_GASES = ("h2s_ppm", "co_ppm", "vinyl_chloride_ppm", "benzene_ppm")
LAYERS = ("cover", "waste", "natural")


@dataclass(frozen=True, slots=True)
class CellRule:
    """Bounds of a column, and what a value outside them probably is."""

    column: str
    lowest: float
    highest: float
    what: str
    what_to_do: str


def fraction_rule(column: str) -> CellRule:
    """Return the rule of a fraction; a value above 1 is probably per cent."""
    return CellRule(
        column,
        0,
        1,
        "is not a fraction between 0 and 1",
        "If it is per cent, divide it by 100.",
    )


def read_collars(sheet: Sheet, unit: str, findings: Findings) -> pd.DataFrame | None:
    """Read the collars, see `COLLARS`; no id twice."""
    unit_m = METRES_PER_UNIT[unit]
    rules = [
        range_rule(name, lowest / unit_m, highest / unit_m, unit)
        for name, (lowest, highest) in (
            ("elevation_m", limits("elevation_m")),
            ("depth_m", limits("depth_m")),
            ("water_m", (0.0, limits("depth_m")[1])),
        )
    ]
    rules.append(range_rule("diameter_mm", *limits("diameter_mm"), "mm"))
    frame = frame_of(sheet, COLLARS, rules, findings)
    if frame is None:
        return None
    for core, group in frame.groupby("core_id"):
        if len(group) > 1:
            rows = ", ".join(str(row) for row in group[ROW])
            findings.error(
                f"{sheet.written} rows {rows}",
                f"The core '{core}' appears {len(group)} times.",
                "Give every core an id of its own.",
            )
    return frame


def read_intervals(sheet: Sheet, unit: str, findings: Findings) -> pd.DataFrame | None:
    """Read the intervals: core_id, from_m, to_m, layer, note."""
    frame = frame_of(sheet, INTERVALS, depth_rules(unit), findings)
    if frame is None:
        return None
    header = next((name for name in sheet.headers if sheet.words.column(name) == "layer"), "layer")
    frame["layer"] = frame["layer"].map(sheet.words.layer).astype(str)
    for row, layer in zip(frame[ROW], frame["layer"], strict=True):
        if layer and layer not in LAYERS:
            findings.error(
                f"{sheet.written} row {row}, column {header}",
                f"There is no layer '{layer}'.",
                f"{suggestion(layer, LAYERS)} Map your words in [cores.layers].",
            )
    check_from_to(frame, sheet.written, findings)
    return frame


def read_water(sheet: Sheet, unit: str, findings: Findings) -> pd.DataFrame | None:
    """Read the water levels: core_id, water_m (depth below the ground), date."""
    deepest = limits("depth_m")[1] / METRES_PER_UNIT[unit]
    rules = (range_rule("water_m", 0, deepest, unit),)
    frame = frame_of(sheet, WATER, rules, findings)
    if frame is not None:
        _check_dates(frame, sheet.written, findings)
    return frame


def read_sizes(sheet: Sheet, unit: str, findings: Findings) -> pd.DataFrame | None:
    """Read the sieve results: core_id, from_m, to_m, size_mm, passing (share of dry mass)."""
    rules = (
        *depth_rules(unit),
        range_rule("size_mm", *limits("size_mm"), "mm"),
        fraction_rule("passing"),
    )
    frame = frame_of(sheet, SIZES, rules, findings)
    if frame is None:
        return None
    check_from_to(frame, sheet.written, findings)
    for (core, top, bottom), sample in frame.groupby(["core_id", "from_m", "to_m"]):
        by_size = sample.sort_values("size_mm", kind="stable")
        falls = by_size["passing"].diff() < 0
        twice = by_size["size_mm"].diff() == 0
        for row in by_size.loc[falls & ~twice, ROW]:
            findings.error(
                f"{sheet.written} row {row}, column passing",
                f"Less passes this sieve than the next finer one (core '{core}', {top:g} to "
                f"{bottom:g} m).",
                "Give the share that passes, not the share that stays on the sieve.",
            )
        for row in by_size.loc[twice, ROW]:
            findings.error(
                f"{sheet.written} row {row}, column size_mm",
                f"The sample of core '{core}' at {top:g} to {bottom:g} m has this sieve twice.",
                "Keep one of the rows.",
            )
    return frame


def read_lab(sheet: Sheet, unit: str, findings: Findings) -> pd.DataFrame | None:
    """Read the laboratory results; other columns than those known are noted and left out."""
    rules = (
        *depth_rules(unit),
        range_rule("ncv_mj_kg", *limits("ncv_mj_kg"), "MJ/kg"),
        fraction_rule("ash"),
        fraction_rule("chlorine"),
        range_rule("mercury_mg_kg", *limits("mercury_mg_kg"), "mg/kg"),
    )
    frame = frame_of(sheet, LAB, rules, findings)
    if frame is not None:
        check_from_to(frame, sheet.written, findings)
    return frame


def read_gas(sheet: Sheet, unit: str, findings: Findings) -> pd.DataFrame | None:
    """Read the gas readings, percentages and ppm by volume; they must not exceed the whole."""
    percent = tuple(
        CellRule(
            name,
            0,
            100,
            "is not a percentage between 0 and 100",
            "Check the reading; a value in ppm is 10,000 times the per cent.",
        )
        for name in ("ch4_pct", "co2_pct", "o2_pct")
    )
    trace = tuple(range_rule(name, *limits("gas_ppm"), "ppm") for name in TRACE_GASES)
    heat = range_rule("temperature_c", *limits("temperature_c"), "degrees C")
    deepest = limits("depth_m")[1] / METRES_PER_UNIT[unit]
    depth = range_rule("depth_m", 0, deepest, unit)
    frame = frame_of(sheet, GAS, (depth, heat, *percent, *trace), findings)
    if frame is None:
        return None
    total = frame[["ch4_pct", "co2_pct", "o2_pct"]].fillna(0).sum(axis=1)
    _, highest = limits("gas_sum_pct")
    for row, value in zip(frame.loc[total > highest, ROW], total[total > highest], strict=True):
        findings.error(
            f"{sheet.written} row {row}",
            f"Methane, carbon dioxide and oxygen add up to {value:.0f} %.",
            "Check the three readings; together they cannot exceed 100 %.",
        )
    _check_dates(frame, sheet.written, findings)
    return frame


def _check_dates(frame: pd.DataFrame, written: str, findings: Findings) -> None:
    """Check that every date that is given reads year, month, day."""
    for row, text in zip(frame[ROW], frame["date"], strict=True):
        if not text:
            continue
        try:
            date.fromisoformat(text)
        except ValueError:
            findings.error(
                f"{written} row {row}, column date",
                f"'{text}' is not a date.",
                "Write year, month and day, such as 2025-03-31.",
            )


def read_table(
    path: Path,
    written: str,
    columns: Sequence[Column],
    rules: Sequence[CellRule],
    findings: Findings,
) -> pd.DataFrame | None:
    """Read a table with known columns into a frame with all of them and `ROW`.

    A number that is missing is NaN, a text that is missing is empty. Returns None where the file
    is no table or a required column is missing; bad cells are told and become NaN.
    """
    sheet = read_sheet(path, written, findings)
    return None if sheet is None else frame_of(sheet, columns, rules, findings)


def frame_of(
    sheet: Sheet, columns: Sequence[Column], rules: Sequence[CellRule], findings: Findings
) -> pd.DataFrame | None:
    """Return a sheet with known columns as a frame with all of them and `ROW`; see `read_table`."""
    headers = matched_headers(sheet, columns, findings, others_allowed=True)
    return None if headers is None else to_frame(sheet, columns, headers, rules, findings)


def to_frame(
    sheet: Sheet,
    columns: Sequence[Column],
    headers: Mapping[str, str],
    rules: Sequence[CellRule],
    findings: Findings,
    units: Mapping[str, str] | None = None,
) -> pd.DataFrame:
    """Return a sheet as a frame with one column per `Column` and `ROW`, every cell checked.

    `units` names, for a column that is not ours, the one whose unit it shares.
    """
    import pandas as pd

    by_column = {rule.column: rule for rule in rules}
    content: dict[str, Any] = {ROW: [row.number for row in sheet.rows]}
    for column in columns:
        header = headers.get(column.name)
        rule = by_column.get(column.name)
        factor = sheet.words.factor((units or {}).get(column.name, column.name))
        cells = [
            _cell(Cell(sheet, row, header, column, rule, factor), findings) for row in sheet.rows
        ]
        content[column.name] = pd.Series(cells, dtype="float64" if column.is_number else str)
    return pd.DataFrame(content)


@dataclass(frozen=True, slots=True)
class Cell:
    """One cell and what it must hold; `header` is None where the file has no such column."""

    sheet: Sheet
    row: Row
    header: str | None
    column: Column
    rule: CellRule | None
    factor: float


def _cell(cell: Cell, findings: Findings) -> float | str:
    """Return number or text of a cell; a bad one is told, and NaN or as it is."""
    sheet, row, header = cell.sheet, cell.row, cell.header
    if not cell.column.is_number:
        text = row.cells[header] if header is not None else ""
        if cell.column.required and not text:
            findings.error(
                f"{sheet.written} row {row.number}, column {header}",
                "The cell is empty.",
                "Fill it in, or remove the row.",
            )
        return text
    if header is None:
        return np.nan
    value = number_in(sheet, row, header, findings, required=cell.column.required)
    if value is None:
        return np.nan
    value *= cell.factor
    rule = cell.rule
    if rule is not None and not rule.lowest <= value <= rule.highest:
        findings.error(
            f"{sheet.written} row {row.number}, column {header}",
            f"{value:g} {rule.what}.",
            rule.what_to_do,
        )
    return value


def check_from_to(frame: pd.DataFrame, written: str, findings: Findings) -> None:
    """Check that every depth range has a length."""
    wrong = frame[frame["to_m"] <= frame["from_m"]]
    for row, top, bottom in zip(wrong[ROW], wrong["from_m"], wrong["to_m"], strict=True):
        findings.error(
            f"{written} row {row}",
            f"The range ends at {bottom:g}, not below its start at {top:g}.",
            "Depths count downwards from the ground; swap or correct them.",
        )


def check_known_cores(
    frame: pd.DataFrame, written: str, collars: pd.DataFrame, findings: Findings
) -> None:
    """Check that every row belongs to a core that has a collar."""
    known = [str(core) for core in collars["core_id"]]
    for key, group in frame.groupby("core_id"):
        core = str(key)
        if core and core not in known:
            rows = ", ".join(str(row) for row in group[ROW])
            findings.error(
                f"{written} row {rows}" if len(group) == 1 else f"{written} rows {rows}",
                f"There is no collar for the core '{core}'.",
                f"{suggestion(core, known)} Otherwise add its collar.",
            )


def depth_rules(unit: str) -> tuple[CellRule, CellRule]:
    """Return the rules of the columns ``from_m`` and ``to_m``, in the vertical unit given."""
    deepest = limits("depth_m")[1] / METRES_PER_UNIT[unit]
    return range_rule("from_m", 0, deepest, unit), range_rule("to_m", 0, deepest, unit)


def range_rule(column: str, lowest: float, highest: float, unit: str) -> CellRule:
    """Return the rule of a quantity with bounds."""
    return CellRule(
        column,
        lowest,
        highest,
        f"{unit} is outside what is possible ({lowest:.10g} to {highest:.10g} {unit})",
        "Check the value and its unit.",
    )
