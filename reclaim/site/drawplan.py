"""How the range is drawn and which scenarios are run, as the site file asks for it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from reclaim.assumptions import (
    Assumption,
    Correlations,
    Sampling,
    correlations_from,
    stated_assumption,
)
from reclaim.reference import assumption_defaults, read_rows
from reclaim.site.spelling import suggestion

if TYPE_CHECKING:
    from collections.abc import Sequence

    from reclaim.site.problems import Findings
    from reclaim.site.sitesections import CorrelationSection

Scenarios = Mapping[str, Mapping[str, Assumption]]


@dataclass(frozen=True, slots=True)
class DrawPlan:
    """How the range is drawn.

    Attributes
    ----------
    sampling
        ``latin`` or ``sobol``.
    precision
        Largest standard error of P10, P50 and P90 of the net present value, over the distance
        from P10 to P90 [-], at which the run may stop early; None runs all draws.
    workers
        Threads; the result does not depend on their number.
    drivers
        Whether drivers and the worth of knowing more are worked out.
    index_draws
        Draws of each of the two sources of the Sobol indices.
    correlations
        Which assumptions move together.
    """

    sampling: Sampling = "latin"
    precision: float | None = None
    workers: int = 1
    drivers: bool = True
    index_draws: int = 256
    correlations: Correlations = field(default_factory=Correlations)


def read_correlations(
    stated: Sequence[CorrelationSection],
    assumptions: Mapping[str, Assumption],
    where: str,
    findings: Findings,
) -> Correlations:
    """Return stated and default correlations; a stated pair replaces the default one.

    Parameters
    ----------
    stated
        Of ``[[uncertainty.correlations]]``.
    assumptions
        The site's.
    where
        The file and section, for messages.
    findings
        Takes every problem.
    """
    pairs: dict[tuple[str, str], float] = {}
    sound = True
    for item in stated:
        for key in item.between:
            if key not in assumptions:
                findings.error(
                    where, f"There is no assumption '{key}'.", suggestion(key, list(assumptions))
                )
                sound = False
            elif assumptions[key].kind == "fixed":
                findings.error(
                    where,
                    f"{key} is a fixed number and moves with nothing.",
                    "Give it a range, or take the correlation out.",
                )
                sound = False
        one, other = item.between
        pairs[one, other] = item.rank
    if len(pairs) < len(stated):
        findings.error(where, "A pair is given twice.", "Keep one of them.")
        sound = False
    if not sound:
        return Correlations()
    try:
        return correlations_from({**_defaults_beside(pairs, assumptions), **pairs})
    except ValueError as error:
        findings.error(where, str(error), "Weaken or take out some of them.")
        return Correlations()


def read_scenarios(
    stated: Any, assumptions: Mapping[str, Assumption], file: str, findings: Findings
) -> Scenarios:
    """Return the assumptions that each named scenario changes.

    Parameters
    ----------
    stated
        Content of ``[scenarios]``: by name, sections with keys.
    assumptions
        The site's.
    file
        For messages.
    findings
        Takes every problem.
    """
    if not isinstance(stated, dict):
        return {}
    found: dict[str, Mapping[str, Assumption]] = {}
    defaults = assumption_defaults()
    for name, table in stated.items():
        where = f"{file} [scenarios.{name}]"
        if not isinstance(table, dict) or not table:
            findings.error(
                where, "A scenario is a set of changes.", f'Write [scenarios."{name}"] above them.'
            )
            continue
        changed: dict[str, Assumption] = {}
        for key, value in _flat(table):
            if key not in assumptions:
                findings.error(
                    f"{where} {key}",
                    f"There is no assumption '{key}'.",
                    suggestion(key, list(assumptions)),
                )
                continue
            try:
                changed[key] = stated_assumption(defaults[key], value)
            except ValueError as error:
                findings.error(f"{where} {key}", str(error), "Correct the number.")
        found[name] = changed
    return found


def _flat(table: Mapping[str, Any], before: str = "") -> list[tuple[str, Any]]:
    """Return full keys with their values; a table that states a distribution is a value."""
    known = assumption_defaults()
    found: list[tuple[str, Any]] = []
    for name, value in table.items():
        key = f"{before}{name}"
        if isinstance(value, dict) and key not in known and value:
            found.extend(_flat(value, f"{key}."))
        else:
            found.append((key, value))
    return found


def _defaults_beside(
    pairs: Mapping[tuple[str, str], float], assumptions: Mapping[str, Assumption]
) -> dict[tuple[str, str], float]:
    """Default correlations of pairs that were not stated and have a spread."""
    found = {}
    for row in read_rows("correlations.csv"):
        pair = row["one"], row["other"]
        stated = {frozenset(other) for other in pairs}
        if frozenset(pair) not in stated and all(assumptions[k].kind != "fixed" for k in pair):
            found[pair] = float(row["rank"])
    return found
