"""What the water in the waste and the air around it may bring."""

from __future__ import annotations

from typing import TYPE_CHECKING

from reclaim.hazards.log_words import Mention, cautions_from_logs
from reclaim.hazards.rules import caution_rules

if TYPE_CHECKING:
    from collections.abc import Iterable

    from reclaim.hazards.caution import Caution


def water_and_air_cautions(
    *, mentions: Iterable[Mention], overdig_m: float
) -> tuple[tuple[Caution, ...], tuple[str, ...]]:
    """Raise the cautions on leachate, the base and odour.

    Parameters
    ----------
    mentions
        Hazards named in the logs.
    overdig_m
        Soil dug below the base of the waste [m].
    """
    cautions = [*cautions_from_logs(mentions, "water")]
    base_cut = caution_rules()["base_cut"]
    if overdig_m > base_cut.number:
        cautions.append(
            base_cut.raised_by(f"The site file digs {overdig_m:g} m below the base of the waste.")
        )
    return tuple(cautions), (
        "Leachate and groundwater were not assessed: no water levels are given.",
        (
            "Dust, bioaerosols, noise, litter and vermin at neighbours were not assessed: no "
            "neighbours are given."
        ),
    )
