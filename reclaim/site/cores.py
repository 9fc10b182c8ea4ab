"""The cores put together: tables in metres, each core in its zone, sorted by core and depth."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cache
from typing import TYPE_CHECKING

import numpy as np

from reclaim.reference import material_names
from reclaim.site.ags import read_ags
from reclaim.site.coretables import (
    GAS,
    INTERVALS,
    LAB,
    ROW,
    SIZES,
    WATER,
    check_known_cores,
    read_collars,
    read_gas,
    read_intervals,
    read_lab,
    read_sizes,
    read_water,
)
from reclaim.site.model import Cores, Footprint
from reclaim.site.sampletable import moisture_by_material, read_samples
from reclaim.site.spreadsheet import read_sheet
from reclaim.site.tablewords import TableWords
from reclaim.site.units import METRES_PER_UNIT

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

    import pandas as pd

    from reclaim.site.problems import Findings
    from reclaim.site.spreadsheet import Column, Sheet

COLLAR_NUMBERS = ("x_m", "y_m", "elevation_m", "depth_m", "diameter_mm", "water_m")
COLLAR_TEXTS = ("core_id", "drilled_on", "method")
SAMPLE_COLUMNS = (
    "core_id",
    "from_m",
    "to_m",
    "wet_mass_kg",
    "moisture",
    "bulk_density_t_m3",
)
SAMPLE_EXTRAS = ("dry_mass_kg", "recovery")
MATERIAL_MOISTURE_NUMBERS = ("from_m", "to_m", "wet_mass_kg", "moisture")
_LENGTHS = ("elevation_m", "depth_m", "from_m", "to_m", "water_m")


@dataclass(frozen=True, slots=True)
class CoreFiles:
    """The tables of one drilling campaign, by kind (``collars``), and as written."""

    paths: Mapping[str, Path]
    written: Mapping[str, str]
    vertical_unit: str
    material_words: Mapping[str, str] = field(default_factory=dict)
    words: TableWords = field(default_factory=TableWords)

    def name(self, kind: str) -> str:
        """Return the path of a table as written in the site file."""
        own = "ags" if kind not in self.paths and "ags" in self.paths else kind
        return self.written.get(own, own)

    def sheets(self, findings: Findings) -> dict[str, Sheet | None]:
        """Return every table by kind, None for one that cannot be read.

        A table named in the site file goes before the group of an AGS4 file.
        """
        sheets: dict[str, Sheet | None] = {}
        if "ags" in self.paths:
            read = read_ags(self.paths["ags"], self.name("ags"), self.words, findings)
            sheets = {"collars": None} if read is None else {**read}
        for kind, path in self.paths.items():
            if kind != "ags":
                sheets[kind] = read_sheet(path, self.name(kind), findings, self.words, kind)
        return sheets

    def unit(self, kind: str) -> str:
        """Return the unit of a table's depths; AGS4 is in metres."""
        return self.vertical_unit if kind in self.paths else "m"


@cache
def no_cores() -> Cores:
    """Return tables with all columns, `ROW` included, and no rows; always the same ones."""
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
        collars=empty([*COLLAR_TEXTS, "zone"], COLLAR_NUMBERS),
        intervals=of_columns(INTERVALS),
        samples=empty(["core_id"], [*SAMPLE_COLUMNS[1:], *material_names(), *SAMPLE_EXTRAS]),
        lab=of_columns(LAB),
        gas=of_columns(GAS),
        water=of_columns(WATER),
        sizes=of_columns(SIZES),
        material_moisture=empty(["core_id", "material"], MATERIAL_MOISTURE_NUMBERS),
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
    readers = {
        "collars": read_collars,
        "intervals": read_intervals,
        "lab": read_lab,
        "gas": read_gas,
        "water": read_water,
        "sizes": read_sizes,
    }
    tables: dict[str, pd.DataFrame | None] = {}
    for kind, sheet in files.sheets(findings).items():
        if sheet is None:
            tables[kind] = None
        elif kind == "samples":
            tables[kind] = read_samples(sheet, files.unit(kind), files.material_words, findings)
            by_material = moisture_by_material(sheet, files.unit(kind), files.material_words)
            if by_material is not None:
                tables["material_moisture"] = by_material
        else:
            tables[kind] = readers[kind](sheet, files.unit(kind), findings)
    collars = tables.get("collars")
    if collars is None:
        return None
    for kind, frame in tables.items():
        if frame is not None and kind not in {"collars", "material_moisture"}:
            check_known_cores(frame, files.name(kind), collars, findings)
    if any(frame is None for frame in tables.values()) or "intervals" not in tables:
        return None
    empty = no_cores()
    in_metres = {
        kind: _sorted(_in_metres(frame, METRES_PER_UNIT[files.unit(_file_of(kind))]))
        for kind, frame in tables.items()
        if frame is not None
    }
    water = in_metres.get("water", empty.water)
    collars = in_metres["collars"].rename(columns={"x": "x_m", "y": "y_m"})
    return Cores(
        collars=_with_last_level(collars, water),
        intervals=in_metres["intervals"],
        samples=in_metres.get("samples", empty.samples),
        lab=in_metres.get("lab", empty.lab),
        gas=in_metres.get("gas", empty.gas),
        water=water,
        sizes=in_metres.get("sizes", empty.sizes),
        material_moisture=in_metres.get("material_moisture", empty.material_moisture),
    )


