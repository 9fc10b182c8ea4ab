"""Plain numbers of the site file that are not uncertain: given, or default with its source."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache
from typing import TYPE_CHECKING

from reclaim.reference import read_rows

if TYPE_CHECKING:
    from collections.abc import Mapping


@dataclass(frozen=True, slots=True)
class Setting:
    """One number that steers the estimate and is not drawn.

    Attributes
    ----------
    key
        Section and key of the site file (``excavation.lift_m``). Keys of ``limits`` are not the
        user's to set; they say from where on an input is doubted.
    label
        What it is, in words.
    label
        Words for readers.
    value
        None where there is no default and nothing was given.
    unit
        Unit of value and bounds; ``-`` where it has none.
    minimum, maximum
        What a user may give.
    source, status, note
        Of the default; ``site file`` and ``given`` where the user stated it.
    given
        True where the user stated it.
    """

    key: str
    label: str
    value: float | None
    unit: str
    minimum: float
    maximum: float
    source: str
    status: str
    note: str
    given: bool = False

    def stated(self, value: float) -> Setting:
        """Return the setting with the user's number.

        Raises
        ------
        ValueError
            With one sentence, where the number is outside the bounds.
        """
        if not self.minimum <= value <= self.maximum:
            unit = "" if self.unit in ("-", "year") else f" {self.unit}"
            raise ValueError(
                f"{value:.10g}{unit} is outside what this setting can be "
                f"({self.minimum:.10g} to {self.maximum:.10g})."
            )
        return replace(self, value=value, source="site file", status="given", note="", given=True)


@cache
def setting_defaults() -> Mapping[str, Setting]:
    """Return every setting by key, as ``settings.csv`` has it."""
    return {
        row["key"]: Setting(
            key=row["key"],
            label=row["label"],
            value=float(row["value"]) if row["value"] else None,
            unit=row["unit"],
            minimum=float(row["minimum"]),
            maximum=float(row["maximum"]),
            source=row["source"],
            status=row["status"],
            note=row["note"],
        )
        for row in read_rows("settings.csv")
    }


def limit(name: str) -> float:
    """Return the number of one row ``limits.<name>``."""
    value = setting_defaults()[f"limits.{name}"].value
    assert value is not None, f"limits.{name} is a range, not a number"
    return value


def limits(name: str) -> tuple[float, float]:
    """Return the range of one row ``limits.<name>``."""
    row = setting_defaults()[f"limits.{name}"]
    return row.minimum, row.maximum
