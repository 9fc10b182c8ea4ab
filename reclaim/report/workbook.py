"""All tables as one spreadsheet: units under the headings, sources, and totals that stay live.

Text is always written as text, so nothing from the site's files can run. There are no macros.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from reclaim.reference import sources
from reclaim.report.tables import EMPTY_COLUMNS
from reclaim.report.wording import unit_words
from reclaim.site.problems import Check, SiteError

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from datetime import datetime
    from pathlib import Path

    from xlsxwriter import Workbook
    from xlsxwriter.format import Format
    from xlsxwriter.worksheet import Worksheet

    from reclaim.report.results import Document
    from reclaim.report.tables import Row

# Endings of column names that carry a unit, the longest first.
_UNITS = (
    "t_m3", "mj_kg", "mg_mj", "mg_kg", "t_co2e", "kwh_t", "l_h", "m3", "m2", "mm", "kg", "mwh",
    "years", "pct", "ppm", "t", "m",
)  # fmt: skip
_WRITTEN = {
    "t_m3": "t/m³", "mj_kg": "MJ/kg", "mg_mj": "mg/MJ", "mg_kg": "mg/kg", "t_co2e": "t CO2e",
    "kwh_t": "kWh/t", "l_h": "L/h", "mwh": "MWh", "pct": "% v/v", "ppm": "ppm v/v",
}  # fmt: skip
_FRACTIONS = (
    "wet_fraction", "dry_fraction", "moisture", "ash", "chlorine", "biogenic_share", "purity",
)  # fmt: skip
_NUMBERS_AS_TEXT = ("low", "mode", "high", "value")
"""Columns of the reference tables, which hold their numbers as text; names stay text."""

# Columns of which a sum means something, by table. P10 and P90 do not add up.
TOTALS = {
    "materials": ("wet_fraction", "wet_t", "dry_t"),
    "products": ("wet_t", "dry_t"),
    "product_makeup": ("wet_t",),
    "zones_and_lifts": ("cover_m3", "waste_m3"),
    "core_composites": ("waste_m", "sampled_m", "wet_mass_kg"),
}
_TEXT_STAYS_TEXT = {
    "strings_to_formulas": False,
    "strings_to_urls": False,
    "strings_to_numbers": False,
    "nan_inf_to_errors": False,
}
_HEAD, _UNIT_ROW, _FIRST = 2, 3, 4
"""Rows of a sheet, from 0: a title and a blank row stand over the headings."""


def need_writer() -> None:
    """Check that a workbook can be written, so that a long run does not fail at its end.

    Raises
    ------
    SiteError
        Where the optional package is missing; the message says how to get it.
    """
    try:
        import xlsxwriter  # noqa: F401
    except ImportError:
        raise SiteError(
            [
                Check(
                    "error",
                    "--excel",
                    "The package that writes spreadsheets is not installed.",
                    "Install it with: pip install 'reclaim[excel]'. The same tables are written "
                    "as CSV without it.",
                )
            ]
        ) from None


def write_workbook(
    path: Path, tables: Mapping[str, Sequence[Row]], document: Document, *, made_at: datetime
) -> None:
    """Write every table to one workbook.

    Parameters
    ----------
    path
        The ``.xlsx`` file.
    tables
        From `reclaim.report.tables.tables`.
    document
        The results document, for the cash flow by year.
    made_at
        Date in the file's properties; nothing else in it depends on the clock.

    Raises
    ------
    SiteError
        Where the optional package is missing.
    """
    need_writer()
    import xlsxwriter

    with xlsxwriter.Workbook(str(path), _TEXT_STAYS_TEXT) as book:
        book.set_properties({"title": document["site"]["name"], "created": made_at})
        look = _looks(book)
        _contents(book.add_worksheet("read_me"), tables, document, look)
        for name, rows in tables.items():
            _table(book.add_worksheet(name[:31]), name, rows, document, look)
        if "value" in document:  # a result of the cores alone has no money
            _cash_by_year(book.add_worksheet("cash_by_year"), document, look)
        _sources(book.add_worksheet("sources"), look)


def write_plain_workbook(
    path: Path,
    tables: Mapping[str, Sequence[Row]],
    title: str,
    currency: str,
    lines: Sequence[str],
    *,
    made_at: datetime,
) -> None:
    """Write tables that belong to no single site to one workbook.

    Parameters
    ----------
    path, tables
        The ``.xlsx`` file, and rows by name of the sheet.
    title, lines
        Heading of every sheet, and what the first sheet says.
    currency
        Of all money in the tables.
    made_at
        Date in the file's properties; nothing else in it depends on the clock.

    Raises
    ------
    SiteError
        Where the optional package is missing.
    """
    need_writer()
    import xlsxwriter

    with xlsxwriter.Workbook(str(path), _TEXT_STAYS_TEXT) as book:
        book.set_properties({"title": title, "created": made_at})
        look = _looks(book)
        sheet = book.add_worksheet("read_me")
        sheet.set_column(0, 0, 100)
        for row, line in enumerate((title, "", *lines)):
            sheet.write_string(row, 0, line, look["words"] if row else look["title"])
        document = {"site": {"name": title, "currency": currency}}
        for name, rows in tables.items():
            _table(book.add_worksheet(name[:31]), name, rows, document, look)


def unit_of(column: str, currency: str) -> str:
    """Return the unit that a column's name carries, in words; empty where it has none."""
    name = column.removesuffix("_p10").removesuffix("_p90")
    if name == "amount":
        return currency
    if name in _FRACTIONS:
        return "fraction"
    for ending in _UNITS:
        if name == ending or name.endswith(f"_{ending}"):
            return _WRITTEN.get(ending, unit_words(ending))
    return ""


