"""A table from a spreadsheet: encoding, delimiter, decimal comma, headers and numbers."""

from __future__ import annotations

import csv
import io
import re
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from reclaim.site.ceilings import exceeds, is_too_large
from reclaim.site.spelling import nearest
from reclaim.site.tablewords import TableWords
from reclaim.site.workbook import MARK, read_workbook

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

    from reclaim.site.problems import Findings

_NUMBER = re.compile(r"^[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?$")
_DECIMAL_COMMA = re.compile(r"^[+-]?\d*,\d+$")
_THOUSANDS = re.compile(r"^[+-]?[1-9]\d{0,2}(\.\d{3})+$")
_BELOW_LIMIT = re.compile(r"^[<>]\s*\d")


@dataclass(frozen=True, slots=True)
class Column:
    """What a column of a table must hold.

    Attributes
    ----------
    name
        Header, in lower case with underscores.
    is_number
        False for text.
    required
        Whether the column must be there and every cell filled.
    """

    name: str
    is_number: bool = True
    required: bool = False


@dataclass(frozen=True, slots=True)
class Row:
    """One row of a table.

    Attributes
    ----------
    number
        As a spreadsheet counts it: the header is row 1.
    cells
        Text by header; headers as in the file, blanks at both ends taken off.
    """

    number: int
    cells: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Sheet:
    """A table as text, and the user's words for its columns and units."""

    written: str
    headers: tuple[str, ...]
    rows: tuple[Row, ...]
    decimal_comma: bool
    words: TableWords = field(default_factory=TableWords)


def read_sheet(
    path: Path,
    written: str,
    findings: Findings,
    words: TableWords | None = None,
    kind: str = "",
) -> Sheet | None:
    """Read a table as a spreadsheet program saves it: delimited text, or a sheet of a workbook.

    Comma, semicolon or tab is told from the header; a file with semicolons or tabs may use
    decimal commas. Text that is not UTF-8 is read as Windows-1252, with a warning. `kind` names
    the table (``collars``), and so the sheet of a workbook with several.
    """
    words = words or TableWords()
    if is_too_large("table_mb", path, written, findings):
        return None
    raw = path.read_bytes()
    if raw.startswith(MARK):
        records = read_workbook(path, written, kind, words.sheets.get(kind), findings)
        return None if records is None else _sheet(records, 0, written, words, findings)
    text = _decode(raw, written, findings)
    lines = text.splitlines()
    first = 0
    if lines and re.fullmatch(r"sep=.", lines[0].strip(), flags=re.IGNORECASE):
        first = 1  # a hint some spreadsheet programs write above the header
    header_line = lines[first] if len(lines) > first else ""
    delimiter = max(",;\t", key=header_line.count)
    if exceeds("table_cells", text.count(delimiter), written, findings):
        return None
    try:
        records = list(csv.reader(io.StringIO(text, newline=""), delimiter=delimiter))[first:]
    except csv.Error as error:
        findings.error(written, f"The table cannot be read: {error}.", "Save it as CSV.")
        return None
    sheet = _sheet(records, first, written, words, findings)
    if sheet is None or delimiter == ",":
        return sheet
    if any(_DECIMAL_COMMA.match(cell) for row in sheet.rows for cell in row.cells.values()):
        findings.note(written, "Numbers with a decimal comma were read as such.")
        return replace(sheet, decimal_comma=True)
    return sheet


def _sheet(
    records: Sequence[Sequence[str]],
    first: int,
    written: str,
    words: TableWords,
    findings: Findings,
) -> Sheet | None:
    """Return rows as a table; `first` is the number of lines above the header."""
    if not records or not any(cell.strip() for cell in records[0]):
        findings.error(written, "The table is empty.", "Row 1 must hold the column names.")
        return None
    if exceeds("table_rows", len(records), written, findings):
        return None
    headers = tuple(cell.strip() for cell in records[0])
    repeated = sorted({name for name in headers if name and headers.count(name) > 1})
    if repeated:
        findings.error(
            f"{written} row {first + 1}",
            f"Columns appear twice: {', '.join(repeated)}.",
            "Rename or remove one of each.",
        )
        return None
    rows = _rows(records[1:], headers, first + 2, written, findings)
    return Sheet(written, headers, rows, decimal_comma=False, words=words)


