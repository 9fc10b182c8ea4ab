"""A table from a workbook of a spreadsheet program (XLSX), as rows of text."""

from __future__ import annotations

import struct
import zlib
from datetime import date, datetime
from typing import TYPE_CHECKING, Any
from zipfile import BadZipFile, ZipFile

from reclaim.site.ceilings import ceiling, exceeds
from reclaim.site.spelling import suggestion

if TYPE_CHECKING:
    from pathlib import Path

    from reclaim.site.problems import Findings

# What the reader of workbooks and the unpacking raise on damaged files.
_DAMAGE = (
    ArithmeticError, AttributeError, BadZipFile, EOFError, LookupError, OSError, RuntimeError,
    SyntaxError, TypeError, ValueError, struct.error, zlib.error,
)  # fmt: skip

MARK = b"PK\x03\x04"
"""How workbooks begin: they are zip files."""


def read_workbook(
    path: Path, written: str, kind: str, sheet: str | None, findings: Findings
) -> list[list[str]] | None:
    """Return the rows of one sheet as text, empty cells as empty text.

    Parameters
    ----------
    path, written
        The workbook, and its path as written in the site file.
    kind
        Table wanted (``collars``), which names the sheet where the site file does not.
    sheet
        Sheet named in the site file, or None.
    findings
        Takes every problem of the file; a formula that was never calculated is an error.

    Returns
    -------
    list or None
        None where the workbook or the sheet cannot be read.
    """
    try:
        import openpyxl
    except ImportError:
        findings.error(
            written,
            "Workbooks are read by the package openpyxl, which is not installed.",
            "Install it with: pip install 'reclaim[excel]'; or save the sheet as CSV.",
        )
        return None
    import warnings

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # about styles and charts, which are not read
            return _rows(openpyxl, path, written, kind, sheet, findings)
    except _DAMAGE:
        findings.error(
            written,
            "The workbook cannot be read.",
            "Save it as XLSX, or the sheet as CSV.",
        )
        return None


def _rows(
    openpyxl: Any, path: Path, written: str, kind: str, sheet: str | None, findings: Findings
) -> list[list[str]] | None:
    with ZipFile(path) as packed:
        unpacked_mb = sum(part.file_size for part in packed.infolist()) / 1e6
    if exceeds("table_mb", unpacked_mb, written, findings):
        return None
    values = openpyxl.load_workbook(path, read_only=True, data_only=True)
    formulas = openpyxl.load_workbook(path, read_only=True)
    try:
        name = _sheet_name(values.sheetnames, written, kind, sheet, findings)
        if name is None:
            return None
        rows: list[list[str]] = []
        most_rows, most_cells, cells = ceiling("table_rows"), ceiling("table_cells"), 0
        for row in values[name].iter_rows(values_only=True):
            rows.append([_text(cell) for cell in row])
            cells += len(row)
            if len(rows) > most_rows or cells > most_cells:
                exceeds("table_rows", len(rows), written, findings)
                exceeds("table_cells", cells, written, findings)
                return None
        for number, row in enumerate(formulas[name].iter_rows(values_only=True), start=1):
            for place, formula in enumerate(row):
                if (
                    isinstance(formula, str)
                    and formula.startswith("=")
                    and not rows[number - 1][place]
                ):
                    findings.error(
                        f"{written} sheet '{name}' row {number}, column {place + 1}",
                        "The formula was never calculated, so its value is not in the file.",
                        "Open the workbook in a spreadsheet program and save it again.",
                    )
    finally:
        values.close()
        formulas.close()
    return rows


def _sheet_name(
    names: list[str], written: str, kind: str, sheet: str | None, findings: Findings
) -> str | None:
    if sheet is not None:
        if sheet in names:
            return sheet
        findings.error(
            written,
            f"The workbook has no sheet '{sheet}'.",
            f"{suggestion(sheet, names)} It is named in [cores.sheets].",
        )
        return None
    if len(names) == 1:
        return names[0]
    alike = [name for name in names if name.strip().casefold() == kind]
    if len(alike) == 1:
        return alike[0]
    findings.error(
        written,
        f"The workbook has {len(names)} sheets ({', '.join(names)}), none called '{kind}'.",
        f'Name the sheet in the site file: [cores.sheets] {kind} = "...".',
    )
    return None


def _text(value: Any) -> str:
    """Return a cell as a person would type it."""
    if value is None:
        return ""
    if isinstance(value, datetime):
        return (
            value.date().isoformat() if value.time() == datetime.min.time() else value.isoformat()
        )
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, float):
        return f"{value:.15g}"
    return str(value).strip()