def _looks(book: Workbook) -> dict[str, Format]:
    return {
        "title": book.add_format({"bold": True, "font_size": 14}),
        "head": book.add_format({"bold": True, "bottom": 1, "text_wrap": True, "valign": "top"}),
        "unit": book.add_format({"italic": True, "font_color": "#58666B", "bottom": 1}),
        "number": book.add_format({"num_format": "#,##0.###"}),
        "small": book.add_format({"num_format": "0.0000"}),
        "total": book.add_format({"bold": True, "top": 1, "num_format": "#,##0.###"}),
        "words": book.add_format({"text_wrap": True, "valign": "top"}),
    }


def _contents(
    sheet: Worksheet,
    tables: Mapping[str, Sequence[Row]],
    document: Document,
    look: dict[str, Format],
) -> None:
    site, run = document["site"], document["run"]
    money, by_year = "", []
    if "value" in document:
        money = f" Money in {site['currency']}, prices of {site['price_year']}."
        by_year = ["cash_by_year"]
    lines = (
        f"{site['name']}: tables of a scoping estimate",
        "",
        (
            f"Made with reclaim {run['version']} on {run['made_on']}, seed {run['seed']}, "
            f"{run['draws']} draws.{money}"
        ),
        (
            "Units stand under the headings. Fractions run from 0 to 1; moisture is water over wet "
            "mass."
        ),
        (
            "A column with _p10 or _p90 is the range that eight of ten draws fall in; ranges do "
            "not add up, so only best estimates have totals. Totals are formulas."
        ),
        *("The sheet cash_by_year works out the net present value by formula." for _ in by_year),
        (
            "Where a number comes from stands in its row as a source; the sheet sources has them "
            "in full. Where it is not stated, the number is a result of the estimate."
        ),
        "",
    )
    sheet.set_column(0, 0, 100)
    for row, line in enumerate(lines):
        sheet.write_string(row, 0, line, look["words"] if row else look["title"])
    for row, name in enumerate([*tables, *by_year, "sources"], start=len(lines)):
        sheet.write_url(row, 0, f"internal:'{name[:31]}'!A1", string=name)


def _table(
    sheet: Worksheet, name: str, rows: Sequence[Row], document: Document, look: dict[str, Format]
) -> None:
    columns = list(rows[0]) if rows else list(EMPTY_COLUMNS.get(name, ()))
    sheet.write_string(0, 0, f"{name.replace('_', ' ')}: {document['site']['name']}", look["title"])
    for place, column in enumerate(columns):
        sheet.write_string(_HEAD, place, column, look["head"])
        sheet.write_string(
            _UNIT_ROW, place, unit_of(column, document["site"].get("currency", "")), look["unit"]
        )
        longest = max([len(column), *(len(str(row[column])) for row in rows[:200])], default=8)
        sheet.set_column(place, place, min(max(longest + 1, 9), 44))
    for row, record in enumerate(rows, start=_FIRST):
        for place, column in enumerate(columns):
            _cell(sheet, row, place, record[column], look, column in _NUMBERS_AS_TEXT)
    sheet.freeze_panes(_FIRST, 1)
    last = _FIRST + len(rows) - 1
    if rows and columns:
        sheet.autofilter(_HEAD, 0, last, len(columns) - 1)
    totals = [column for column in TOTALS.get(name, ()) if column in columns]
    if rows and totals:
        sheet.write_string(last + 1, 0, "Total", look["total"])
        for column in totals:
            place = columns.index(column)
            _sum(sheet, last + 1, place, _FIRST, last, [row[column] for row in rows], look)


