"""Trigger levels for the air where people work: watch, act and stop, each from a named limit."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from reclaim.hazards.rules import RuleBook, rule_book

if TYPE_CHECKING:
    from reclaim.hazards.caution import CautionLevel
    from reclaim.hazards.rules import Direction

_LEVELS: tuple[CautionLevel, ...] = ("watch", "act", "stop")


@dataclass(frozen=True, slots=True)
class Trigger:
    """One trigger level: a gas, a level, and the strictest limit that sets it.

    Attributes
    ----------
    gas, label, unit, direction
        As in `GasLimit`.
    level
        ``watch``: look into it; ``act``: take controls; ``stop``: withdraw.
    value
        [unit].
    limit, jurisdiction, edition, source, status
        Of the limit that sets the value.
    """

    gas: str
    label: str
    unit: str
    direction: Direction
    level: CautionLevel
    value: float
    limit: str
    jurisdiction: str
    edition: str
    source: str
    status: str


def trigger_levels(book: RuleBook | None = None) -> tuple[Trigger, ...]:
    """Return the trigger table of a rule book, at most one row per gas, direction and level.

    The strictest limit of a level sets it: the lowest above, the highest below. A local limit
    takes the place of every published one of its gas, direction and level, looser or not, since
    the local code decides.
    """
    book = book or rule_book()
    triggers = []
    for gas, direction in dict.fromkeys((limit.gas, limit.direction) for limit in book.gas):
        for level in _LEVELS:
            here = [
                limit
                for limit in book.gas
                if (limit.gas, limit.direction, limit.level) == (gas, direction, level)
            ]
            local = [limit for limit in here if limit.key in book.local]
            if not here:
                continue
            strictest = min(
                local or here,
                key=lambda limit: limit.value if limit.direction == "above" else -limit.value,
            )
            triggers.append(
                Trigger(
                    gas=gas,
                    label=strictest.label,
                    unit=strictest.unit,
                    direction=direction,
                    level=level,
                    value=strictest.value,
                    limit=strictest.limit,
                    jurisdiction=strictest.jurisdiction,
                    edition=strictest.edition,
                    source=strictest.source,
                    status=strictest.status,
                )
            )
    return tuple(triggers)
