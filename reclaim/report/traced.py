"""Numbers that remember where in the results document they stand, and keep it on the page.

`traced` turns every number of a document into one that knows its path. The formatters of `wording`
put a mark around what they make of such a number; a template turns the mark into a ``data``
element, so that each number in a sentence can be compared with ``estimate.json``.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any, TypeVar

Number = TypeVar("Number", int, float)

if TYPE_CHECKING:
    from collections.abc import Mapping

    from markupsafe import Markup

# Code points of the private use area, which `traced` takes out of every text of the document.
_OPEN, _VALUE, _TEXT, _CLOSE = "\ue000", "\ue001", "\ue002", "\ue003"
_OURS = dict.fromkeys(map(ord, (_OPEN, _VALUE, _TEXT, _CLOSE)))
_MARK = re.compile(f"{_OPEN}([^{_VALUE}]*){_VALUE}([^{_TEXT}]*){_TEXT}([^{_CLOSE}]*){_CLOSE}")


class TracedFloat(float):
    """A number with its path in the results document, as ``headlines.npv.value``.

    Sums, differences, quotients, magnitudes and opposites remember what they were made of.
    """

    __slots__ = ("path",)
    path: str

    def __add__(self, other: float) -> float:
        return at(float(self) + other, f"({self.path} + {_path(other)})") if other else self

    __radd__ = __add__

    def __sub__(self, other: float) -> float:
        return at(float(self) - other, f"({self.path} - {_path(other)})")

    def __truediv__(self, other: float) -> float:
        return at(float(self) / other, f"({self.path} / {_path(other)})")

    def __neg__(self) -> float:
        return at(-float(self), f"-{self.path}")

    def __abs__(self) -> float:
        return at(abs(float(self)), f"abs({self.path})")


class TracedInt(int):
    """A whole number with its path in the results document; differences remember theirs."""

    path: str

    def __sub__(self, other: int) -> int:
        return at(int(self) - other, f"({self.path} - {_path(other)})")


def at(number: Number, path: str) -> Number:
    """Return a number that remembers where it comes from.

    Parameters
    ----------
    number
        A whole number stays one.
    path
        Keys and places of lists, set apart by points; or a sum, difference or quotient of such;
        or ``count(path)`` and ``count(path, key=value)`` for the parts of a list.
    """
    made: Any = TracedInt(number) if isinstance(number, int) else TracedFloat(number)
    made.path = path
    return made  # type: ignore[no-any-return]


def count(document: Mapping[str, Any], path: str, **wanted: Any) -> int:
    """Return how many parts a list of the document has, or how many with a key of some value.

    Parameters
    ----------
    document
        The results document; the count is traced where its numbers are.
    path
        Of the list, its keys set apart by points.
    wanted
        One key and its value at most.
    """
    parts: Any = document
    for key in path.split("."):
        parts = parts[key]
    number = sum(all(part[key] == value for key, value in wanted.items()) for part in parts)
    terms = "".join(f", {key}={value}" for key, value in wanted.items())
    is_traced = isinstance(document["run"]["draws"], TracedInt)
    return at(number, f"count({path}{terms})") if is_traced else number


def traced(document: Mapping[str, Any]) -> dict[str, Any]:
    """Return a document whose numbers know their paths."""
    return {key: _traced(value, key) for key, value in document.items()}


def _traced(value: Any, path: str) -> Any:
    if isinstance(value, dict):
        return {key: _traced(part, f"{path}.{key}") for key, part in value.items()}
    if isinstance(value, list):
        return [_traced(part, f"{path}.{place}") for place, part in enumerate(value)]
    if isinstance(value, str):
        return value.translate(_OURS)
    if isinstance(value, bool) or value is None:
        return value
    return at(value, path)


def _path(number: float) -> str:
    return getattr(number, "path", repr(number))


def marked(text: str, number: Any) -> str:
    """Return what was made of a number, with a mark around it where the number is traced."""
    path = getattr(number, "path", None)
    if path is None or not any(letter.isdigit() for letter in text):
        return text
    return f"{_OPEN}{path}{_VALUE}{number!r}{_TEXT}{text}{_CLOSE}"


def unmarked(text: Any) -> Any:
    """Return text as it reads, for a place where no element may stand; all else as it is."""
    return _MARK.sub(r"\3", text) if isinstance(text, str) and _OPEN in text else text


def as_html(text: str) -> str | Markup:
    """Return text for a page: every mark a ``data`` element, everything else escaped later."""
    from markupsafe import Markup

    if _OPEN not in text:
        return text
    first, *parts = _MARK.split(text)
    made = Markup("") + first
    for path, value, shown, after in zip(*(parts[k::4] for k in range(4)), strict=True):
        made += Markup('<data value="{}" data-from="{}">{}</data>').format(value, path, shown)
        made += after
    return made
