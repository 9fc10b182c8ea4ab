"""The page as data: a section answers one question with a finding, figures and tables."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Mapping


@dataclass(frozen=True, slots=True)
class Words:
    """Paragraphs of plain text, or a list of points."""

    paragraphs: tuple[str, ...]
    as_list: bool = False
    kind: str = field(default="words", init=False)


@dataclass(frozen=True, slots=True)
class Picture:
    """A figure by its name in `figures`, with the text that stands for it and under it."""

    name: str
    alt: str
    caption: str
    kind: str = field(default="picture", init=False)


@dataclass(frozen=True, slots=True)
class Table:
    """A table of words; the first column heads each row.

    Attributes
    ----------
    caption
        What the table shows, above it.
    columns
        Headings, with units.
    rows
        Cells, every row as long as `columns`.
    text_columns
        Places of the columns that hold words; the others are set as numbers.
    small
        True for long lists of reference.
    """

    caption: str
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    text_columns: tuple[int, ...] = (0,)
    small: bool = False
    kind: str = field(default="table", init=False)


Block = Words | Picture | Table


@dataclass(frozen=True, slots=True)
class Section:
    """One section of the page.

    Attributes
    ----------
    id, title
        For the address on the page, and for the heading.
    question
        What a reader wants to know.
    finding
        The answer in one sentence, with its numbers.
    blocks
        What backs it.
    """

    id: str
    title: str
    question: str
    finding: str
    blocks: tuple[Block, ...]


def setting(document: Mapping[str, Any], key: str) -> float:
    """Return a plain number that steers the estimate, by its key in the site file."""
    return next(row["value"] for row in document["settings"] if row["key"] == key)  # type: ignore[no-any-return]
