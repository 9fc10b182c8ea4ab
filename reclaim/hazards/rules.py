"""The rules as data: limits on gas, and what raises every other caution."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Literal, cast

from reclaim.hazards.caution import Caution, CautionLevel
from reclaim.reference import read_rows

Direction = Literal["above", "below"]

URGENCY: dict[CautionLevel, int] = {"stop": 0, "act": 1, "watch": 2}


@dataclass(frozen=True, slots=True)
class GasLimit:
    """One limit on one gas: a row of ``gas_limits.csv``.

    Attributes
    ----------
    gas, label, unit
        Column of the gas table, the gas in words, and the unit of both.
    limit
        What the limit is, in words.
    direction, value
        The side on which the limit is passed, and the limit [unit].
    key, level, what, do, who_decides, source, status
        As in `Caution`.
    jurisdiction, edition
        Where the limit holds, and the clause or edition it was taken from.
    """

    key: str
    gas: str
    label: str
    limit: str
    direction: Direction
    value: float
    unit: str
    level: CautionLevel
    what: str
    do: str
    who_decides: str
    source: str
    status: str
    jurisdiction: str
    edition: str

    def is_passed_by(self, reading: float) -> bool:
        """Tell whether a reading passes the limit; one exactly at it does, on the safe side.

        Examples
        --------
        >>> flammable = next(limit for limit in gas_limits() if limit.key == "methane_flammable")
        >>> [flammable.is_passed_by(reading) for reading in (4.99, 5.0, float("nan"))]
        [False, True, False]
        """
        return reading >= self.value if self.direction == "above" else reading <= self.value


@dataclass(frozen=True, slots=True)
class Rule:
    """What raises a caution that is not a gas limit: a row of ``cautions.csv``.

    Attributes
    ----------
    limit, value, unit
        The limit in words and as a number [unit]; empty and None where a record raises the
        caution, not a number.
    jurisdiction, edition
        Where the rule holds, and the clause or edition it was taken from.
    key, topic, level, what, do, who_decides, source, status
        As in `Caution`.
    """

    key: str
    topic: str
    level: CautionLevel
    limit: str
    value: float | None
    unit: str
    what: str
    do: str
    who_decides: str
    source: str
    status: str
    jurisdiction: str
    edition: str

    @property
    def number(self) -> float:
        """The limit as a number [unit].

        Raises
        ------
        ValueError
            Where the rule has none.
        """
        if self.value is None:
            raise ValueError(f"The rule '{self.key}' has no number.")
        return self.value

    def raised_by(self, why: str) -> Caution:
        """Return the caution, with the number or record of the site that raised it."""
        return Caution(
            key=self.key,
            topic=self.topic,
            level=self.level,
            what=self.what,
            why=why,
            do=self.do,
            who_decides=self.who_decides,
            source=self.source,
            status=self.status,
        )


@cache
def gas_limits() -> tuple[GasLimit, ...]:
    """Return every limit on gas, in the order of the file."""
    return tuple(
        GasLimit(
            key=row["key"],
            gas=row["gas"],
            label=row["label"],
            limit=row["limit"],
            direction=cast("Direction", row["direction"]),
            value=float(row["value"]),
            unit=row["unit"],
            level=cast("CautionLevel", row["level"]),
            what=row["what"],
            do=row["do"],
            who_decides=row["who_decides"],
            source=row["source"],
            status=row["status"],
            jurisdiction=row["jurisdiction"],
            edition=row["edition"],
        )
        for row in read_rows("gas_limits.csv")
    )


@cache
def caution_rules() -> dict[str, Rule]:
    """Return every other rule by its key."""
    return {
        row["key"]: Rule(
            key=row["key"],
            topic=row["topic"],
            level=cast("CautionLevel", row["level"]),
            limit=row["limit"],
            value=float(row["value"]) if row["value"] else None,
            unit=row["unit"],
            what=row["what"],
            do=row["do"],
            who_decides=row["who_decides"],
            source=row["source"],
            status=row["status"],
            jurisdiction=row["jurisdiction"],
            edition=row["edition"],
        )
        for row in read_rows("cautions.csv")
    }
