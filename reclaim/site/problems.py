"""What is wrong with an input, said once: where it is, what it is, what to do about it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from collections.abc import Iterable

Level = Literal["note", "warning", "error"]


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
        """Everything found so far, in the order it was found."""
        return tuple(self._checks)

    @property
    def errors(self) -> tuple[Check, ...]:
        """The errors among them."""
        return tuple(check for check in self._checks if check.level == "error")

    def stop_on_errors(self) -> None:
        """Raise `SiteError` with all errors found so far, if there are any."""
        if self.errors:
            raise SiteError(self.errors)
