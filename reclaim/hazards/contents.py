"""What is buried: from the logs, the years of tipping and what was sorted out as hazardous."""

from __future__ import annotations

from typing import TYPE_CHECKING

from reclaim.hazards.log_words import Mention, cautions_from_logs, denials
from reclaim.hazards.rules import RuleBook, rule_book

if TYPE_CHECKING:
    from collections.abc import Iterable

    from reclaim.hazards.caution import Caution

_ERAS = ("asbestos_era", "munitions_era", "industrial_era")


def contents_cautions(
    *,
    mentions: Iterable[Mention],
    notes: int,
    opened: int | None,
    hazardous_t: float,
    feed_t: float,
    own_words: int = 0,
    book: RuleBook | None = None,
) -> tuple[tuple[Caution, ...], tuple[str, ...]]:
    """Raise the cautions on what is buried.

    Parameters
    ----------
    mentions
        Hazards named in the logs.
    notes
        Number of intervals whose note is not empty.
    opened
        First year of tipping, None where not known.
    hazardous_t, feed_t
        Hazardous items, and all waste dug, wet [t].
    own_words
        Number of words that the user added to those of the reference file.
    book
        Rules that hold.
    """
    book = book or rule_book()
    mentions = tuple(mentions)
    from_years, years_unknown = era_cautions(opened, book)
    from_share, share_unknown = hazardous_share_caution(hazardous_t, feed_t, book)
    not_assessed = [*denials(mentions), *years_unknown, *share_unknown]
    if notes == 0:
        not_assessed.append("What is buried was not assessed from logs: no interval has a note.")
    else:
        not_assessed.append(
            f"Hazards that nobody wrote down were not assessed: the logs hold {notes} notes, read "
            "for words in English, German, French, Spanish and Dutch"
            + (f", and {own_words} of your own." if own_words else ".")
        )
    not_assessed.append(
        "Asbestos fibres, metals, oils and persistent pollutants in fines and residue, and so "
        "their waste class, were not assessed: laboratory tests decide."
    )
    not_assessed.append(
        "Site history was not assessed: ask the records and old workers for hospital, industrial, "
        "war and animal waste."
    )
    return (*cautions_from_logs(mentions, "contents", book), *from_years, *from_share), tuple(
        not_assessed
    )


def era_cautions(
    opened: int | None, book: RuleBook | None = None
) -> tuple[tuple[Caution, ...], tuple[str, ...]]:
    """Raise what the first year of tipping makes likely, seen in the cores or not."""
    book = book or rule_book()
    if opened is None:
        return (), (
            (
                "What the years of tipping make likely was not assessed: the site file gives no "
                "first year."
            ),
        )
    return tuple(
        book[key].raised_by(
            f"Tipping began in {opened}, before {book[key].number:.0f} (site file)."
        )
        for key in _ERAS
        if opened < book[key].number
    ), ()


def hazardous_share_caution(
    hazardous_t: float, feed_t: float, book: RuleBook | None = None
) -> tuple[tuple[Caution, ...], tuple[str, ...]]:
    """Raise a caution on hazardous items in the composition, wet [t]; none is no proof."""
    rule = (book or rule_book())["hazardous_share"]
    if hazardous_t > rule.number:
        why = (
            f"About {hazardous_t:,.0f} t of {feed_t:,.0f} t dug ({hazardous_t / feed_t:.2%}) are "
            "hazardous items, after the composition."
        )
        return (rule.raised_by(why),), ()
    return (), (
        "Hazardous items do not show in the composition; samples of this size miss rare items.",
    )
