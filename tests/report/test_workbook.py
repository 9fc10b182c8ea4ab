"""The workbook: every table, live totals, units, and nothing that runs."""

from __future__ import annotations

import builtins
import zipfile
from datetime import UTC, datetime

import openpyxl
import pytest

from reclaim.report.results import results
from reclaim.report.tables import tables
from reclaim.report.workbook import TOTALS, need_writer, unit_of, write_workbook
from reclaim.site import SiteError

DAY = datetime(2026, 1, 2, tzinfo=UTC)
HOSTILE = ["=1+1", "+1", "-1+2", "@SUM(A1)", '=HYPERLINK("x")', "\t=1", "<script>", "\u202egnp"]


@pytest.fixture(scope="module")
def document(demo_estimate):
    return results(demo_estimate)


@pytest.fixture(scope="module")
def book(demo_estimate, document, tmp_path_factory):
    path = tmp_path_factory.mktemp("book") / "tables.xlsx"
    write_workbook(path, tables(demo_estimate, document), document, made_at=DAY)
    return path


def test_every_table_is_a_sheet(demo_estimate, document, book) -> None:
    sheets = openpyxl.load_workbook(book)
    for name, rows in tables(demo_estimate, document).items():
        sheet = sheets[name[:31]]
        if rows:
            assert [cell.value for cell in sheet[3]][: len(rows[0])] == list(rows[0])
            extra = 1 if name in TOTALS else 0
            assert sheet.max_row == 4 + len(rows) + extra


def test_totals_are_formulas_whose_stored_values_are_the_sums(
    demo_estimate, document, book
) -> None:
    live, stored = openpyxl.load_workbook(book), openpyxl.load_workbook(book, data_only=True)
    for name, columns in TOTALS.items():
        rows = tables(demo_estimate, document)[name]
        last = 4 + len(rows)
        for column in columns:
            place = list(rows[0]).index(column) + 1
            letter = openpyxl.utils.get_column_letter(place)
            assert live[name].cell(last + 1, place).value == f"=SUM({letter}5:{letter}{last})"
            total = sum(row[column] for row in rows if row[column] == row[column])
            assert stored[name].cell(last + 1, place).value == pytest.approx(total)


def test_net_present_value_follows_from_its_cells(document, book) -> None:
    """NPV(rate; flows) discounts the first flow by one year (OpenFormula 1.2, 6.12.30)."""
    live, stored = openpyxl.load_workbook(book), openpyxl.load_workbook(book, data_only=True)
    sheet = stored["cash_by_year"]
    label = next(
        cell for row in sheet.iter_rows(max_col=2) for cell in row
        if str(cell.value).startswith("Net present value")
    )  # fmt: skip
    rate = sheet.cell(label.row - 1, 4).value
    net = [cell.value for cell in sheet[label.row - 3][4:]]
    by_hand = net[0] + sum(amount / (1 + rate) ** (n + 1) for n, amount in enumerate(net[1:]))
    assert sheet.cell(label.row, 4).value == pytest.approx(by_hand, rel=1e-12)
    assert by_hand == pytest.approx(document["value"]["npv"]["value"], rel=1e-9)
    assert live["cash_by_year"].cell(label.row, 4).value.startswith("=E")


def test_nothing_of_the_users_can_run(document, tmp_path) -> None:
    rows = [{"name": text, "wet_t": 1.0} for text in HOSTILE]
    path = tmp_path / "hostile.xlsx"
    hostile = {**document, "site": {**document["site"], "name": HOSTILE[0]}}
    write_workbook(path, {"materials": rows}, hostile, made_at=DAY)
    sheet = openpyxl.load_workbook(path)["materials"]
    for row, text in enumerate(HOSTILE, start=5):
        assert sheet.cell(row, 1).data_type in ("s", "inlineStr")
        assert sheet.cell(row, 1).value.replace("_x0009_", "\t") == text
    assert sheet.cell(1, 1).data_type == "s"
    names = zipfile.ZipFile(path).namelist()
    assert not [name for name in names if "vba" in name.lower() or "externalLink" in name]


def test_units_are_read_from_the_names() -> None:
    assert unit_of("waste_m3_p90", "EUR") == "m³"
    assert unit_of("bulk_density_t_m3", "EUR") == "t/m³"
    assert unit_of("ncv_mj_kg_p10", "EUR") == "MJ/kg"
    assert unit_of("amount", "SEK") == "SEK"
    assert unit_of("moisture", "EUR") == "fraction"
    assert unit_of("label", "EUR") == ""


def test_without_the_package_the_message_says_how_to_get_it(monkeypatch) -> None:
    real = builtins.__import__

    def refuse(name, *rest, **more):
        if name == "xlsxwriter":
            raise ImportError(name)
        return real(name, *rest, **more)

    monkeypatch.setattr(builtins, "__import__", refuse)
    with pytest.raises(SiteError, match=r"pip install 'reclaim\[excel\]'"):
        need_writer()


def test_two_runs_write_the_same_book(demo_estimate, document, book, tmp_path) -> None:
    again = tmp_path / "again.xlsx"
    write_workbook(again, tables(demo_estimate, document), document, made_at=DAY)
    first, second = (zipfile.ZipFile(path) for path in (book, again))
    for name in first.namelist():
        assert first.read(name) == second.read(name)
