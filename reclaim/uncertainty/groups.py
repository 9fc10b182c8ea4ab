"""Groups of uncertain numbers that are worth naming together."""

from __future__ import annotations

from dataclasses import dataclass
from fnmatch import fnmatchcase
from functools import cache
from typing import TYPE_CHECKING

from reclaim.reference import read_rows

if TYPE_CHECKING:
    from collections.abc import Iterable

    from reclaim.assumptions import Correlations


@dataclass(frozen=True, slots=True)
class DriverGroup:
    """Uncertain numbers that are looked at as one driver.

    Attributes
    ----------
    key, label
        For files and for readers.
    names
        Names of the streams of draws in it.
    """

    key: str
    label: str
    names: frozenset[str]


@cache
def group_key(name: str) -> str:
    """Return the group of a name: the first pattern of ``driver_groups.csv`` that fits it."""
    return next(
        row["group"] for row in read_rows("driver_groups.csv") if fnmatchcase(name, row["pattern"])
    )


def driver_groups(names: Iterable[str], correlations: Correlations) -> tuple[DriverGroup, ...]:
    """Sort names into groups, in the order of ``driver_groups.csv``.

    Groups between which a correlation was stated become one, since the part of each in the spread
    can then not be told from that of the other.
    """
    labels = {row["group"]: row["label"] for row in read_rows("driver_groups.csv")}
    members: dict[str, set[str]] = {}
    for name in names:
        members.setdefault(group_key(name), set()).add(name)
    merged = [{key} for key in labels if key in members]
    for linked in correlations.groups():
        keys = {group_key(name) for name in linked} & set(members)
        touching = [part for part in merged if part & keys]
        if len(touching) > 1:
            place = merged.index(touching[0])
            merged = [part for part in merged if part not in touching]
            merged.insert(place, set().union(*touching))
    return tuple(
        DriverGroup(
            "+".join(key for key in labels if key in part),
            " and ".join(labels[key] for key in labels if key in part).capitalize(),
            frozenset().union(*(members[key] for key in part)),
        )
        for part in merged
    )
