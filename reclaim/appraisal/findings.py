"""What the appraisal says about its own inputs: doubtful numbers, a plant that holds the dig up."""

from __future__ import annotations

from typing import TYPE_CHECKING

from reclaim.appraisal.outside_view import answer_survives
from reclaim.appraisal.prices import Prices
from reclaim.assumptions import Draws
from reclaim.reference import sources
from reclaim.site import Findings
from reclaim.site.settings import limit

if TYPE_CHECKING:
    from collections.abc import Mapping

    from reclaim.appraisal.appraisal import Appraisal
    from reclaim.appraisal.comparison import Comparison
    from reclaim.assumptions import Assumption
    from reclaim.site import Check


def appraisal_checks(
    appraisal: Appraisal,
    comparison: Comparison,
    waste_t: float,
    assumptions: Mapping[str, Assumption],
) -> tuple[Check, ...]:
    """Return findings on the money of the best estimate.

    Parameters
    ----------
    appraisal, comparison
        Of the best estimate.
    waste_t
        Waste dug, wet [t].
    assumptions
        The site's.
    """
    findings = Findings()
    for flag in comparison.outside.flags:
        findings.warn(
            flag.key,
            f"{flag.label} is {flag.value:.3g}, outside the published {flag.low:.3g} to "
            f"{flag.high:.3g} ({sources()[flag.source].reference}).",
            "Back it with evidence from this site, or correct it.",
        )
    _pace(appraisal, waste_t, Prices(assumptions, Draws.best_estimate()), findings)
    if not answer_survives(comparison.readings):
        findings.warn(
            "appraisal",
            "The answer does not survive the conservative reading: no income from recyclables, "
            "space at the cost of a new cell, half as much again in the ground.",
            "Find out first what those three are here.",
        )
    return findings.checks


def _pace(appraisal: Appraisal, waste_t: float, price: Prices, findings: Findings) -> None:
    """Say where the diggers could do more than the plant takes, and warn where it takes long."""
    dug_m3_y = float((price["schedule.dig_rate_m3_d"] * price["schedule.working_days_y"])[0])
    digs_t_y = dug_m3_y * waste_t / float(appraisal.airspace.opened_m3[0])
    takes_t_y = float(price["plant.capacity_t_y"][0])
    years = float(appraisal.duration_years[0])
    if digs_t_y <= takes_t_y:
        return
    long = years > limit("long_works_years")
    (findings.warn if long else findings.note)(
        "plant.capacity_t_y",
        f"The plant takes {takes_t_y:,.0f} t a year where {digs_t_y:,.0f} t could be dug; it "
        f"sets the pace, and the works take {years:.1f} years"
        + (f", longer than {limit('long_works_years'):.0f}." if long else "."),
        "A larger plant, or less digging at a time, would fit better.",
    )
