"""Numbers and ranges in words: the only place where a number becomes text for a reader.

A best estimate is rounded to the digits that its P10 to P90 range can bear, and never to more than
three significant figures. What is not a number says so.
"""

from __future__ import annotations

from math import floor, isfinite, log10
from typing import TYPE_CHECKING, Any

from reclaim.report.traced import marked
from reclaim.uncertainty.bands import Band

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

THIN_SPACE = "\u202f"
MINUS = "\u2212"
NO_RANGE = "no range"
NO_SPREAD = "no spread"
DASHES = {ord("\u202f"): " ", ord("\u2212"): "-", ord("\u00a0"): " ", ord("\u00b3"): "3"}

_UNITS = {
    "m2": "m²",
    "m3": "m³",
    "t/m3": "t/m³",
    "m3/y": "m³/year",
    "m3/d": "m³/day",
    "m3/s": "m³/s",
    "t/y": "t/year",
    "y": "years",
    "-": "",
    "1": "",
    "mg/mj": "mg/MJ",
}

# Mastrandrea et al. (2010), Guidance Note for Lead Authors of the IPCC Fifth Assessment Report on
# Consistent Treatment of Uncertainties, table 1: bounds and words.
_LIKELIHOODS = (
    (0.10, "very unlikely"),
    (0.33, "unlikely"),
    (0.66, "about as likely as not"),
    (0.90, "likely"),
    (1.01, "very likely"),
)


def unit_words(unit: str) -> str:
    """Return a unit as a reader writes it: ``m3`` becomes m³, ``-`` becomes nothing."""
    if unit.endswith(("/m3", "/m2")):
        return unit[:-1] + _UNITS["m" + unit[-1]][-1]
    return _UNITS.get(unit, unit)


def with_unit(text: str, unit: str) -> str:
    """Return a number in words with its unit beside it, kept on one line."""
    words = "year" if unit == "y" and text == "1" else unit_words(unit)
    return f"{text}\u00a0{words}" if words else text


def number(
    value: float | None, significant: int = 3, absent: str = "not known", *, scale: float = 1.0
) -> str:
    """Return a number to some significant figures, thousands set apart by a thin space.

    `scale` multiplies it first (1e-6 for millions).

    Examples
    --------
    >>> number(1234567).replace(THIN_SPACE, " ")
    '1 230 000'
    >>> number(0.04567)
    '0.0457'
    >>> number(float("nan"))
    'not known'
    """
    if value is None or not isfinite(value):
        return absent
    if value == 0:
        return marked("0", value)
    shown = scale * value
    return marked(_rounded(shown, _place(shown) - significant + 1), value)


def as_stated(value: float) -> str:
    """Return an input in the digits it was given with, thousands set apart."""
    text = f"{value:.10g}"
    if "e" in text:
        return marked(text.replace("-", MINUS), value)
    whole, _, part = text.partition(".")
    grouped = f"{abs(int(whole)):,}".replace(",", THIN_SPACE)
    sign = MINUS if text.startswith("-") else ""
    return marked(f"{sign}{grouped}{'.' + part if part else ''}", value)


def percent(fraction: float | None, absent: str = "not known") -> str:
    """Return a fraction as per cent, to one decimal below ten per cent and whole above."""
    if fraction is None or not isfinite(fraction):
        return absent
    value = 100 * fraction
    if value == 0:
        return marked("0%", fraction)
    if 0 < abs(value) < 0.05:
        return marked("under 0.1%" if value > 0 else f"{MINUS}0.1% to 0%", fraction)
    return marked(f"{_rounded(value, 0 if abs(value) >= 9.95 else -1)}%", fraction)


def range_of(band: Band, scale: float = 1.0) -> tuple[str, str, str]:
    """Return best estimate, P10 and P90 in words, all rounded to one step.

    The step gives the range two significant figures, and none of the three numbers more than
    three. `scale` multiplies all of them first (100 for per cent, 1e-6 for millions).
    """
    numbers = [scale * v for v in (band.value, band.low, band.high)]
    finite = [v for v in numbers if isfinite(v)]
    if not any(finite):
        best, low, high = ("0" if isfinite(v) else "not known" for v in numbers)
        return best, low, high
    place = max(_place(v) for v in finite if v) - 2
    width = numbers[2] - numbers[1]
    if not width > 0:
        best, low, high = (
            as_stated(round(v, -place)) if isfinite(v) else "not known" for v in numbers
        )
        return best, low, high
    place = max(place, _place(width) - 1)
    if isfinite(numbers[0]) and numbers[0]:
        place = min(place, _place(numbers[0]))
    best, low, high = (_rounded(v, place) if isfinite(v) else "not known" for v in numbers)
    return best, low, high


