"""Every number in a sentence of the demo report is one of the results, and says which."""

from __future__ import annotations

import ast
import operator
import re
from html.parser import HTMLParser

import pytest

from reclaim.report.figures import draw_all
from reclaim.report.layouts import layouts
from reclaim.report.page import Image, page
from reclaim.report.results import results
from reclaim.report.traced import at, count, marked, traced, unmarked
from reclaim.report.wording import number

SCALES = (1.0, 100.0, 1e-6)
APART = {"table", "svg", "script", "style", "form", "title", "article"}
"""Tables and cards have tests of their own; an article is a core log, see below."""

ENDS = {
    "caption", "dd", "div", "dt", "figcaption", "h1", "h2", "h3", "h4", "label", "legend", "li",
    "p", "section", "summary",
}  # fmt: skip

ALLOWED = (
    r"\bP(10|50|90)\b",
    r"CO2e?\b|CH4\b",
    r"\b\d{4}-\d\d-\d\d\b",  # the day it was made
    r"reclaim \d+\.\d+\.\d+",
    r"under 0\.1%",
    r"\bYear 0 is the year of building",
    r"over 100 years",  # the span of the comparison, in the words of its standard
    r"ISO 21640: 1 is best and 5 is worst|even class 5",
    r"80% of 531\u202f?\s?441 scenarios for Europe",  # Laner et al. 2019, named beside it
    r"Cores within 6% of a section's length",  # how far off the drawing shows cores
    r"\(\d+ rows\)",  # of the table it folds away
    r"^Logs of all \d+ cores$",
    r"^\d+ of \d+ questions have a number today",  # counts the table below it
    r"^\d+ of \d+ properties of the materials are published values",  # counts the table below it
    r"^(Dug thickness|Chance that the waste is thicker than [\d.]+ m)(: .*)?$",  # layers of the map
)
"""Digits that are no result, and why."""


@pytest.fixture(scope="module")
def document(demo_estimate):
    return results(demo_estimate)


@pytest.fixture(scope="module")
def pages(demo_estimate, document):
    images = dict.fromkeys(draw_all(demo_estimate), Image("data:image/png;base64,AAAA", 40.0))
    return {name: page(demo_estimate, document, images, layout=name) for name in layouts()}


