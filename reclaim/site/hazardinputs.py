"""What the user adds to the hazards: a profile of rules, local limits, words, and neighbours."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

Profile = Literal["all", "us", "uk", "eu"]


@dataclass(frozen=True, slots=True)
class LocalLimit:
    """One row of the user's own limits.

    Attributes
    ----------
    key
        Of the published limit it takes the place of, or a name of its own.
    value
        The limit [unit].
    gas, direction, unit, level, limit, jurisdiction, edition, who_decides
        As in the published limits; empty where the row leaves them as they are.
    where
        File and row, for readers.
    """

    key: str
    value: float
    gas: str
    direction: str
    unit: str
    level: str
    limit: str
    jurisdiction: str
    edition: str
    who_decides: str
    where: str


@dataclass(frozen=True, slots=True)
class LocalWord:
    """One row of the user's own hazard words.

    Attributes
    ----------
    key
        The hazard the word stands for, or its use in a sentence (``negation``).
    language, word
        As written.
    match
        ``exact``, ``near`` (one slip of the pen), ``part`` (inside longer words) or ``part near``.
    """

    key: str
    language: str
    word: str
    match: str


@dataclass(frozen=True, slots=True)
class Receptor:
    """Someone or something near the site that can be harmed.

    Attributes
    ----------
    name
        As in the layer.
    shape
        Point, line or polygon in metres of the grid's CRS.
    """

    name: str
    shape: BaseGeometry


@dataclass(frozen=True, slots=True)
class HazardInputs:
    """What ``[hazards]`` says, its assumptions aside.

    Attributes
    ----------
    profile
        Rules to screen against: ``us``, ``uk``, ``eu`` or ``all``, the strictest of the three.
    limits, words, receptors
        Rows of the user's files.
    receptors_given
        True where a layer of receptors was named, even if it is empty.
    """

    profile: Profile = "all"
    limits: tuple[LocalLimit, ...] = ()
    words: tuple[LocalWord, ...] = ()
    receptors: tuple[Receptor, ...] = ()
    receptors_given: bool = False