def beside(value: float, largest: float, scale: float = 1.0) -> str:
    """Return a number rounded to the third significant figure of the largest in its row.

    `scale` multiplies both first (1e-6 for millions).
    """
    if value == 0 or largest == 0:
        return marked("0", value)
    return marked(_rounded(scale * value, _place(scale * largest) - 2), value)


def best_of(band: Band, absent: str = "not known") -> str:
    """Return the best estimate with its unit, rounded as its range allows."""
    if not isfinite(band.value):
        return absent
    best, unit = best_and_unit(band)
    return marked(f"{best}%", band.value) if unit == "%" else with_unit(best, unit)


def best_and_unit(band: Band) -> tuple[str, str]:
    """Return the best estimate and its unit as two texts."""
    scale, unit = _scale(band)
    best = range_of(band, scale)[0]
    return best if unit == "%" else marked(best, band.value), unit_words(unit)


def interval_of(band: Band) -> str:
    """Return ``P10 to P90`` in words with the unit, or why there is none."""
    if not (isfinite(band.low) and isfinite(band.high)):
        return NO_RANGE
    scale, unit = _scale(band)
    _, low, high = range_of(band, scale)
    if low == high:
        return NO_SPREAD
    end = "%" if unit == "%" else ""
    both = f"{marked(low + end, band.low)} to {marked(high + end, band.high)}"
    return both if end else with_unit(both, unit)


def best_with_interval(band: Band, absent: str = "not known") -> str:
    """Return a sentence part: best estimate, then P10 to P90 in brackets."""
    if not isfinite(band.value):
        return absent
    interval = interval_of(band)
    if interval in (NO_RANGE, NO_SPREAD):
        return best_of(band)
    return f"{best_of(band)} (P10 to P90: {interval})"


def band_of(headline: Mapping[str, Any]) -> Band:
    """Return a headline object of the results document as a band, null read as NaN."""
    low, value, high = (
        float("nan") if headline[key] is None else headline[key] for key in ("low", "value", "high")
    )
    return Band(value, low, high, headline["unit"])


def likelihood(chance: float) -> str:
    """Return a chance in calibrated words, ``very unlikely`` to ``very likely``."""
    return next(words for bound, words in _LIKELIHOODS if chance < bound)


def share_of_draws(chance: float) -> str:
    """Return a share of the draws in words: ``none of the draws``, ``42% of the draws``."""
    if chance in (0.0, 1.0):
        return "all of the draws" if chance else "none of the draws"
    return f"{percent(chance)} of the draws"


def money_unit(largest: float, currency: str) -> tuple[float, str]:
    """Return the scale and unit in which amounts of this size are written."""
    if abs(largest) >= 1e6:
        return 1e-6, f"million {currency}"
    return 1.0, currency


def listed(names: Iterable[str], absent: str = "none") -> str:
    """Return names as a list in a sentence: ``a, b and c``."""
    words = list(names)
    if not words:
        return absent
    if len(words) == 1:
        return words[0]
    return f"{', '.join(words[:-1])} and {words[-1]}"


def whole(value: int) -> str:
    """Return a whole number that is no quantity, as a year or a seed: no thin spaces."""
    return marked(str(int(value)), value)


def counted(count: int, singular: str, plural: str = "") -> str:
    """Return ``1 core`` or ``14 cores``."""
    return f"{whole(count)} {singular if count == 1 else plural or singular + 's'}"


def plain(text: str) -> str:
    """Return text for a terminal: thin spaces, true minus signs and raised digits made plain.

    What could steer the terminal or turn the direction of writing is replaced by a mark.
    """
    written = text.translate(DASHES).replace("m²", "m2")
    return "".join(c if c.isprintable() or c == "\n" else "\ufffd" for c in written)


def _scale(band: Band) -> tuple[float, str]:
    """Return the factor and unit of a band in words: fractions in per cent, money in millions."""
    if band.unit in ("fraction", "-", "1"):
        return 100.0, "%"
    if len(band.unit) == 3 and band.unit.isupper():
        finite = [abs(v) for v in (band.value, band.low, band.high) if isfinite(v)]
        return money_unit(max(finite, default=0.0), band.unit)
    return 1.0, band.unit


def _place(value: float) -> int:
    """Return the power of ten of the first significant figure."""
    return floor(log10(abs(value)))


def _rounded(value: float, place: int) -> str:
    """Return a value rounded to a power of ten, thousands set apart."""
    rounded = round(value, -place)
    text = f"{abs(rounded):,.{max(0, -place)}f}".replace(",", THIN_SPACE)
    return f"{MINUS}{text}" if rounded < 0 else text