def _file_of(kind: str) -> str:
    """Return the kind of the file that a table was read from."""
    return "samples" if kind == "material_moisture" else kind


def _with_last_level(collars: pd.DataFrame, water: pd.DataFrame) -> pd.DataFrame:
    """Return the collars with the latest water level where the table of levels has one."""
    if water.empty:
        return collars
    last = water.sort_values(["date", ROW], kind="stable").groupby("core_id")["water_m"].last()
    levels = collars["core_id"].map(last).astype(float)
    return collars.assign(water_m=levels.fillna(collars["water_m"]))


def _in_metres(frame: pd.DataFrame, unit_m: float) -> pd.DataFrame:
    lengths = [name for name in _LENGTHS if name in frame.columns]
    return frame.assign(**{name: frame[name] * unit_m for name in lengths})


def _sorted(frame: pd.DataFrame) -> pd.DataFrame:
    keys = [name for name in ("core_id", "from_m", "depth_m") if name in frame.columns]
    return frame.sort_values(keys, kind="stable", ignore_index=True)


def scaled(cores: Cores, crs_unit_m: float) -> Cores:
    """Return the cores with their coordinates times the length of a CRS unit [m]."""
    if cores is no_cores():
        return cores
    collars = cores.collars.assign(
        x_m=cores.collars["x_m"] * crs_unit_m, y_m=cores.collars["y_m"] * crs_unit_m
    )
    return replace(cores, collars=collars)


def zoned(cores: Cores, footprint: Footprint | None, written: str, findings: Findings) -> Cores:
    """Return the cores with the column ``zone``; those outside the footprint are warned of.

    A core on the setback strip or in an exclusion tells about the zone nearest to it.
    """
    if cores is no_cores():
        return cores
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
    columns = [*COLLAR_TEXTS, *COLLAR_NUMBERS, ROW]
    collars = cores.collars[columns].assign(zone=_text(names))
    return replace(cores, collars=collars)


def _text(names: Sequence[str]) -> pd.Series[str]:
    import pandas as pd

    return pd.Series(list(names), dtype=str)


def without_rows(cores: Cores) -> Cores:
    """Return the cores without the rows of their files, but where a hazard is traced to one."""
    return _no_cores_without_rows() if cores is no_cores() else _without_rows(cores)


@cache
def _no_cores_without_rows() -> Cores:
    return _without_rows(no_cores())


def _without_rows(cores: Cores) -> Cores:
    sample_columns = [*SAMPLE_COLUMNS, *material_names(), *SAMPLE_EXTRAS]
    return Cores(
        collars=cores.collars.drop(columns=ROW),
        intervals=cores.intervals[[*_names(INTERVALS), ROW]],
        samples=cores.samples[sample_columns],
        lab=cores.lab[_names(LAB)],
        gas=cores.gas[[*_names(GAS), ROW]],
        water=cores.water[_names(WATER)],
        sizes=cores.sizes[_names(SIZES)],
        material_moisture=cores.material_moisture.drop(columns=ROW),
    )


def _names(columns: Sequence[Column]) -> list[str]:
    return [column.name for column in columns]
