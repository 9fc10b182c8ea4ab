"""The page: what it must show, what it must never hold, and that its numbers are the results'."""

from __future__ import annotations

import re
from dataclasses import replace
from html.parser import HTMLParser

import pytest

from reclaim.hazards import DEFERENCE, Caution, HazardAssessment
from reclaim.report.figures import draw_all
from reclaim.report.headlines import HEADLINES
from reclaim.report.layouts import layouts
from reclaim.report.page import Image, cards, page
from reclaim.report.results import results
from reclaim.report.wording import band_of, best_of, interval_of
from reclaim.site.problems import Check

HOSTILE = "<script>alert('x')</script>\"><img src=x onerror=alert(1)> =1+1 & {{ 7*7 }}"


PIXEL = Image("data:image/png;base64,AAAA", 40.0)


def images_of(estimate) -> dict[str, Image]:
    """Stand in for drawn figures, where a test is about the page around them."""
    return dict.fromkeys(draw_all(estimate), PIXEL)


class Page(HTMLParser):
    """The page as a list of tags with their attributes, and its text."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.words: list[str] = []
        self._hidden = 0
        self.feed(text)

    def handle_starttag(self, tag, attrs) -> None:
        self.tags.append((tag, dict(attrs)))
        self._hidden += tag in ("style", "script")

    def handle_endtag(self, tag) -> None:
        self._hidden -= tag in ("style", "script")

    def handle_data(self, data) -> None:
        if not self._hidden:
            self.words.append(data)

    def of(self, tag: str) -> list[dict[str, str | None]]:
        return [attributes for name, attributes in self.tags if name == tag]

    @property
    def text(self) -> str:
        return " ".join(" ".join(self.words).split())


@pytest.fixture(scope="module")
def drawn(estimate):
    return images_of(estimate)


@pytest.fixture(scope="module")
def html(estimate, document, drawn) -> str:
    return page(estimate, document, drawn)


@pytest.fixture(scope="module")
def read(html) -> Page:
    return Page(html)


def test_it_needs_no_network(html, read) -> None:
    assert "http://" not in html
    assert "https://" not in html
    assert set(re.findall(r"url\((.*?)\)", html)) <= {"#no-dig", "#dots", "#dashes"}
    assert "@import" not in html
    assert not read.of("link")
    for script in read.of("script"):
        assert "src" not in script
    for tag, attributes in read.tags:
        if "src" in attributes:
            assert attributes["src"].startswith("data:image/")
        if "href" in attributes:
            assert tag == "a" or attributes["href"].startswith("data:image/png")
            assert attributes["href"].startswith(("#", "data:image/png"))


def test_it_stays_small(html) -> None:
    assert len(html.encode()) < 5_000_000


def test_headline_numbers_are_those_of_the_results(html, document) -> None:
    for headline in HEADLINES:
        raw = document["headlines"][headline.key]
        card = re.search(rf'<li id="card-{headline.key}">(.*?)</li>', html, re.DOTALL).group(1)
        assert (
            float(re.search(r'<data class="best" value="([^"]+)"', card).group(1)) == (raw["value"])
        )
        assert float(re.search(r'data-low="([^"]+)"', card).group(1)) == raw["low"]
        assert float(re.search(r'data-high="([^"]+)"', card).group(1)) == raw["high"]
        text = Page(card).text
        assert " ".join(best_of(band_of(raw)).split()) in text
        assert " ".join(interval_of(band_of(raw)).split()) in text


def test_the_chance_is_that_of_the_results(html, document) -> None:
    card = re.search(r'<li id="card-chance_npv_positive">(.*?)</li>', html, re.DOTALL).group(1)
    shown = float(re.search(r'<data class="best" value="([^"]+)"', card).group(1))
    assert shown == document["headlines"]["chance_npv_positive"]


def test_every_picture_has_words_for_those_who_do_not_see_it(read, drawn) -> None:
    images = read.of("img")
    assert len(images) >= 7
    assert len(images) <= len(drawn)
    for image in images:
        assert len(image["alt"]) > 20


def test_tables_have_captions_and_scoped_headers(html, read) -> None:
    assert len(read.of("table")) == len(read.of("caption"))
    assert {header["scope"] for header in read.of("th")} == {"col", "row"}
    assert len(read.of("table")) > 10
    for body in re.findall(r"<tr>(.*?)</tr>", html, re.DOTALL):
        assert 'scope="' in body


def test_landmarks_language_and_headings(read) -> None:
    names = [tag for tag, _ in read.tags]
    for landmark in ("header", "main", "nav", "footer"):
        assert names.count(landmark) == 1
    assert names.count("h1") == 1
    assert read.of("html")[0]["lang"] == "en"
    identifiers = [attributes["id"] for _, attributes in read.tags if attributes.get("id")]
    assert len(identifiers) == len(set(identifiers))
    for section in read.of("section"):
        assert section["aria-labelledby"] in identifiers
    for link in read.of("a"):
        assert link["href"].removeprefix("#") in identifiers


def test_cautions_stand_before_the_money(html, estimate) -> None:
    assert html.index('id="cautions"') < html.index('id="how-much"')
    assert html.index('id="cautions"') < html.index('id="what-it-is-worth"')
    for caution in estimate.cautions:
        assert caution.what in html
        assert caution.why in html
        assert caution.do in html


def test_without_cautions_the_section_and_the_deference_stay(estimate, drawn) -> None:
    bare = replace(estimate, hazards=HazardAssessment((), ()))
    text = Page(page(bare, results(bare), drawn)).text
    assert "That does not make the work safe" in text
    assert DEFERENCE in text
    assert "there are others" in text


def test_checks_assumptions_and_inputs_are_all_there(html, estimate, document) -> None:
    text = Page(html).text
    for check in estimate.checks:
        assert check.what in text
    for assumption in document["assumptions"]:
        assert f"({assumption['key']})" in text
    for file in estimate.site.inputs:
        assert file.sha256 in html
    assert "not an offer" in text


@pytest.mark.parametrize("layout", list(layouts()))
def test_hostile_names_are_inert(estimate, document, layout) -> None:
    read = Page(page(estimate, document, images_of(estimate), layout=layout))
    caution = Caution("k", "gas", "stop", HOSTILE, HOSTILE, HOSTILE, HOSTILE, HOSTILE, HOSTILE)
    cores = estimate.site.cores
    collars = cores.collars.assign(core_id=[HOSTILE, *cores.collars["core_id"][1:]])
    summary = estimate.core_summary
    hostile = replace(
        estimate,
        site=replace(
            estimate.site,
            name=HOSTILE,
            cores=replace(cores, collars=collars),
            footprint=replace(
                estimate.site.footprint,
                zones=tuple(replace(z, name=HOSTILE) for z in estimate.site.footprint.zones),
            ),
        ),
        core_summary=replace(
            summary, per_core=summary.per_core.assign(core_id=HOSTILE, zone=HOSTILE)
        ),
        hazards=HazardAssessment((caution,), (HOSTILE,)),
        checks=(Check("warning", HOSTILE, HOSTILE, HOSTILE),),
    )
    got = Page(page(hostile, results(hostile), images_of(hostile), layout=layout))
    assert len(got.of("script")) == len(read.of("script"))
    assert len(got.of("img")) == len(read.of("img"))
    assert not [a for _, a in got.tags if any(key.startswith("on") for key in a)]
    assert "{{ 7*7 }}" in got.text


def test_what_is_not_known_says_so(read) -> None:
    text = read.text
    assert "never within the works" in text
    assert "no rate makes the value zero" in text
    assert "nan" not in re.findall(r"[a-z]+", text.lower())


def test_bars_start_at_zero(document) -> None:
    for card in cards(document):
        if card.bar is None:
            continue
        ends = sorted([card.bar.zero, card.bar.low, card.bar.high, card.bar.best])
        assert ends[0] == 0
        assert ends[-1] == 200
        at_zero = card.bar.zero == 0 if card.value > 0 else card.bar.zero == 200
        assert at_zero


def test_an_estimate_with_little_still_makes_a_page(estimate) -> None:
    cores = estimate.site.cores
    empty = replace(
        estimate,
        site=replace(
            estimate.site,
            opened=None,
            closed=None,
            cores=replace(
                cores,
                collars=cores.collars.iloc[:0],
                intervals=cores.intervals.iloc[:0],
                samples=cores.samples.iloc[:0],
                gas=cores.gas.iloc[:0],
            ),
        ),
        sections=(),
        core_summary=None,
        checks=(),
    )
    text = Page(page(empty, results(empty), images_of(empty))).text
    assert "years not known" in text
    assert "Make-up from the site file" in text
    assert "gave no warning and no note" in text
