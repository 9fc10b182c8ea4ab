"""The known name that a misspelt one was probably meant to be."""

from __future__ import annotations

from difflib import get_close_matches
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable


def nearest(word: str, known: Iterable[str]) -> str | None:
    """Return the known word most like `word`, or None where nothing is near.

    Case, blanks and hyphens do not count. Likeness is the ratio of matching blocks
    (`difflib.get_close_matches`).
    """
    plain = {_plain(name): name for name in known}
    found = get_close_matches(_plain(word), plain, n=1, cutoff=0.6)
    return plain[found[0]] if found else None


def suggestion(word: str, known: Iterable[str]) -> str:
    """Return the advice for an unknown word: the nearest known one, or all there are."""
    names = tuple(dict.fromkeys(known))
    near = nearest(word, names)
    if near is not None:
        return f"Did you mean '{near}'?"
    return f"Use one of: {', '.join(names)}." if names else "Take it out."


def _plain(word: str) -> str:
    return word.strip().casefold().replace(" ", "_").replace("-", "_")
