"""The user's own limits and hazard words: two tables, every cell checked."""

from __future__ import annotations

from typing import TYPE_CHECKING

from reclaim.reference import read_rows
from reclaim.site.coretables import ROW, read_table
from reclaim.site.hazardinputs import LocalLimit, LocalWord
from reclaim.site.spelling import suggestion
from reclaim.site.spreadsheet import Column

if TYPE_CHECKING:
    from pathlib import Path

    from reclaim.site.problems import Findings

_LEVELS = ("watch", "act", "stop")
_DIRECTIONS = ("above", "below")
_MATCHES = ("exact", "near", "part", "part near")
_NEEDED = ("gas", "direction", "unit", "level", "limit", "jurisdiction")
_TEXTS = (*_NEEDED, "edition", "who_decides")
LIMITS = (
    Column("key", is_number=False, required=True),
    Column("value", required=True),
    *(Column(name, is_number=False) for name in _TEXTS),
)
WORDS = (
    Column("key", is_number=False, required=True),
    Column("word", is_number=False, required=True),
    Column("language", is_number=False),
    Column("match", is_number=False),
)


def read_local_limits(path: Path, written: str, findings: Findings) -> tuple[LocalLimit, ...]:
    """Read the user's limits: key, value, and what else differs from the published row.

    A key of ``gas_limits.csv`` or ``cautions.csv`` takes that row's place; any other key adds a
    limit on a gas and must say which gas, direction, unit, level, limit and jurisdiction.
    """
    frame = read_table(path, written, LIMITS, (), findings)
    if frame is None:
        return ()
    limits = tuple(
        LocalLimit(
            key=row["key"],
            value=float(row["value"]),
            where=f"{written} row {row[ROW]}",
            **{name: row[name] for name in _TEXTS},
        )
        for row in frame.to_dict("records")
    )
    for limit in limits:
        _check_limit(limit, findings)
        if sum(other.key == limit.key for other in limits) > 1:
            findings.error(
                f"{limit.where}, column key",
                f"The key '{limit.key}' appears more than once.",
                "Keep one row per key.",
            )
    return limits


def read_local_words(path: Path, written: str, findings: Findings) -> tuple[LocalWord, ...]:
    """Read the user's words: key, word, and optionally language and match."""
    frame = read_table(path, written, WORDS, (), findings)
    if frame is None:
        return ()
    keys = sorted({row["key"] for row in read_rows("hazard_words.csv")})
    words = []
    for row in frame.to_dict("records"):
        where = f"{written} row {row[ROW]}"
        match = row["match"] or "exact"
        if row["key"] and row["key"] not in keys:
            findings.error(
                f"{where}, column key",
                f"There is no hazard '{row['key']}'.",
                suggestion(row["key"], keys),
            )
        if match not in _MATCHES:
            findings.error(
                f"{where}, column match",
                f"There is no way to match called '{match}'.",
                suggestion(match, _MATCHES),
            )
        if row["word"] and not any(letter.isalnum() for letter in row["word"]):
            findings.error(
                f"{where}, column word",
                f"'{row['word']}' has no letter or digit.",
                "Write the word as it stands in the logs.",
            )
        words.append(LocalWord(row["key"], row["language"], row["word"], match))
    return tuple(words)


def _check_limit(limit: LocalLimit, findings: Findings) -> None:
    gases = {row["key"]: row for row in read_rows("gas_limits.csv")}
    rules = {row["key"]: row for row in read_rows("cautions.csv")}
    if limit.key in rules and not rules[limit.key]["value"]:
        findings.error(
            f"{limit.where}, column key",
            f"The rule '{limit.key}' is raised by a record and has no number.",
            "Take the row out.",
        )
        return
    published = gases.get(limit.key) or rules.get(limit.key)
    if published is None:
        _check_new_limit(limit, [*gases, *rules], findings)
    else:
        for name in ("gas", "direction", "unit"):
            stated = getattr(limit, name)
            if stated and stated != published.get(name, ""):
                findings.error(
                    f"{limit.where}, column {name}",
                    f"'{stated}' differs from '{published.get(name, '')}' of the limit "
                    f"'{limit.key}'.",
                    "Convert the value, or give the limit a key of its own.",
                )
    if limit.level and limit.level not in _LEVELS:
        findings.error(
            f"{limit.where}, column level",
            f"There is no level '{limit.level}'.",
            suggestion(limit.level, _LEVELS),
        )
    unit = limit.unit or (published["unit"] if published else "")
    highest = {"% v/v": 100.0, "ppm": 1e6}.get(unit, float("inf"))
    if not 0 <= limit.value <= highest and limit.value == limit.value:  # NaN is told above
        findings.error(
            f"{limit.where}, column value",
            f"{limit.value:g} is outside what is possible (0 to {highest:g} {unit}).",
            "Check the value and its unit.",
        )
    _warn_where_looser(limit, gases, findings)


def _check_new_limit(limit: LocalLimit, keys: list[str], findings: Findings) -> None:
    missing = [name for name in _NEEDED if not getattr(limit, name)]
    if missing:
        findings.error(
            f"{limit.where}, column key",
            f"'{limit.key}' is no published limit, and a new one must state "
            f"{', '.join(missing)} too.",
            suggestion(limit.key, keys),
        )
        return
    units = {row["gas"]: row["unit"] for row in read_rows("gas_limits.csv")}
    for name, known in (("gas", tuple(units)), ("direction", _DIRECTIONS)):
        if getattr(limit, name) not in known:
            findings.error(
                f"{limit.where}, column {name}",
                f"There is no {name} '{getattr(limit, name)}'.",
                suggestion(getattr(limit, name), known),
            )
    if limit.gas in units and limit.unit != units[limit.gas]:
        findings.error(
            f"{limit.where}, column unit",
            f"The unit of {limit.gas} is '{units[limit.gas]}', not '{limit.unit}'.",
            "Convert the value.",
        )


def _warn_where_looser(
    limit: LocalLimit, gases: dict[str, dict[str, str]], findings: Findings
) -> None:
    published = gases.get(limit.key)
    if published is None:
        return
    sign = 1 if published["direction"] == "above" else -1
    if sign * limit.value > sign * float(published["value"]):
        findings.warn(
            limit.where,
            f"The local limit '{limit.key}' of {limit.value:g} {published['unit']} is looser than "
            f"the published {float(published['value']):g} ({published['jurisdiction']}).",
            "Make sure that the local code says so; the report shows the local one.",
        )
