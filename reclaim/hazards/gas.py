"""What the gas in the cores says: every reading against every limit, and what was not read."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from reclaim.hazards.caution import Caution
from reclaim.hazards.rules import URGENCY, GasLimit, caution_rules, gas_limits

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    import pandas as pd

_CORE_GAS = (
    "A reading in a core is not the air people breathe: it shows what can come out when the "
    "waste is opened."
)
_PER_CENT_GASES = ("ch4_pct", "co2_pct", "o2_pct")


@dataclass(frozen=True, slots=True)
class Reading:
    """One gas reading.

    Attributes
    ----------
    gas, value
        Column of the gas table and the value in its unit.
    core, place
        The core, and core, zone and depth in words.
    note
        What was assumed about the reading, in words; empty where it is taken as written.
    """

    gas: str
    value: float
    core: str
    place: str
    note: str = ""


def gas_cautions(
    gas: pd.DataFrame,
    collars: pd.DataFrame,
    limits: Sequence[GasLimit] | None = None,
) -> tuple[tuple[Caution, ...], tuple[str, ...]]:
    """Screen the gas table and tell what it leaves out.

    Parameters
    ----------
    gas, collars
        As in `reclaim.site.Cores`.
    limits
        Limits to screen against; those of the reference file where none are given.

    Returns
    -------
    cautions, not_assessed
        One caution at most per gas and direction, and cautions for missing or doubtful readings;
        a sentence for each thing not known.
    """
    limits = gas_limits() if limits is None else limits
    readings = read_gas_table(gas, collars)
    doubt, second_meaning = _fractions_for_per_cent(gas, collars)
    missing, not_assessed = _missing_readings(readings, collars, limits)
    return (*screen((*readings, *second_meaning), limits), *missing, *doubt), not_assessed


def read_gas_table(gas: pd.DataFrame, collars: pd.DataFrame) -> tuple[Reading, ...]:
    """Return every reading of the gas table that was taken, with its place in words."""
    zones = _zones_by_core(collars)
    return tuple(
        Reading(column, float(value), str(core), place)
        for column in gas.columns
        if column.endswith(("_pct", "_ppm"))
        for value, core, place in zip(
            gas[column].to_numpy(float), gas["core_id"], _places(gas, zones), strict=True
        )
        if np.isfinite(value)
    )


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
        worst = max(of_gas, key=lambda reading: sign * reading.value)
        passed = [limit for limit in ladder if limit.is_passed_by(worst.value)]
        if passed:
            passed.sort(key=lambda limit: (URGENCY[limit.level], -sign * limit.value))
            cautions.append(_caution(worst, of_gas, passed))
    return tuple(cautions)


def residual_gas(
    degradable_t: float,
    age_years: float | None = None,
    still_degradable_share: float | None = None,
) -> tuple[tuple[Caution, ...], tuple[str, ...]]:
    """Tell how much of the waste can still make gas.

    Parameters
    ----------
    degradable_t
        Dry matter of the dug waste that can still rot [t].
    age_years
        Years since tipping ended [y], None where not known.
    still_degradable_share
        Share of the original degradable carbon that is left [-], None where not known.
    """
    not_assessed = []
    if age_years is None:
        not_assessed.append(
            "The age of the waste was not taken into account for gas: the site file gives no "
            "year in which tipping ended."
        )
    not_assessed.append(
        "How much gas an opened face or a stockpile gives off was not calculated; only what can "
        "still rot was added up."
    )
    if degradable_t <= 0 and not still_degradable_share:
        return (), tuple(not_assessed)
    parts = [f"About {degradable_t:,.0f} t of dry matter in the dug waste can still rot"]
    if still_degradable_share is not None:
        parts.append(f"{still_degradable_share:.0%} of the degradable carbon once tipped is left")
    if age_years is not None:
        parts.append(f"tipping ended {age_years:.0f} years before the price year")
    return (caution_rules()["residual_gas"].raised_by("; ".join(parts) + "."),), tuple(not_assessed)


def _caution(worst: Reading, of_gas: Sequence[Reading], passed: Sequence[GasLimit]) -> Caution:
    limit, *others = passed
    count = sum(limit.is_passed_by(reading.value) for reading in of_gas if not reading.note)
    taken = sum(not reading.note for reading in of_gas)
    side = "highest" if limit.direction == "above" else "lowest"
    why = [
        (
            f"{limit.label} is {side} in {worst.place}: {worst.value:g} {limit.unit}{worst.note}; "
            f"{count} of {taken} readings reach {limit.value:g} {limit.unit} "
            f"({limit.limit}; {limit.jurisdiction}, {limit.edition})."
        )
    ]
    if others:
        listed = ", ".join(
            f"{other.value:g} {other.unit} ({other.limit}; {other.jurisdiction})"
            for other in others
        )
        why.append(f"It also reaches {listed}.")
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
    )


def _missing_readings(
    readings: Sequence[Reading], collars: pd.DataFrame, limits: Sequence[GasLimit]
) -> tuple[tuple[Caution, ...], tuple[str, ...]]:
    labels = {limit.gas: limit.label for limit in limits}
    if not readings:
        names = _listed(label.lower() for label in labels.values())
        return (caution_rules()["gas_not_measured"].raised_by("The site has no gas reading."),), (
            f"Gas was not assessed: there is no reading of {names}.",
        )
    not_assessed = [
        f"{label} was not assessed: the gas table has no reading of it."
        for gas, label in labels.items()
        if all(reading.gas != gas for reading in readings)
    ]
    cores = dict.fromkeys(str(core) for core in collars["core_id"])
    read = {reading.core for reading in readings}
    unread = [core for core in cores if core not in read]
    if unread:
        not_assessed.append(
            f"Gas in {len(unread)} of {len(cores)} cores was not assessed: no reading in "
            f"{_listed(unread)}."
        )
    partly = caution_rules()["gas_partly_measured"]
    cautions = (partly.raised_by(" ".join(not_assessed)),) if not_assessed else ()
    not_assessed.append(
        "Change of gas with air pressure, season and pumping was not assessed: the gas table "
        "holds single readings without dates."
    )
    not_assessed.append(
        "Vinyl chloride, benzene and other trace gases were not assessed: the gas table has no "
        "column for them."
    )
    return cautions, tuple(not_assessed)


def _fractions_for_per_cent(
    gas: pd.DataFrame, collars: pd.DataFrame
) -> tuple[tuple[Caution, ...], tuple[Reading, ...]]:
    """Return the caution and the second meaning of rows that look like fractions.

    Air and landfill gas are made of oxygen, methane, carbon dioxide and nitrogen. A row in which
    the first three all are 1 % or less would be 97 % nitrogen, which neither is.
    """
    if gas.empty or not set(_PER_CENT_GASES) <= set(gas.columns):
        return (), ()
    rule = caution_rules()["gas_units_doubtful"]
    values = gas[list(_PER_CENT_GASES)].to_numpy(float)
    looks_like = np.all(values <= rule.number, axis=1) & (np.nansum(values, axis=1) > 0)
    if not looks_like.any():
        return (), ()
    places = _places(gas, _zones_by_core(collars))
    suspect = [place for place, doubtful in zip(places, looks_like, strict=True) if doubtful]
    second = tuple(
        Reading(
            column,
            100.0 * float(values[row, at]),
            str(gas["core_id"].iloc[row]),
            places[row],
            f" (taken as a fraction: the table says {values[row, at]:g})",
        )
        for row in np.flatnonzero(looks_like)
        for at, column in enumerate(_PER_CENT_GASES)
    )
    why = (
        f"{len(suspect)} of {len(gas)} rows of the gas table have {rule.number:g} % or less of "
        f"methane, carbon dioxide and oxygen each, the first of them in {suspect[0]}."
    )
    return (rule.raised_by(why),), second


def _zones_by_core(collars: pd.DataFrame) -> Mapping[str, str]:
    return {
        str(core): str(zone) for core, zone in zip(collars["core_id"], collars["zone"], strict=True)
    }


def _places(gas: pd.DataFrame, zones: Mapping[str, str]) -> list[str]:
    return [
        f"core {core}{f' ({zone})' if (zone := zones.get(str(core), '')) else ''} "
        + (f"at {depth:g} m" if np.isfinite(depth) else "at a depth not recorded")
        for core, depth in zip(gas["core_id"], gas["depth_m"].to_numpy(float), strict=True)
    ]


def _listed(names: Iterable[str]) -> str:
    *first, last = names
    return f"{', '.join(first)} and {last}" if first else last
