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


@pytest.mark.parametrize(
    ("caption", "key"),
    [
        ("Tonnes of each material", "feed"),
        ("Products of the line: mass", "products"),
        ("Products of the line: what a buyer", "products"),
        ("Airspace", "airspace"),
        ("Measures of worth", "value"),
        ("Headline numbers", "headlines"),
    ],
)
def test_numbers_of_a_table_are_in_the_results(pages, document, caption, key) -> None:
    """Each rounded number must be the rounding of one that stands under its key of the JSON."""
    known = [scale * number for number in numbers_of(document[key]) for scale in SCALES]
    tables = Headlines(pages["consultant"]).tables
    rows = next(rows for name, rows in tables.items() if name.startswith(caption))
    seen = 0
    for row in rows[1:]:
        for cell in row[1:]:
            for part in cell.split(" to "):
                shown = shown_number(part)
                if shown is None:
                    continue
                seen += 1
                value, reach = shown
                assert any(abs(value - number) <= reach for number in known), (row[0], part)
    assert seen > 5
