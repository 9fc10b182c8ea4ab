"""Numbers in words."""

from __future__ import annotations

import numpy as np
import pytest

from reclaim.report import wording
from reclaim.report.wording import MINUS, THIN_SPACE
from reclaim.uncertainty.bands import Band

NAN = float("nan")


def spaced(text: str) -> str:
    return text.replace(THIN_SPACE, " ").replace("\u00a0", " ").replace(MINUS, "-")


@pytest.mark.parametrize(
    ("value", "words"),
    [
        (1_234_567, "1 230 000"),
        (9_999, "10 000"),
        (123.4, "123"),
        (12.34, "12.3"),
        (0.04567, "0.0457"),
        (-1234.5, "-1 230"),
        (0, "0"),
        (NAN, "not known"),
        (float("inf"), "not known"),
        (None, "not known"),
    ],
)
def test_number_keeps_three_significant_figures(value: float | None, words: str) -> None:
    assert spaced(wording.number(value)) == words


@pytest.mark.parametrize(
    ("fraction", "words"),
    [
        (0.5312, "53%"),
        (0.0999, "10%"),
        (0.0312, "3.1%"),
        (0.0002, "under 0.1%"),
        (0.0, "0%"),
        (1.0, "100%"),
        (NAN, "not known"),
    ],
)
def test_percent(fraction: float, words: str) -> None:
    assert wording.percent(fraction) == words


@pytest.mark.parametrize(
    ("band", "words"),
    [
        (Band(390_123, 338_400, 453_210, "m3"), "390 000 m³ (P10 to P90: 340 000 to 450 000 m³)"),
        (Band(390_123, 389_900, 390_330, "t"), "390 000 t"),
        (Band(390_123, 388_000, 392_000, "t"), "390 000 t (P10 to P90: 388 000 to 392 000 t)"),
        (
            Band(-11.42e6, -16.51e6, -7.6e6, "EUR"),
            "-11.4 million EUR (P10 to P90: -16.5 to -7.6 million EUR)",
        ),
        (Band(33.2, 26.4, 43.3, "EUR/t"), "33 EUR/t (P10 to P90: 26 to 43 EUR/t)"),
        (Band(0.5312, 0.48, 0.61, "-"), "53% (P10 to P90: 48% to 61%)"),
        (Band(5.0, 5.0, 5.0, "y"), "5 years"),
        (Band(12.0, NAN, NAN, "y"), "12 years"),
        (Band(NAN, 3.0, 8.0, "y"), "not known"),
        (Band(0.0, 0.0, 0.0, "t"), "0 t"),
    ],
)
def test_a_range_gives_no_more_digits_than_it_can_bear(band: Band, words: str) -> None:
    assert spaced(wording.best_with_interval(band)) == words


def test_rounding_moves_no_number_by_more_than_half_a_step() -> None:
    generator = np.random.default_rng(5)
    for _ in range(300):
        value = 10 ** generator.uniform(-3, 8)
        low, high = value * generator.uniform(0.3, 1), value * generator.uniform(1, 3)
        texts = wording.range_of(Band(value, low, high, "t"))
        got = [float(spaced(text).replace(" ", "")) for text in texts]
        for exact, shown in zip((value, low, high), got, strict=True):
            # Two figures of the range's width, or three of the largest number.
            assert abs(exact - shown) <= 0.051 * max(high - low, 0.1 * high)


# Mastrandrea et al. (2010), Guidance Note for Lead Authors of the IPCC Fifth Assessment Report on
# Consistent Treatment of Uncertainties, table 1: very unlikely 0-10 %, unlikely 0-33 %, about as
# likely as not 33-66 %, likely 66-100 %, very likely 90-100 %. From memory.
@pytest.mark.parametrize(
    ("chance", "words"),
    [
        (0.0, "very unlikely"),
        (0.2, "unlikely"),
        (0.5, "about as likely as not"),
        (0.7, "likely"),
        (0.95, "very likely"),
        (1.0, "very likely"),
    ],
)
def test_likelihood_words(chance: float, words: str) -> None:
    assert wording.likelihood(chance) == words


def test_inputs_are_shown_as_they_were_given() -> None:
    assert [spaced(wording.as_stated(v)) for v in (60000, 2.443, -40, 0.00001, 1e-6)] == [
        "60 000",
        "2.443",
        "-40",
        "1e-05",
        "1e-06",
    ]


def test_units_and_lists_in_words() -> None:
    assert wording.unit_words("t/m3") == "t/m³"
    assert wording.unit_words("EUR/m2") == "EUR/m²"
    assert wording.unit_words("-") == ""
    assert wording.listed(["a", "b", "c"]) == "a, b and c"
    assert wording.listed([]) == "none"
    assert wording.counted(1, "core") == "1 core"
    assert wording.counted(2, "core") == "2 cores"


def test_terminal_text_has_no_character_that_a_plain_terminal_lacks() -> None:
    text = wording.plain(wording.best_with_interval(Band(-390_123, -450_000, -340_000, "m3")))
    assert text.isascii()
