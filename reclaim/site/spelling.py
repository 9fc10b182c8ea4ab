"""The known name that a misspelt one was probably meant to be."""

from __future__ import annotations

from difflib import SequenceMatcher, get_close_matches
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable

AS_NEAR = 0.05
"""Two likenesses that differ by less make two suggestions."""


def nearest(word: str, known: Iterable[str]) -> str | None:
    """Return the known word most like `word`, or None where nothing is near.

    Case, blanks and hyphens do not count. Likeness is the ratio of matching blocks
    (`difflib.get_close_matches`).
    """
    plain = {_plain(name): name for name in known}
    found = get_close_matches(_plain(word), plain, n=1, cutoff=0.6)
    return plain[found[0]] if found else None


def suggestion(word: str, known: Iterable[str]) -> str:
    """Return the advice for an unknown word: the nearest known ones, or all there are."""
    names = {_plain(name): name for name in dict.fromkeys(known)}
    near = get_close_matches(_plain(word), names, n=2, cutoff=0.6)
    if len(near) == 2:
        best, second = (SequenceMatcher(None, name, _plain(word)).ratio() for name in near)
        near = near[: 2 if best - second < AS_NEAR else 1]
    if near:
        return f"Did you mean {' or '.join(repr(names[name]) for name in near)}?"
    return f"Use one of: {', '.join(names.values())}." if names else "Take it out."


def _plain(word: str) -> str:
    return word.strip().casefold().replace(" ", "_").replace("-", "_")
