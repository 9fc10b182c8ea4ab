"""The core tables one by one: collars, intervals, lab and gas, with every cell checked."""

from __future__ import annotations

from dataclasses import dataclass
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
GAS = (
    CORE,
    Column("depth_m", required=True),
    Column("ch4_pct"),
    Column("co2_pct"),
    Column("o2_pct"),
    Column("h2s_ppm"),
    Column("co_ppm"),
    Column("flow_l_h"),  # may be negative: a hole draws air in when the barometer rises
)
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


def read_collars(path: Path, written: str, unit: str, findings: Findings) -> pd.DataFrame | None:
    """Read the collars: core_id, x, y, elevation_m, depth_m, drilled_on; no id twice."""
    unit_m = METRES_PER_UNIT[unit]
    rules = [
        range_rule(name, lowest / unit_m, highest / unit_m, unit)
        for name, (lowest, highest) in (
            ("elevation_m", limits("elevation_m")),
            ("depth_m", limits("depth_m")),
        )
    ]
    frame = read_table(path, written, COLLARS, rules, findings)
    if frame is None:
        return None
    for core, group in frame.groupby("core_id"):
        if len(group) > 1:
            rows = ", ".join(str(row) for row in group[ROW])
            findings.error(
                f"{written} rows {rows}",
                f"The core '{core}' appears {len(group)} times.",
                "Give every core an id of its own.",
            )
    return frame


def read_intervals(path: Path, written: str, unit: str, findings: Findings) -> pd.DataFrame | None:
    """Read the intervals: core_id, from_m, to_m, layer, note."""
    frame = read_table(path, written, INTERVALS, depth_rules(unit), findings)
    if frame is None:
        return None
    frame["layer"] = frame["layer"].str.casefold()
    for row, layer in zip(frame[ROW], frame["layer"], strict=True):
        if layer and layer not in LAYERS:
            findings.error(
                f"{written} row {row}, column layer",
                f"There is no layer '{layer}'.",
                suggestion(layer, LAYERS),
            )
    check_from_to(frame, written, findings)
    return frame


def read_lab(path: Path, written: str, unit: str, findings: Findings) -> pd.DataFrame | None:
    """Read the laboratory results; other columns than those known are noted and left out."""
    rules = (
        *depth_rules(unit),
        range_rule("ncv_mj_kg", *limits("ncv_mj_kg"), "MJ/kg"),
        fraction_rule("ash"),
        fraction_rule("chlorine"),
        range_rule("mercury_mg_kg", *limits("mercury_mg_kg"), "mg/kg"),
    )
    frame = read_table(path, written, LAB, rules, findings)
    if frame is not None:
        check_from_to(frame, written, findings)
    return frame


def read_gas(path: Path, written: str, unit: str, findings: Findings) -> pd.DataFrame | None:
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
    trace = tuple(range_rule(name, *limits("gas_ppm"), "ppm") for name in ("h2s_ppm", "co_ppm"))
    deepest = limits("depth_m")[1] / METRES_PER_UNIT[unit]
    depth = range_rule("depth_m", 0, deepest, unit)
    frame = read_table(path, written, GAS, (depth, *percent, *trace), findings)
    if frame is None:
        return None
    total = frame[["ch4_pct", "co2_pct", "o2_pct"]].fillna(0).sum(axis=1)
    _, highest = limits("gas_sum_pct")
    for row, value in zip(frame.loc[total > highest, ROW], total[total > highest], strict=True):
        findings.error(
            f"{written} row {row}",
            f"Methane, carbon dioxide and oxygen add up to {value:.0f} %.",
            "Check the three readings; together they cannot exceed 100 %.",
        )
    return frame


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
    if sheet is None:
        return None
    headers = matched_headers(sheet, columns, findings, others_allowed=True)
    return None if headers is None else to_frame(sheet, columns, headers, rules, findings)


def to_frame(
    sheet: Sheet,
    columns: Sequence[Column],
    headers: Mapping[str, str],
    rules: Sequence[CellRule],
    findings: Findings,
) -> pd.DataFrame:
    """Return a sheet as a frame with one column per `Column` and `ROW`, every cell checked."""
    import pandas as pd

    by_column = {rule.column: rule for rule in rules}
    content: dict[str, Any] = {ROW: [row.number for row in sheet.rows]}
    for column in columns:
        header = headers.get(column.name)
        rule = by_column.get(column.name)
        cells = [_cell(Cell(sheet, row, header, column, rule), findings) for row in sheet.rows]
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
