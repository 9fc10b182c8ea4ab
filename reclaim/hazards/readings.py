"""The gas readings one by one, and those whose unit is doubtful, read both ways."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from reclaim.hazards.rules import RuleBook, rule_book

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    import pandas as pd

    from reclaim.hazards.caution import Caution

PER_CENT_GASES = ("ch4_pct", "co2_pct", "o2_pct")
_MEASURED = ("_pct", "_ppm", "temperature_c")
_PPM_PER_CENT = 1e4
_FEWEST_OF_A_TABLE = 3


@dataclass(frozen=True, slots=True)
class Reading:
    """One gas reading.

    Attributes
    ----------
    gas, value
        Column of the gas table and the value in its unit.
    core, zone, depth_m
        Where it was taken; the zone is empty where none is known, the depth NaN [m].
    record
        File and row.
    date
        As written, ISO 8601; empty where not known.
    note
        What was assumed about the reading, in words; empty where it is taken as written.
    """

    gas: str
    value: float
    core: str
    zone: str = ""
    depth_m: float = float("nan")
    record: str = ""
    date: str = ""
    note: str = ""

    @property
    def place(self) -> str:
        """Core, zone, depth and file row in words."""
        zone = f" ({self.zone})" if self.zone else ""
        depth = f"at {self.depth_m:g} m" if np.isfinite(self.depth_m) else "at a depth not recorded"
        record = f", {self.record}" if self.record else ""
        return f"core {self.core}{zone} {depth}{record}"


def read_gas_table(
    gas: pd.DataFrame, collars: pd.DataFrame, file: str = "gas table"
) -> tuple[Reading, ...]:
    """Return every reading of the gas table that was taken.

    Parameters
    ----------
    gas, collars
        As in `reclaim.site.Cores`; columns that are missing were not read.
    file
        Path of the gas table as readers know it.
    """
    zones = _zones_by_core(collars)
    columns = [str(name) for name in gas.columns if str(name).endswith(_MEASURED)]
    readings = []
    for row in gas.to_dict("records"):
        core = str(row["core_id"])
        for column in columns:
            value = float(row[column])
            if np.isfinite(value):
                readings.append(
                    Reading(
                        gas=column,
                        value=value,
                        core=core,
                        zone=zones.get(core, ""),
                        depth_m=float(row["depth_m"]),
                        record=f"{file} row {row['row']:.0f}" if "row" in row else "",
                        date=str(row.get("date", "") or ""),
                    )
                )
    return tuple(readings)


def doubtful_units(
    readings: Sequence[Reading], book: RuleBook | None = None
) -> tuple[tuple[Caution, ...], tuple[Reading, ...]]:
    """Return cautions on readings that look like another unit, and their second meaning.

    Per cent: air and landfill gas are made of oxygen, methane, carbon dioxide and nitrogen. A row
    in which the first three all are 1 % or less would be 97 % nitrogen, which neither is; so
    would a whole table of three or more readings none of which is over 1 %. Ppm: trace readings
    above nothing and below what field instruments show look like per cent.
    """
    book = book or rule_book()
    per_cent = [reading for reading in readings if reading.gas in PER_CENT_GASES]
    fractions = _look_like_fractions(per_cent, book["gas_units_doubtful"].number)
    smallest = book["gas_ppm_doubtful"].number
    tiny = [
        reading
        for reading in readings
        if reading.gas.endswith("_ppm") and 0 < reading.value < smallest
    ]
    cautions = []
    if fractions:
        why = (
            f"{len(fractions)} of {len(per_cent)} readings of methane, carbon dioxide and oxygen "
            f"are {book['gas_units_doubtful'].number:g} % or less where they should add up to "
            f"more, the first in {fractions[0].place}."
        )
        cautions.append(book["gas_units_doubtful"].raised_by(why, **_traced(fractions)))
    if tiny:
        why = (
            f"{len(tiny)} trace readings are above 0 and below {smallest:g} ppm, the first in "
            f"{tiny[0].place}: {tiny[0].value:g}."
        )
        cautions.append(book["gas_ppm_doubtful"].raised_by(why, **_traced(tiny)))
    return tuple(cautions), (
        *(_read_as(reading, 100.0, "a fraction") for reading in fractions),
        *(_read_as(reading, _PPM_PER_CENT, "per cent") for reading in tiny),
    )


def _look_like_fractions(per_cent: Sequence[Reading], highest: float) -> list[Reading]:
    rows: dict[tuple[object, ...], list[Reading]] = {}
    for reading in per_cent:
        where = (reading.record, reading.core, str(reading.depth_m), reading.date)
        rows.setdefault(where, []).append(reading)
    whole_table = (
        len(per_cent) >= _FEWEST_OF_A_TABLE
        and max(reading.value for reading in per_cent) <= highest
    )
    suspect = []
    for row in rows.values():
        complete = {reading.gas for reading in row} >= set(PER_CENT_GASES)
        if (complete or whole_table) and all(reading.value <= highest for reading in row):
            suspect += [reading for reading in row if reading.value > 0]
    return suspect


def _read_as(reading: Reading, factor: float, unit: str) -> Reading:
    note = f" (taken as {unit}: the table says {reading.value:g})"
    return replace(reading, value=factor * reading.value, note=note)


def _traced(readings: Sequence[Reading]) -> dict[str, list[str]]:
    """Return the records and cores of readings, for a caution."""
    return {
        "records": list(dict.fromkeys(reading.record for reading in readings if reading.record)),
        "cores": [reading.core for reading in readings],
    }


def _zones_by_core(collars: pd.DataFrame) -> Mapping[str, str]:
    return {
        str(core): str(zone) for core, zone in zip(collars["core_id"], collars["zone"], strict=True)
    }
