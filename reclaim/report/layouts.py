"""Which parts of the report each reader gets, read from ``layouts.toml``."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, replace
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING

from reclaim.report.sections.blocks import Picture, Section, Table, Words

if TYPE_CHECKING:
    from collections.abc import Iterable

    from reclaim.report.sections.blocks import Block


@dataclass(frozen=True, slots=True)
class Pick:
    """One section of a layout: which of its figures and tables are kept; None for all."""

    id: str
    keep: tuple[str, ...] | None


@dataclass(frozen=True, slots=True)
class Layout:
    """What one kind of reader gets.

    Attributes
    ----------
    name, kind
        Name on the command line, and the line over the name of the site.
    answers
        True where the four questions stand first.
    cards
        Headline numbers shown, by key; ``("all",)`` for all.
    cautions
        ``full`` or ``short``.
    interactive
        True for the map with layers and the what-if panel.
    sections
        In reading order; empty for all.
    """

    name: str
    kind: str
    answers: bool
    cards: tuple[str, ...]
    cautions: str
    interactive: bool
    sections: tuple[Pick, ...]

    def shows_card(self, key: str) -> bool:
        """Return whether a headline number is shown."""
        return self.cards == ("all",) or key in self.cards

    def of(self, sections: Iterable[Section]) -> tuple[Section, ...]:
        """Return the sections of this layout with the blocks that it keeps, in its order.

        Sections that the estimate does not have are left out.
        """
        if not self.sections:
            return tuple(section for section in sections if not section.id.startswith("core"))
        known = {section.id: section for section in sections}
        return tuple(_kept(known[pick.id], pick.keep) for pick in self.sections if pick.id in known)


@cache
def layouts() -> dict[str, Layout]:
    """Return every layout by its name."""
    text = files("reclaim.report").joinpath("layouts.toml").read_text(encoding="utf-8")
    return {
        name: Layout(
            name=name,
            kind=row["kind"],
            answers=row["answers"],
            cards=tuple(row["cards"]),
            cautions=row["cautions"],
            interactive=row["interactive"],
            sections=tuple(
                Pick(part["id"], tuple(part["keep"]) if "keep" in part else None)
                for part in row.get("section", ())
            ),
        )
        for name, row in tomllib.loads(text).items()
    }


def _kept(section: Section, keep: tuple[str, ...] | None) -> Section:
    if keep is None:
        return section
    return replace(section, blocks=tuple(block for block in section.blocks if _is_in(block, keep)))


def _is_in(block: Block, keep: tuple[str, ...]) -> bool:
    if isinstance(block, Picture):
        return block.name in keep
    if isinstance(block, Table):
        return any(block.caption.startswith(start) for start in keep)
    return isinstance(block, Words) and "words" in keep
