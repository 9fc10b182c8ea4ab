"""The demo report: its HTML is valid, and every number in its tables is one of the results."""

from __future__ import annotations

import re
from html.parser import HTMLParser

import pytest
from tinyhtml5.parser import HTMLParser as StrictParser

from reclaim.report.figures import draw_all
from reclaim.report.layouts import layouts
from reclaim.report.page import Image, page
from reclaim.report.results import results
from reclaim.report.tables import tables

SCALES = (1.0, 100.0, 1e-6)
NUMBER = re.compile(r"^[-\u2212]?\d[\d\u202f]*(?:\.\d+)?(?![\d:e])")


@pytest.fixture(scope="module")
def document(demo_estimate):
    return results(demo_estimate)


@pytest.fixture(scope="module")
def pages(demo_estimate, document):
    images = dict.fromkeys(draw_all(demo_estimate), Image("data:image/png;base64,AAAA", 40.0))
    return {name: page(demo_estimate, document, images, layout=name) for name in layouts()}


@pytest.mark.parametrize("layout", list(layouts()))
def test_the_page_parses_without_an_error(pages, layout) -> None:
    """By the parsing rules of the HTML standard (WHATWG, section 13.2)."""
    parser = StrictParser()
    parser.parse(pages[layout])
    assert parser.errors == []


class Headlines(HTMLParser):
    """Cells of the headline table: label, best estimate, range."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tables: dict[str, list[list[str]]] = {}
        self._caption, self._row, self._in = "", None, ""
        self.feed(text)

    def handle_starttag(self, tag, _attrs) -> None:
        if tag == "caption":
            self._caption, self._in = "", "caption"
        elif tag == "tr":
            self._row = []
        elif tag in ("td", "th") and self._row is not None:
            self._row.append("")
            self._in = "cell"

    def handle_endtag(self, tag) -> None:
        if tag == "caption":
            self.tables[self._caption] = []
        elif tag == "tr" and self._row is not None:
            self.tables[self._caption].append(self._row)
            self._row = None
        if tag in ("caption", "td", "th"):
            self._in = ""

    def handle_data(self, data) -> None:
        if self._in == "caption":
            self._caption += data
        elif self._in == "cell":
            self._row[-1] += data


def numbers_of(value):
    if isinstance(value, dict):
        for part in value.values():
            yield from numbers_of(part)
    elif isinstance(value, list):
        for part in value:
            yield from numbers_of(part)
    elif isinstance(value, int | float) and not isinstance(value, bool):
        yield float(value)


def shown_number(text):
    """A cell's first number, and half a unit of its last figure that is not a filling zero."""
    found = NUMBER.match(text.strip())
    if not found:
        return None
    plain = found[0].replace("\u202f", "").replace("\u2212", "-")
    decimals = len(plain.partition(".")[2])
    zeros = 0 if decimals else len(plain) - len(plain.rstrip("0"))
    return float(plain), 0.5000001 * 10.0 ** (zeros - decimals)


# Where the numbers of a table stand in `estimate.json`, by how its caption begins.
IN_THE_RESULTS = {
    "Volumes in place by zone": ("excavation",),
    "Second opinion on cover and waste": ("ground",),
    "Swell, heaps and soil": ("ground",),
    "Tonnes of each material": ("feed",),
    "Products of the line: mass": ("products",),
    "Products of the line: what a buyer": ("products",),
    "Products of the line: heavy metals": ("products",),
    "The same line dried in three ways": ("line",),
    "What each machine must take": ("line",),
    "Airspace": ("airspace",),
    "Cash flow, best estimate": ("value",),
    "Measures of worth": ("value",),
    "Break-even": ("value", "assumptions"),
    "Products against limits": ("products", "line"),
    "Trigger levels": ("hazards",),
    "Gas in the cores": ("hazards",),
    "Gas let out at an opened face": ("hazards",),
    "What finds mean": ("hazards",),
    "Courses of action on one basis": ("options",),
    "Courses of action over the draws": ("confidence",),
    "Greenhouse gas of mining": ("carbon",),
    "Methane that reaches the air": ("carbon",),
    "The conservative reading": ("outside_view",),
    "Headline numbers": ("headlines",),
    "What drives the net present value": ("confidence",),
    "The widest swings": ("confidence",),
    "Every assumption": ("assumptions",),
    "Plain settings": ("settings",),
    "Where to core next": ("core_study",),
    "Whole site: shares by mass": ("core_composites",),
    "Zone ": ("core_composites",),
}

# Tables of input or of single cores; those numbers are in a CSV of the results folder.
IN_A_TABLE = {
    "Bulk waste as the laboratory": ("laboratory",),
    "Properties of the materials": ("material_properties",),
    "Statistics over all": ("core_statistics",),
    "Enough samples?": ("core_precision",),
    "Gas readings": ("gas_readings",),
}

# Rows of words, or input shown as it was read; they have their own tests.
ELSEWHERE = (
    "Cores beside the surfaces",
    "The cores: what was sampled",
    "Each core: what was sampled",
    "Laboratory values",
    "Likely waste category",
    "Questions, answers",
    "Warnings and notes",
    "Sources named above",
    "Files read",
    "Closure of the balances",
)


def sums_of_cash(document):
    """Totals of lines and years, which the page adds up from the lines of the results."""
    flows = [item["by_year"] for item in document["value"]["cash_flow"]]
    by_year = [sum(year) for year in zip(*flows, strict=True)]
    return [*(sum(flow) for flow in flows), *by_year, sum(by_year)]


def captions_of(known, caption):
    return next((known[start] for start in known if caption.startswith(start)), None)


@pytest.mark.parametrize("layout", list(layouts()))
def test_every_number_of_every_table_is_in_the_results(
    pages, document, demo_estimate, layout
) -> None:
    """Each rounded number must be the rounding of one that stands under its key of the JSON.

    A table whose caption is in none of the three lists fails too, so that none is forgotten.
    """
    csv = tables(demo_estimate, document)
    seen = 0
    for caption, rows in Headlines(pages[layout]).tables.items():
        if caption.startswith(ELSEWHERE):
            continue
        keys, names = captions_of(IN_THE_RESULTS, caption), captions_of(IN_A_TABLE, caption)
        assert (keys is None) != (names is None), f"in no list, or in two: {caption}"
        if keys is not None:
            pool = [number for key in keys for number in numbers_of(document[key])]
        else:
            pool = [float(n) for name in names for row in csv[name] for n in row.values()
                    if is_number(n)]  # fmt: skip
        if caption.startswith("Cash flow"):
            pool += sums_of_cash(document)
        known = [scale * number for number in pool for scale in SCALES]
        for row in rows[1:]:
            for part in (part for cell in row[1:] for part in cell.split(" to ")):
                shown = shown_number(part)
                if shown is None:
                    continue
                seen += 1
                value, reach = shown
                assert any(abs(value - number) <= reach for number in known), (
                    caption, row[0], part,
                )  # fmt: skip
    assert seen > 100


def is_number(cell):
    try:
        float(cell)
    except (TypeError, ValueError):
        return False
    return True
