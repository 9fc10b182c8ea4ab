"""How much of a file is read at most, so that no file takes the machine's memory or its day."""

from __future__ import annotations

import os
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING

from reclaim.reference import read_rows
from reclaim.site.problems import Check, SiteError

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from reclaim.site.problems import Findings

_MB = 1_000_000
PREFIX = "RECLAIM_MAX_"


@dataclass(frozen=True, slots=True)
class Ceiling:
    """The most of something that is read.

    Attributes
    ----------
    name, label, unit
        Row of ``ceilings.csv``, words for readers, and unit.
    value
        The most that is read where the environment says nothing else.
    minimum, maximum
        What the environment may say.
    """

    name: str
    label: str
    value: float
    unit: str
    minimum: float
    maximum: float

    @property
    def variable(self) -> str:
        """Name of the variable of the environment that sets it."""
        return PREFIX + self.name.upper()

    def stated(self, text: str) -> float:
        """Return the number that a user wrote.

        Raises
        ------
        ValueError
            With one sentence, where it is no number within the bounds.
        """
        try:
            value = float(text)
        except ValueError:
            raise ValueError(f"'{text}' is not a number.") from None
        if not self.minimum <= value <= self.maximum:
            raise ValueError(
                f"{value:.10g} {self.unit} is outside what this limit can be "
                f"({self.minimum:.10g} to {self.maximum:.10g})."
            )
        return value


@cache
def ceilings() -> Mapping[str, Ceiling]:
    """Return every ceiling by name, as ``ceilings.csv`` has it."""
    return {
        row["name"]: Ceiling(
            row["name"],
            row["label"],
            float(row["value"]),
            row["unit"],
            float(row["minimum"]),
            float(row["maximum"]),
        )
        for row in read_rows("ceilings.csv")
    }


def ceiling(name: str) -> float:
    """Return a ceiling: what the environment says, else the default.

    Raises
    ------
    SiteError
        Where the environment says something that is no such number.
    """
    found = ceilings()[name]
    text = os.environ.get(found.variable)
    if text is None:
        return found.value
    try:
        return found.stated(text)
    except ValueError as error:
        raise SiteError(
            [Check("error", found.variable, str(error), "Correct it, or take it out.")]
        ) from None


def exceeds(name: str, amount: float, written: str, findings: Findings) -> bool:
    """Tell whether an amount is above its ceiling, and say so.

    Parameters
    ----------
    name, amount
        The ceiling, and what the file has, in the ceiling's unit.
    written, findings
        What messages call the file, and where they go.
    """
    most = ceiling(name)
    if amount <= most:
        return False
    found = ceilings()[name]
    findings.error(
        written,
        f"{found.label}: {_shown(amount)} {found.unit}, more than the {_shown(most)} that are "
        "read.",
        f"Check that it is the right file and is whole; to read it, set {found.variable} higher.",
    )
    return True


def is_too_large(name: str, path: Path, written: str, findings: Findings) -> bool:
    """Tell whether a file has more megabytes than its ceiling, and say so."""
    return exceeds(name, path.stat().st_size / _MB, written, findings)


def _shown(amount: float) -> str:
    return f"{amount:,.0f}" if amount >= 100 else f"{amount:.3g}"