def _cash_by_year(sheet: Worksheet, document: Document, look: dict[str, Format]) -> None:
    """Write the cash flow as lines by years, with sums and the net present value as formulas."""
    from xlsxwriter.utility import xl_rowcol_to_cell

    value, currency = document["value"], document["site"]["currency"]
    items = value["cash_flow"]
    years = len(items[0]["by_year"]) if items else 0
    sheet.write_string(0, 0, f"Cash flow by year [{currency}], best estimate", look["title"])
    for place, head in enumerate(("group", "line", "source", "total")):
        sheet.write_string(_HEAD, place, head, look["head"])
    for year in range(years):
        sheet.write_number(_HEAD, 4 + year, year, look["head"])
    for row, item in enumerate(items, start=_UNIT_ROW):
        sheet.write_string(row, 0, item["group"])
        sheet.write_string(row, 1, item["label"])
        sheet.write_string(row, 2, "result of the estimate")
        first, last = xl_rowcol_to_cell(row, 4), xl_rowcol_to_cell(row, 3 + years)
        sheet.write_formula(row, 3, f"=SUM({first}:{last})", look["number"], sum(item["by_year"]))
        for year, amount in enumerate(item["by_year"]):
            sheet.write_number(row, 4 + year, amount, look["number"])
    last_row = _UNIT_ROW + len(items) - 1
    net_row = last_row + 1
    sheet.write_string(net_row, 1, "Sum of the lines", look["total"])
    net = [sum(item["by_year"][year] for item in items) for year in range(years)]
    for place, amount in enumerate([sum(net), *net], start=3):
        top, bottom = xl_rowcol_to_cell(_UNIT_ROW, place), xl_rowcol_to_cell(last_row, place)
        sheet.write_formula(net_row, place, f"=SUM({top}:{bottom})", look["total"], amount)
    rate = value["discount_rate"]["value"]
    if rate is None or not years:
        return
    sheet.write_string(net_row + 2, 1, "Discount rate, real")
    sheet.write_number(net_row + 2, 3, rate, look["small"])
    sheet.write_string(net_row + 3, 1, f"Net present value [{currency}]")
    cell = xl_rowcol_to_cell(net_row + 2, 3)
    first, second = xl_rowcol_to_cell(net_row, 4), xl_rowcol_to_cell(net_row, 5)
    end = xl_rowcol_to_cell(net_row, 3 + years)
    present = sum(amount / (1 + rate) ** year for year, amount in enumerate(net))
    sheet.write_formula(
        net_row + 3, 3, f"={first}+NPV({cell},{second}:{end})", look["total"], present
    )
    sheet.write_string(
        net_row + 4, 1,
        "At one rate for all years; the estimate's own stands in estimate.json under value.npv.",
    )  # fmt: skip
    sheet.set_column(0, 0, 12)
    sheet.set_column(1, 2, 34)
    sheet.set_column(3, 3 + years, 13)
    sheet.freeze_panes(_UNIT_ROW, 4)


def _sources(sheet: Worksheet, look: dict[str, Format]) -> None:
    sheet.set_column(0, 0, 24)
    sheet.set_column(1, 1, 110)
    sheet.write_string(0, 0, "key", look["head"])
    sheet.write_string(0, 1, "reference", look["head"])
    for row, source in enumerate(sources().values(), start=1):
        sheet.write_string(row, 0, source.key)
        sheet.write_string(row, 1, source.reference, look["words"])


def _sum(
    sheet: Worksheet, row: int, place: int, first: int, last: int, cells: Sequence[Any],
    look: dict[str, Format],
) -> None:  # fmt: skip
    from xlsxwriter.utility import xl_rowcol_to_cell

    top, bottom = xl_rowcol_to_cell(first, place), xl_rowcol_to_cell(last, place)
    known = [float(cell) for cell in cells if _is_number(cell)]
    sheet.write_formula(row, place, f"=SUM({top}:{bottom})", look["total"], sum(known))


def _cell(
    sheet: Worksheet, row: int, place: int, cell: Any, look: dict[str, Format], may_be_number: bool
) -> None:
    if isinstance(cell, bool | np.bool_):
        sheet.write_string(row, place, "yes" if cell else "no")
    elif _is_number(cell):
        value = float(cell)
        sheet.write_number(row, place, value, look["small" if 0 < abs(value) < 1 else "number"])
    elif isinstance(cell, list | tuple):
        sheet.write_string(row, place, ", ".join(str(part) for part in cell))
    elif isinstance(cell, str) and cell:
        number = _as_number(cell) if may_be_number else None
        if number is None:
            sheet.write_string(row, place, cell)
        else:
            sheet.write_number(row, place, number, look["number"])


def _is_number(cell: Any) -> bool:
    return (
        isinstance(cell, int | float | np.number)
        and not isinstance(cell, bool | np.bool_)
        and bool(np.isfinite(cell))
    )


def _as_number(text: str) -> float | None:
    """Return a number that a reference table holds as text, None for anything else."""
    try:
        value = float(text)
    except ValueError:
        return None
    return value if np.isfinite(value) else None
