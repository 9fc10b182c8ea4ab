"""A table from a workbook of a spreadsheet program (XLSX), as rows of text."""

from __future__ import annotations

from datetime import date, datetime
from typing import TYPE_CHECKING, Any

from reclaim.site.spelling import suggestion

if TYPE_CHECKING:
    from pathlib import Path

    from reclaim.site.problems import Findings

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
    from zipfile import BadZipFile

    from openpyxl.utils.exceptions import InvalidFileException

    try:
        values = openpyxl.load_workbook(path, read_only=True, data_only=True)
        formulas = openpyxl.load_workbook(path, read_only=True)
    except (InvalidFileException, BadZipFile, KeyError, ValueError, OSError):
        findings.error(
            written,
            "The workbook cannot be read.",
            "Save it as XLSX, or the sheet as CSV.",
        )
        return None
    try:
        name = _sheet_name(values.sheetnames, written, kind, sheet, findings)
        if name is None:
            return None
        rows = [[_text(cell) for cell in row] for row in values[name].iter_rows(values_only=True)]
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
