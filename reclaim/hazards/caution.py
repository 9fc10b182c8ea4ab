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
        ``stop``: no work until a competent person has dealt with it; ``act``: controls needed
        before work; ``watch``: keep under observation.
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
        Status of the limit used.
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
