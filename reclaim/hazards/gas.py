"""What the gas in the cores says: every reading against every limit, and what was not read."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING

from reclaim.hazards.caution import Caution
from reclaim.hazards.readings import Reading, doubtful_units, read_gas_table
from reclaim.hazards.rules import URGENCY, GasLimit, RuleBook, rule_book

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    import pandas as pd

_CORE_GAS = (
    "A reading in a core is not the air people breathe: it shows what can come out when the "
    "waste is opened."
)
# The gases that kill in old dumps; without a reading of each the site counts as partly measured.
BASIC_GASES = ("ch4_pct", "o2_pct", "h2s_ppm", "co_ppm", "co2_pct")


def gas_cautions(
    gas: pd.DataFrame,
    collars: pd.DataFrame,
    book: RuleBook | None = None,
    file: str = "gas table",
) -> tuple[tuple[Caution, ...], tuple[str, ...]]:
    """Screen the gas table and tell what it leaves out.

    Parameters
    ----------
    gas, collars
        As in `reclaim.site.Cores`.
    book
        Rules to screen against; all published ones where none are given.
    file
        Path of the gas table as readers know it.

    Returns
    -------
    cautions, not_assessed
        One caution at most per gas and direction, and cautions for missing or doubtful readings;
        a sentence for each thing not known.
    """
    book = book or rule_book()
    readings = read_gas_table(gas, collars, file)
    doubt, second_meaning = doubtful_units(readings, book)
    missing, not_assessed = _missing_readings(readings, collars, book)
    raised = screen((*readings, *second_meaning), book.gas)
    return (*raised, *missing, *_one_campaign(readings, book), *doubt), not_assessed


def screen(readings: Iterable[Reading], limits: Sequence[GasLimit]) -> tuple[Caution, ...]:
    """Raise one caution per gas and direction, at the highest limit that any reading passes.

    The highest is the most urgent; of equally urgent limits, the one farthest out. The caution
    names the worst reading and lists the other limits it passes.
    """
    readings = tuple(readings)
    sides = dict.fromkeys((limit.gas, limit.direction) for limit in limits)
    cautions = []
    for gas, direction in sides:
        ladder = [limit for limit in limits if (limit.gas, limit.direction) == (gas, direction)]
        of_gas = [reading for reading in readings if reading.gas == gas]
        if not of_gas:
            continue
        sign = 1.0 if direction == "above" else -1.0
        of_gas.sort(key=lambda reading: -sign * reading.value)
        passed = [limit for limit in ladder if limit.is_passed_by(of_gas[0].value)]
        if passed:
            passed.sort(key=lambda limit: (URGENCY[limit.level], -sign * limit.value))
            cautions.append(_caution(of_gas, passed))
    return tuple(cautions)


def _caution(worst_first: Sequence[Reading], passed: Sequence[GasLimit]) -> Caution:
    limit, *others = passed
    worst = worst_first[0]
    reaching = [reading for reading in worst_first if limit.is_passed_by(reading.value)]
    count = sum(not reading.note for reading in reaching)
    taken = sum(not reading.note for reading in worst_first)
    side = "highest" if limit.direction == "above" else "lowest"
    why = [
        (
            f"{limit.label} is {side} in {worst.place}: {worst.value:g} {limit.unit}{worst.note}; "
            f"{count} of {taken} readings reach {limit.value:g} {limit.unit} ({limit.limit}; "
            f"{limit.jurisdiction}{f', {limit.edition}' if limit.edition else ''})."
        )
    ]
    if others:
        listed = ", ".join(
            f"{other.value:g} {other.unit} ({other.limit}; {other.jurisdiction})"
            for other in others
        )
        why.append(f"It also reaches {listed}.")
    if limit.unit != "degrees C":
        why.append(_CORE_GAS)
    return Caution(
        key=limit.key,
        topic="gas",
        level=limit.level,
        what=limit.what,
        why=" ".join(why),
        do=limit.do,
        who_decides=limit.who_decides,
        source=limit.source,
        status=limit.status,
        rule=limit.in_words,
        unknown=limit.unknown,
        records=tuple(dict.fromkeys(reading.record for reading in reaching if reading.record)),
        cores=tuple(dict.fromkeys(reading.core for reading in reaching)),
    )


def _missing_readings(
    readings: Sequence[Reading], collars: pd.DataFrame, book: RuleBook
) -> tuple[tuple[Caution, ...], tuple[str, ...]]:
    labels = {limit.gas: limit.label for limit in book.gas}
    basic = {gas: labels[gas] for gas in BASIC_GASES}
    if not readings:
        names = _listed(label.lower() for label in basic.values())
        return (book["gas_not_measured"].raised_by("The site has no gas reading: 0 of them."),), (
            f"Gas was not assessed: there is no reading of {names}.",
        )
    measured = {reading.gas for reading in readings}
    not_assessed = [
        f"{label} was not assessed: the gas table has no reading of it."
        for gas, label in basic.items()
        if gas not in measured
    ]
    cores = dict.fromkeys(str(core) for core in collars["core_id"])
    read = {reading.core for reading in readings}
    unread = [core for core in cores if core not in read]
    if unread:
        not_assessed.append(
            f"Gas in {len(unread)} of {len(cores)} cores was not assessed: no reading in "
            f"{_listed(unread)}."
        )
    partly = book["gas_partly_measured"]
    cautions = (partly.raised_by(" ".join(not_assessed), cores=unread),) if not_assessed else ()
    not_assessed.append(
        "Change of gas with air pressure and pumping was not assessed: the gas table has no column "
        "for them."
    )
    others = [label.lower() for gas, label in labels.items() if gas not in {*basic, *measured}]
    if others:
        not_assessed.append(
            f"Other trace gases than those read were not assessed; no reading of {_listed(others)}."
        )
    return cautions, tuple(not_assessed)


def _one_campaign(readings: Sequence[Reading], book: RuleBook) -> tuple[Caution, ...]:
    """Raise a caution where all readings fall into a few days, or nobody wrote the days down."""
    if not readings:
        return ()
    rule = book["gas_one_campaign"]
    days = sorted({date.fromisoformat(reading.date) for reading in readings if reading.date})
    if not days:
        why = f"The {len(readings)} readings have no date; they count as 1 campaign."
        return (rule.raised_by(why),)
    span = (days[-1] - days[0]).days
    if span >= rule.number:
        return ()
    return (
        rule.raised_by(
            f"All dated readings fall into {span + 1} days, {days[0]} to {days[-1]}; "
            f"{rule.limit}: {rule.number:g}."
        ),
    )


def _listed(names: Iterable[str]) -> str:
    *first, last = names
    return f"{', '.join(first)} and {last}" if first else last
