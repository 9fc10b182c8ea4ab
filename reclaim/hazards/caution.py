"""What the hazards room hands on: cautions, each raised by a number of this site."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

CautionLevel = Literal["stop", "act", "watch"]


@dataclass(frozen=True, slots=True)
class Caution:
    """One caution.

    Attributes
    ----------
    key
        Name of the rule, e.g. ``methane_flammable``.
    topic
        ``gas``, ``excavation``, ``contents``, ``water`` or ``process``.
    level
        ``stop``: the work that `do` names stops until a competent person has dealt with it;
        ``act``: controls needed before work; ``watch``: keep under observation.
    what
        The hazard, in one sentence.
    why
        The number or record of this site that raised it, with file and row where there is one.
    do
        The usual controls, in one or two sentences.
    who_decides
        Who must decide, e.g. a licensed geotechnical engineer.
    source
        Key of ``sources.csv``.
    status
        Status of the limit used; ``given`` for a local limit of the user.
    rule
        The stated rule that set the level: the limit in words and as a number, where it holds and
        since when.
    unknown
        What is still not known.
    records
        File and row of what raised it, the worst first; empty where a number of the whole site did.
    cores
        The cores among them, for marks on a map.
    """

    key: str
    topic: str
    level: CautionLevel
    what: str
    why: str
    do: str
    who_decides: str
    source: str
    status: str
    rule: str = ""
    unknown: str = ""
    records: tuple[str, ...] = ()
    cores: tuple[str, ...] = ()
