"""How much methane the dug waste can still make, and makes in the coming year."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from reclaim.appraisal import methane_generated
from reclaim.hazards.rough_numbers import rough
from reclaim.hazards.rules import RuleBook, rule_book
from reclaim.reference import constant, materials
from reclaim.waste import decay_rates, methane_potential_left
from reclaim.waste.properties import CARBON_IN_CELLULOSE

if TYPE_CHECKING:
    from collections.abc import Mapping

    from reclaim.assumptions import Assumption, Draws
    from reclaim.hazards.caution import Caution
    from reclaim.waste import Feed

FloatArray = NDArray[np.floating[Any]]
_KG_PER_T = 1000.0


@dataclass(frozen=True, slots=True)
class ResidualMethane:
    """Methane of the dug waste, per draw, shape ``(n_draws,)``.

    Attributes
    ----------
    degradable_t
        Dry matter that can still rot [t].
    potential_t
        Methane that it can still give, ever [t].
    generated_t_y
        Methane that it gives in the coming year [t/y].
    """

    degradable_t: FloatArray
    potential_t: FloatArray
    generated_t_y: FloatArray

    @property
    def generated_m3_d(self) -> FloatArray:
        """The same at 25 C and 101.325 kPa [m3/d]."""
        return self.generated_t_y * _KG_PER_T / constant("methane_kg_m3") / 365.25


def residual_methane(
    feed: Feed, climate: str, assumptions: Mapping[str, Assumption], draws: Draws
) -> ResidualMethane:
    """Return what the decay model says about the gas to come.

    Parameters
    ----------
    feed
        The dug waste; its properties hold what can still rot today.
    climate
        One of the climates of ``decay_rates.csv``.
    assumptions, draws
        Of the site; the rates are the ones that the properties were made with.

    Notes
    -----
    IPCC (2006) Guidelines, Volume 5, equations 3.3 to 3.6: of the carbon left, the share
    ``1 - exp(-rate)`` rots within a year. The decay table leaves the fines as they are today; here
    what is left in them rots at ``carbon.fines_decay_rate``, on the safe side.
    """
    rates = decay_rates(climate, draws, draws.of(assumptions["waste.decay_rate_factor"]))
    rates["fines"] = draws.of(assumptions["carbon.fines_decay_rate"])
    # What rots in a material of no class is the soil that sticks to it.
    rate = np.stack([rates[material.decay_class or "fines"] for material in materials()], axis=1)
    rotting = feed.properties.degradable * CARBON_IN_CELLULOSE
    return ResidualMethane(
        degradable_t=(feed.dry_t * feed.properties.degradable).sum(axis=1),
        potential_t=methane_potential_left(feed.dry_t, rotting),
        generated_t_y=methane_generated(feed.dry_t * rotting, rate, 2)[:, 1],
    )


def residual_gas(
    best: ResidualMethane,
    spread: ResidualMethane,
    *,
    age_years: float | None = None,
    still_degradable_share: float | None = None,
    book: RuleBook | None = None,
) -> tuple[tuple[Caution, ...], tuple[str, ...]]:
    """Tell how much of the waste can still make gas.

    Parameters
    ----------
    best, spread
        The best estimate, and the same over all draws.
    age_years
        Years since tipping ended [y], None where not known.
    still_degradable_share
        Share of the original degradable carbon that is left [-], None where not known.
    book
        Rules that hold.
    """
    book = book or rule_book()
    not_assessed = []
    if age_years is None:
        not_assessed.append(
            "The age of the waste was not taken into account for gas: the site file gives no "
            "year in which tipping ended."
        )
    if best.degradable_t[0] <= 0:
        return (), tuple(not_assessed)
    low, high = (rough(bound) for bound in np.quantile(spread.generated_t_y, [0.1, 0.9]))
    parts = [
        f"About {best.degradable_t[0]:,.0f} t of dry matter in the dug waste can still rot",
        (
            f"by the decay model it makes about {rough(best.generated_t_y[0])} t of methane a year "
            f"now (P10 to P90 {low} to {high}), and {rough(best.potential_t[0])} t in all"
        ),
    ]
    if still_degradable_share is not None:
        parts.append(f"{still_degradable_share:.0%} of the degradable carbon once tipped is left")
    if age_years is not None:
        parts.append(f"tipping ended {age_years:.0f} years before the price year")
    return (book["residual_gas"].raised_by("; ".join(parts) + "."),), tuple(not_assessed)