def _decode(raw: bytes, written: str, findings: Findings) -> str:
    if raw.startswith((b"\xff\xfe", b"\xfe\xff")):
        return raw.decode("utf-16", errors="replace")
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        row = raw[: error.start].count(b"\n") + 1
        findings.warn(
            f"{written} row {row}",
            "The text is not UTF-8; it was read as Windows-1252.",
            "Save the table as 'CSV UTF-8', or check that accented letters came out right.",
        )
        return raw.decode("cp1252", errors="replace")


def _rows(
    records: Sequence[Sequence[str]],
    headers: Sequence[str],
    first_number: int,
    written: str,
    findings: Findings,
) -> tuple[Row, ...]:
    rows: list[Row] = []
    for number, record in enumerate(records, start=first_number):
        cells = [cell.strip() for cell in record]
        if not any(cells):
            continue
        if any(cells[len(headers) :]):  # left out, so that shifted cells are not told one by one
            findings.error(
                f"{written} row {number}",
                f"The row has {len(cells)} cells under {len(headers)} column names.",
                "Look for a decimal comma or a comma inside text; put quotes around the cell.",
            )
            continue
        cells += [""] * (len(headers) - len(cells))
        named = {name: cell for name, cell in zip(headers, cells, strict=False) if name}
        rows.append(Row(number, named))
    return tuple(rows)


def matched_headers(
    sheet: Sheet, columns: Sequence[Column], findings: Findings, *, others_allowed: bool
) -> dict[str, str] | None:
    """Return the file's header for every column found, by column name.

    Missing required columns are errors. Where `others_allowed` is False the caller looks at the
    other headers itself; otherwise they are noted, since nothing reads them.
    """
    by_name = {sheet.words.column(header): header for header in sheet.headers if header}
    found = {column.name: by_name[column.name] for column in columns if column.name in by_name}
    others = [header for name, header in by_name.items() if name not in found]
    missing = [column.name for column in columns if column.required and column.name not in found]
    for name in missing:
        near = nearest(name, others)
        findings.error(
            f"{sheet.written} row 1",
            f"The column '{name}' is missing.",
            f"Rename the column '{near}', or map it in [cores.columns]."
            if near
            else "Add the column, or map the one you have in [cores.columns].",
        )
    if others_allowed and others and not missing:
        findings.note(sheet.written, f"Columns not used: {', '.join(others)}.")
    return None if missing else found


def number_in(
    sheet: Sheet, row: Row, header: str, findings: Findings, *, required: bool
) -> float | None:
    """Return the number in a cell, None where the cell is empty or no number (and say so)."""
    text = row.cells[header]
    where = f"{sheet.written} row {row.number}, column {header}"
    if not text:
        if required:
            findings.error(where, "The cell is empty.", "Fill in a number.")
        return None
    value = text.replace(",", ".") if sheet.decimal_comma and _DECIMAL_COMMA.match(text) else text
    if sheet.decimal_comma and _THOUSANDS.match(text):
        findings.error(
            where,
            f"'{text}' may be a decimal or thousands, in a table with decimal commas.",
            "Write it without the point, or with a decimal comma.",
        )
        return None
    if _NUMBER.match(value):
        return float(value)
    advice = "Write a plain number, or leave the cell empty."
    if _BELOW_LIMIT.match(text):
        advice = (
            "Below or above a limit: enter the number to be used, for example half the limit of "
            "detection."
        )
    elif text.endswith("%"):
        advice = "Write a fraction: 25 % is 0.25."
    elif "," in text:
        advice = "Write numbers with a decimal point and without thousands separators."
    elif required:
        advice = "Write a plain number."
    findings.error(where, f"'{text}' is not a number.", advice)
    return None
