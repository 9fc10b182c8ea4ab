"""The register: one row per hazard, those not assessed included, and marks for a map."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from reclaim.hazards.rules import URGENCY

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    import pandas as pd

    from reclaim.hazards.caution import Caution, CautionLevel

NOT_ASSESSED = "not assessed"
_RECORDS_SHOWN = 12


@dataclass(frozen=True, slots=True)
class RegisterRow:
    """One hazard of the register.

    Attributes
    ----------
    number
        Row of the register, from 1.
    key, topic, level
        As in `Caution`; `level` is ``not assessed`` for a hazard nobody could look at.
    hazard
        The hazard, in one sentence.
    raised_by
        The number or record of the site that raised it.
    records
        File and row of what raised it, in words; empty where a number of the whole site did.
    rule
        The stated rule that set the level.
    controls, who_decides
        Usual controls, and who must decide.
    source, status
        Of the rule.
    still_unknown
        What is still not known.
    """

    number: int
    key: str
    topic: str
    level: str
    hazard: str
    raised_by: str
    records: str
    rule: str
    controls: str
    who_decides: str
    source: str
    status: str
    still_unknown: str


@dataclass(frozen=True, slots=True)
class Mark:
    """A place on the map where something was found.

    Attributes
    ----------
    name
        Core that found it.
    x_m, y_m
        In the grid's CRS [m].
    level
        The most urgent of its cautions.
    keys
        Keys of its cautions, the most urgent first.
    """

    name: str
    x_m: float
    y_m: float
    level: CautionLevel
    keys: tuple[str, ...]


def register(cautions: Iterable[Caution], not_assessed: Iterable[str]) -> tuple[RegisterRow, ...]:
    """Return the register, cautions as ordered, then what was not assessed."""
    rows = [
        RegisterRow(
            number=number,
            key=caution.key,
            topic=caution.topic,
            level=caution.level,
            hazard=caution.what,
            raised_by=caution.why,
            records=records_in_words(caution.records),
            rule=caution.rule,
            controls=caution.do,
            who_decides=caution.who_decides,
            source=caution.source,
            status=caution.status,
            still_unknown=caution.unknown,
        )
        for number, caution in enumerate(cautions, start=1)
    ]
    for number, sentence in enumerate(not_assessed, start=len(rows) + 1):
        rows.append(
            RegisterRow(
                number=number,
                key="",
                topic="",
                level=NOT_ASSESSED,
                hazard=sentence,
                raised_by="No data, or no method here.",
                records="",
                rule="Silence is never reassurance.",
                controls="Plan as if the hazard were there until someone has looked.",
                who_decides="whoever local codes name, by licensed practice",
                source="judgement",
                status="judgement",
                still_unknown=sentence,
            )
        )
    return tuple(rows)


def records_in_words(records: Sequence[str]) -> str:
    """Return files and rows in short.

    Examples
    --------
    >>> records_in_words(("gas.csv row 7", "gas.csv row 3"))
    'gas.csv rows 7, 3'
    """
    by_file: dict[str, list[str]] = {}
    for record in records:
        file, _, row = record.rpartition(" row ")
        by_file.setdefault(file, []).append(row)
    parts = []
    for file, rows in by_file.items():
        more = f" and {len(rows) - _RECORDS_SHOWN} more" if len(rows) > _RECORDS_SHOWN else ""
        word = "row" if len(rows) == 1 else "rows"
        parts.append(f"{file} {word} {', '.join(rows[:_RECORDS_SHOWN])}{more}")
    return "; ".join(parts)


def map_marks(cautions: Iterable[Caution], collars: pd.DataFrame) -> tuple[Mark, ...]:
    """Return one mark per core that a caution names, in the order of the collars.

    Parameters
    ----------
    cautions
        The most urgent first within a core's keys, whatever their order here.
    collars
        As in `reclaim.site.Cores`.
    """
    by_core: dict[str, list[Caution]] = {}
    for caution in sorted(cautions, key=lambda caution: URGENCY[caution.level]):
        for core in caution.cores:
            by_core.setdefault(core, []).append(caution)
    columns = (collars[name] for name in ("core_id", "x_m", "y_m"))
    return tuple(
        Mark(
            name=str(core),
            x_m=float(x_m),
            y_m=float(y_m),
            level=by_core[str(core)][0].level,
            keys=tuple(caution.key for caution in by_core[str(core)]),
        )
        for core, x_m, y_m in zip(*columns, strict=True)
        if str(core) in by_core
    )