class Prose(HTMLParser):
    """Sentences with their marked numbers left out, and the marked numbers."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.sentences: list[str] = []
        self.numbers: list[tuple[str, str, str]] = []
        self._apart, self._words, self._number = 0, "", None
        self.feed(text)
        self._end()

    def handle_starttag(self, tag, attributes) -> None:
        given = dict(attributes)
        self._apart += tag in APART
        if tag in ENDS:
            self._end()
        if tag == "data":
            self._number = [given["value"], given.get("data-from", ""), ""]

    def handle_endtag(self, tag) -> None:
        self._apart -= tag in APART
        if tag in ENDS:
            self._end()
        if tag == "data":
            if self._number[1]:
                self.numbers.append(tuple(self._number))
            self._number = None

    def handle_data(self, words) -> None:
        if self._number is not None:
            self._number[2] += words
        elif not self._apart:
            self._words += words

    def _end(self) -> None:
        if self._words.strip():
            self.sentences.append(" ".join(self._words.split()))
        self._words = ""


def looked_up(document, path):
    """Return what stands at a path of the document."""
    value = document
    for key in path.split("."):
        value = value[int(key)] if isinstance(value, list) else value[key]
    return value


def counted(document, terms):
    path, *wanted = terms.split(", ")
    pairs = [term.split("=") for term in wanted]
    return sum(all(str(part[k]) == v for k, v in pairs) for part in looked_up(document, path))


def worked_out(document, formula):
    """Return the number that a formula of paths gives, from the document alone."""
    known = {}

    def name(number) -> str:
        known[f"n{len(known)}"] = number
        return f"n{len(known) - 1}"

    plain = re.sub(r"count\(([^()]*)\)", lambda m: name(counted(document, m[1])), formula)
    plain = re.sub(
        r"(?<![\w.])(?!n\d|abs\b)[a-z]\w*(?:\.[\w ,]+?)+(?=\)| [-+/] |$)",
        lambda m: name(looked_up(document, m[0])),
        plain,
    )
    return arithmetic(ast.parse(plain, mode="eval").body, known)


def arithmetic(node, known):
    """Return the value of sums, differences, quotients, magnitudes and opposites."""
    match node:
        case ast.Constant():
            return node.value
        case ast.Name():
            return known[node.id]
        case ast.UnaryOp(op=ast.USub()):
            return -arithmetic(node.operand, known)
        case ast.BinOp(op=ast.Add() | ast.Sub() | ast.Div()):
            does = {ast.Add: operator.add, ast.Sub: operator.sub, ast.Div: operator.truediv}
            sides = (arithmetic(side, known) for side in (node.left, node.right))
            return does[type(node.op)](*sides)
        case ast.Call(func=ast.Name(id="abs")):
            return abs(arithmetic(node.args[0], known))
    raise AssertionError(ast.dump(node))


def shown(text):
    """Return what a text says, and half a unit of its last figure that is no filling zero."""
    plain = text.replace("\u202f", "").replace("\u2212", "-").removesuffix("%")
    if "e" in plain:
        first, power = plain.split("e")
        return float(plain), 0.5000001 * 10.0 ** (int(power) - len(first.partition(".")[2]))
    decimals = len(plain.partition(".")[2])
    zeros = 0 if decimals else len(plain) - len(plain.rstrip("0"))
    return float(plain), 0.5000001 * 10.0 ** (zeros - decimals)


@pytest.mark.parametrize("layout", list(layouts()))
def test_every_marked_number_is_the_result_it_names(pages, document, layout) -> None:
    """Worked out anew from the document; the page shows a rounding of it."""
    numbers = Prose(pages[layout]).numbers
    assert len(numbers) > {"consultant": 150, "municipality": 25, "geologist": 25}[layout]
    for value, path, text in numbers:
        result = worked_out(document, path)
        assert float(value) == pytest.approx(result, rel=1e-12), path
        if text.startswith("under "):
            assert 0 < 100 * result < 0.05
            continue
        words, reach = shown(text)
        assert any(abs(words - scale * result) <= reach for scale in SCALES), (path, text, result)


def texts_of(value):
    if isinstance(value, dict):
        value = list(value.values())
    if isinstance(value, list):
        for part in value:
            yield from texts_of(part)
    elif isinstance(value, str):
        yield " ".join(value.split())


@pytest.mark.parametrize("layout", list(layouts()))
def test_no_sentence_has_a_number_without_its_place_in_the_results(pages, document, layout) -> None:
    """Text that stands in the results word for word is a result; sources are cited as they are."""
    from reclaim.reference import sources

    cited = [" ".join(source.reference.split()) for source in sources().values()]
    quoted = {
        text for text in (*texts_of(document), *cited)
        if re.search(r"\d", text) and re.search(r"[a-z]", text) and len(text) > 5
    }  # fmt: skip
    longest = sorted(quoted, key=len, reverse=True)
    left = []
    for sentence in Prose(pages[layout]).sentences:
        rest = sentence
        if re.search(r"\d", rest):
            for text in longest:
                rest = rest.replace(text, "")
            for pattern in ALLOWED:
                rest = re.sub(pattern, "", rest)
        if re.search(r"\d", rest):
            left.append(sentence)
    assert left == []


def test_a_log_on_the_page_is_the_log_of_the_table(pages, demo_estimate) -> None:
    logs = demo_estimate.site.cores.intervals
    rows = re.findall(r"<li><b>([\d.]+) to ([\d.]+) m, (\w+)\.</b>", pages["geologist"])
    assert rows == [
        (f"{row.from_m:g}", f"{row.to_m:g}", row.layer)
        for row in logs.sort_values(["core_id", "from_m"], kind="stable").itertuples()
    ]


def test_a_wrong_number_is_found(document) -> None:
    with pytest.raises(AssertionError):
        test_every_marked_number_is_the_result_it_names(
            {"geologist": '<p><data value="1" data-from="site.cores">1</data></p>' * 30},
            document, "geologist",
        )  # fmt: skip
    with pytest.raises(AssertionError):
        test_no_sentence_has_a_number_without_its_place_in_the_results(
            {"geologist": "<p>About 12 cores.</p>"}, document, "geologist"
        )


def test_numbers_keep_their_place_through_sums_and_quotients() -> None:
    found = traced({"a": {"b": 6.0}, "c": [{"d": 2.0}, {"d": 4}], "run": {"draws": 5}})
    assert found["a"]["b"].path == "a.b"
    assert (found["a"]["b"] / found["c"][0]["d"]).path == "(a.b / c.0.d)"
    assert sum([found["a"]["b"], found["c"][0]["d"]]).path == "(a.b + c.0.d)"
    assert abs(found["c"][0]["d"] - found["a"]["b"]).path == "abs((c.0.d - a.b))"
    assert (-found["a"]["b"]).path == "-a.b"
    assert count(found, "c", d=4).path == "count(c, d=4)"
    assert count({"c": [1], "run": {"draws": 5}}, "c") == 1


def test_a_mark_goes_where_no_element_may_stand() -> None:
    text = number(at(1234.0, "a.b"))
    assert unmarked(text) == "1\u202f230"
    assert text != unmarked(text)
    assert marked("none", at(1234.0, "a.b")) == "none"
    assert number(1234.0) == "1\u202f230"


def test_a_name_cannot_pass_for_a_mark() -> None:
    forged = marked("9", at(1.0, "headlines.npv.value"))
    assert traced({"name": forged})["name"].isprintable()
