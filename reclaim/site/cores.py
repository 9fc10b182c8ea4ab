"""The cores put together: tables in metres, each core in its zone, sorted by core and depth."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from reclaim.reference import material_names
from reclaim.site.coretables import (
    GAS,
    INTERVALS,
    LAB,
    ROW,
    check_known_cores,
    read_collars,
    read_gas,
    read_intervals,
    read_lab,
)
from reclaim.site.model import Cores, Footprint
from reclaim.site.sampletable import read_samples
from reclaim.site.units import METRES_PER_UNIT

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

    import pandas as pd

    from reclaim.site.problems import Findings
    from reclaim.site.spreadsheet import Column

COLLAR_NUMBERS = ("x_m", "y_m", "elevation_m", "depth_m")
SAMPLE_COLUMNS = ("core_id", "from_m", "to_m", "wet_mass_kg", "moisture", "bulk_density_t_m3")


@dataclass(frozen=True, slots=True)
class CoreFiles:
    """The tables of one drilling campaign, by kind (``collars``), and as written."""

    paths: Mapping[str, Path]
    written: Mapping[str, str]
    vertical_unit: str
    material_words: Mapping[str, str] = field(default_factory=dict)

    def name(self, kind: str) -> str:
        """Return the path of a table as written in the site file."""
        return self.written.get(kind, kind)


def no_cores() -> Cores:
    """Return tables with all columns, `ROW` included, and no rows."""
    import pandas as pd

    def empty(texts: Sequence[str], numbers: Sequence[str]) -> pd.DataFrame:
        return pd.DataFrame(
            {
                ROW: pd.Series([], dtype="int64"),
                **{name: pd.Series([], dtype=str) for name in texts},
                **{name: pd.Series([], dtype="float64") for name in numbers},
            }
        )

    def of_columns(columns: Sequence[Column]) -> pd.DataFrame:
        return empty(
            [column.name for column in columns if not column.is_number],
            [column.name for column in columns if column.is_number],
        )

    return Cores(
        collars=empty(["core_id", "drilled_on", "zone"], COLLAR_NUMBERS),
        intervals=of_columns(INTERVALS),
        samples=empty(["core_id"], [*SAMPLE_COLUMNS[1:], *material_names()]),
        lab=of_columns(LAB),
        gas=of_columns(GAS),
    )


def read_cores(files: CoreFiles, findings: Findings) -> Cores | None:
    """Read all tables of the cores.

    The frames keep the column `ROW` of the file for messages; `without_rows` takes it off.
    Coordinates are still in CRS units, in the columns ``x_m`` and ``y_m``.

    Returns
    -------
    Cores or None
        None where a required table cannot be read.
    """
    unit = files.vertical_unit
    readers = {
        "collars": read_collars,
        "intervals": read_intervals,
        "lab": read_lab,
        "gas": read_gas,
    }
    tables: dict[str, pd.DataFrame | None] = {
        kind: read(files.paths[kind], files.name(kind), unit, findings)
        for kind, read in readers.items()
        if kind in files.paths
    }
    if "samples" in files.paths:
        tables["samples"] = read_samples(
            files.paths["samples"], files.name("samples"), unit, files.material_words, findings
        )
    collars = tables.get("collars")
    if collars is None:
        return None
    for kind, frame in tables.items():
        if frame is not None and kind != "collars":
            check_known_cores(frame, files.name(kind), collars, findings)
    if any(frame is None for frame in tables.values()) or "intervals" not in tables:
        return None
    empty = no_cores()
    in_metres = {
        kind: _sorted(_in_metres(frame, METRES_PER_UNIT[unit]))
        for kind, frame in tables.items()
        if frame is not None
    }
    return Cores(
        collars=in_metres["collars"].rename(columns={"x": "x_m", "y": "y_m"}),
        intervals=in_metres["intervals"],
        samples=in_metres.get("samples", empty.samples),
        lab=in_metres.get("lab", empty.lab),
        gas=in_metres.get("gas", empty.gas),
    )


def _in_metres(frame: pd.DataFrame, unit_m: float) -> pd.DataFrame:
    lengths = [
        name for name in ("elevation_m", "depth_m", "from_m", "to_m") if name in frame.columns
    ]
    return frame.assign(**{name: frame[name] * unit_m for name in lengths})


def _sorted(frame: pd.DataFrame) -> pd.DataFrame:
    keys = [name for name in ("core_id", "from_m", "depth_m") if name in frame.columns]
    return frame.sort_values(keys, kind="stable", ignore_index=True)


def scaled(cores: Cores, crs_unit_m: float) -> Cores:
    """Return the cores with their coordinates times the length of a CRS unit [m]."""
    collars = cores.collars.assign(
        x_m=cores.collars["x_m"] * crs_unit_m, y_m=cores.collars["y_m"] * crs_unit_m
    )
    return Cores(collars, cores.intervals, cores.samples, cores.lab, cores.gas)


def zoned(cores: Cores, footprint: Footprint | None, written: str, findings: Findings) -> Cores:
    """Return the cores with the column ``zone``; those outside the footprint are warned of.

    A core on the setback strip or in an exclusion tells about the zone nearest to it.
    """
    from shapely import points

    places = points(cores.collars["x_m"].to_numpy(), cores.collars["y_m"].to_numpy())
    names: list[str] = []
    for core, row, place in zip(cores.collars["core_id"], cores.collars[ROW], places, strict=True):
        if footprint is None:
            names.append("")
            continue
        distances = [zone.polygon.distance(place) for zone in footprint.zones]
        nearest = int(np.argmin(distances))
        if distances[nearest] == 0 or footprint.as_given.covers(place):
            names.append(footprint.zones[nearest].name)
            continue
        names.append("")
        findings.warn(
            f"{written} row {row}",
            f"The core '{core}' lies {footprint.as_given.distance(place):.0f} m outside the "
            "footprint; no zone counts it.",
            "Check its coordinates and their coordinate system, or the footprint.",
        )
    columns = ["core_id", *COLLAR_NUMBERS, "drilled_on", ROW]
    collars = cores.collars[columns].assign(zone=_text(names))
    return Cores(collars, cores.intervals, cores.samples, cores.lab, cores.gas)


def _text(names: Sequence[str]) -> pd.Series[str]:
    import pandas as pd

    return pd.Series(list(names), dtype=str)


def without_rows(cores: Cores) -> Cores:
    """Return the cores without the rows of their files."""
    material_columns = [*SAMPLE_COLUMNS, *material_names()]
    return Cores(
        collars=cores.collars.drop(columns=ROW),
        intervals=cores.intervals[_names(INTERVALS)],
        samples=cores.samples[material_columns],
        lab=cores.lab[_names(LAB)],
        gas=cores.gas[_names(GAS)],
    )


def _names(columns: Sequence[Column]) -> list[str]:
    return [column.name for column in columns]
