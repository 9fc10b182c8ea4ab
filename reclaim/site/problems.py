"""What is wrong with an input, said once: where it is, what it is, what to do about it."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from collections.abc import Iterable

Level = Literal["note", "warning", "error"]

ROWS_NAMED = 3
"""Rows that are named where the same thing is wrong in many."""


@dataclass(frozen=True, slots=True)
class Check:
    """One finding about the inputs.

    Attributes
    ----------
    level
        ``note`` is for information, ``warning`` lets the estimate go on and is shown in the
        report, ``error`` stops it.
    where
        The file, and the row, feature or key in it.
    what
        What is wrong, in one sentence.
    what_to_do
        The next step for the person who can mend it, in one sentence.
    """

    level: Level
    where: str
    what: str
    what_to_do: str

    def __str__(self) -> str:
        return f"{self.where}: {self.what} {self.what_to_do}"


class SiteError(Exception):
    """The user's input cannot be used; `checks` holds every error found, not just the first."""

    exit_code = 2

    def __init__(self, checks: Iterable[Check]) -> None:
        self.checks = tuple(checks)
        super().__init__("\n".join(str(check) for check in self.checks))


class Findings:
    """Collects checks while a file is read, so that all its problems are told at once."""

    def __init__(self) -> None:
        self._checks: list[Check] = []

    def note(self, where: str, what: str, what_to_do: str = "") -> None:
        """Record something worth knowing."""
        self._checks.append(Check("note", where, what, what_to_do))

    def warn(self, where: str, what: str, what_to_do: str) -> None:
        """Record something suspect that the estimate can live with."""
        self._checks.append(Check("warning", where, what, what_to_do))

    def error(self, where: str, what: str, what_to_do: str) -> None:
        """Record something that the estimate cannot live with."""
        self._checks.append(Check("error", where, what, what_to_do))

    def extend(self, checks: Iterable[Check]) -> None:
        """Take over checks found elsewhere."""
        self._checks.extend(checks)

    @property
    def checks(self) -> tuple[Check, ...]:
        """Everything found so far, in the order it was found; see `said_once`."""
        return said_once(self._checks)

    @property
    def errors(self) -> tuple[Check, ...]:
        """The errors among them."""
        return said_once(check for check in self._checks if check.level == "error")

    def stop_on_errors(self) -> None:
        """Raise `SiteError` with all errors found so far, if there are any."""
        if self.errors:
            raise SiteError(self.errors)


def said_once(checks: Iterable[Check]) -> tuple[Check, ...]:
    """Return the checks with those that differ in nothing but the row made one.

    The first `ROWS_NAMED` rows are named and the others counted.
    """
    rows: dict[Check, list[str]] = {}
    for check in checks:
        row = _ROW.search(check.where)
        apart = replace(check, where=_ROW.sub("row {}", check.where, count=1)) if row else check
        rows.setdefault(apart, []).append(row[1] if row else "")
    return tuple(
        replace(check, where=check.where.replace("row {}", _listed(found), 1))
        if found[0]
        else check
        for check, found in rows.items()
    )


_ROW = re.compile(r"\brow (\d+)")


def _listed(rows: list[str]) -> str:
    """Return ``row 4``, ``rows 4 and 8``, or ``rows 4, 8, 12 and 15 more``."""
    rows = list(dict.fromkeys(rows))
    if len(rows) == 1:
        return f"row {rows[0]}"
    if len(rows) <= ROWS_NAMED:
        return f"rows {', '.join(rows[:-1])} and {rows[-1]}"
    return f"rows {', '.join(rows[:ROWS_NAMED])} and {len(rows) - ROWS_NAMED} more"
