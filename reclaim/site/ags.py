"""Ground-investigation data in the open AGS4 format, as the core tables read everywhere else.

The format's own library asks for an older pandas than this package; one small reader serves.
"""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from reclaim.site.ceilings import is_too_large
from reclaim.site.spreadsheet import Row, Sheet
from reclaim.site.tablewords import TableWords, plain

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping
    from pathlib import Path

    from reclaim.site.problems import Findings

# Groups and headings of the AGS data dictionary 4.1.1, by our columns.
_COLLARS = {
    "core_id": "LOCA_ID",
    "x": "LOCA_NATE",
    "y": "LOCA_NATN",
    "elevation_m": "LOCA_GL",
    "depth_m": "LOCA_FDEP",
    "drilled_on": "LOCA_STAR",
    "method": "LOCA_TYPE",
}
_INTERVALS = {
    "core_id": "LOCA_ID",
    "from_m": "GEOL_TOP",
    "to_m": "GEOL_BASE",
    "note": "GEOL_DESC",
}
_LAYER_HEADINGS = ("GEOL_GEOL", "GEOL_LEG")
_SIZES = {
    "core_id": "LOCA_ID",
    "from_m": "SAMP_TOP",
    "to_m": "SAMP_BASE",
    "size_mm": "GRAT_SIZE",
    "passing": "GRAT_PERP",
}
_UNITS = {
    "LOCA_NATE": "m",
    "LOCA_NATN": "m",
    "LOCA_GL": "m",
    "LOCA_FDEP": "m",
    "GEOL_TOP": "m",
    "GEOL_BASE": "m",
    "SAMP_TOP": "m",
    "SAMP_BASE": "m",
    "HDIA_DIAM": "mm",
    "GRAT_SIZE": "mm",
    "GRAT_PERP": "%",
    "MONG_DIS": "m",
}
# Reading types of the dictionary. GM is methane in per cent of its lower explosive limit and is
# no percentage of the gas, so it is not read.
_READINGS = {
    "TGM": ("ch4_pct", "%"),
    "GCD": ("co2_pct", "%"),
    "GOX": ("o2_pct", "%"),
    "HYS": ("h2s_ppm", "ppm"),
    "GCM": ("co_ppm", "ppm"),
    "GFLO": ("flow_l_h", "l/h"),
}
_SAME_UNIT = {"% vol": "%", "%vol": "%", "l/hr": "l/h", "ppmv": "ppm"}
_WATER = "WDEP"


@dataclass(slots=True)
class Group:
    """One group: its headings, their units, and its rows by heading.

    Attributes
    ----------
    headings, units
        As in the file, equally many.
    rows
        Rows of data; `Row.number` is the line of the file.
    """

    headings: tuple[str, ...] = ()
    units: dict[str, str] = field(default_factory=dict)
    rows: list[Row] = field(default_factory=list)

    def has(self, heading: str) -> bool:
        """Tell whether any row has something under a heading."""
        return any(row.cells.get(heading) for row in self.rows)


def read_groups(path: Path, written: str, findings: Findings) -> dict[str, Group] | None:
    """Read every group of an AGS4 file.

    Returns None where the file is no AGS4 at all; rows that break the rules are told with their
    line and left out.

    Notes
    -----
    AGS4 rules 3 to 5 (AGS, Electronic Transfer of Geotechnical and Geoenvironmental Data,
    edition 4.1): every line begins with its kind, GROUP, HEADING, UNIT, TYPE or DATA; every
    field is in double quotes, with quotes inside doubled; fields are parted by commas.
    """
    if is_too_large("table_mb", path, written, findings):
        return None
    try:
        text = path.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError:
        text = path.read_bytes().decode("cp1252", errors="replace")
        findings.warn(
            written,
            "The text is not UTF-8; it was read as Windows-1252.",
            "Check that accented letters came out right.",
        )
    groups: dict[str, Group] = {}
    current: Group | None = None
    for number, line in enumerate(text.splitlines(), start=1):
        if not line.strip():
            continue
        where = f"{written} line {number}"
        try:
            cells = [cell.strip() for cell in next(csv.reader(io.StringIO(line), strict=True))]
        except csv.Error:
            findings.error(
                where,
                "A quote stands alone inside a field.",
                "Double the quotes inside fields, and end every field with one.",
            )
            continue
        kind, fields = cells[0], tuple(cells[1:])
        if kind == "GROUP":
            current = Group()
            if fields and fields[0] in groups:
                findings.error(
                    where, f"The group {fields[0]} appears twice.", "Join its rows in one group."
                )
            elif fields:
                groups[fields[0]] = current
        elif kind not in {"HEADING", "UNIT", "TYPE", "DATA"}:
            findings.error(
                where,
                f"The line begins with '{kind[:20]}', not with GROUP, HEADING, UNIT, TYPE or DATA.",
                "Check the line breaks; a field may not run over several lines.",
            )
            if number == 1:
                return None
        elif current is None:
            findings.error(where, "The line belongs to no group.", "Put a GROUP line above it.")
        elif kind == "HEADING":
            current.headings = fields
        elif len(fields) != len(current.headings):
            findings.error(
                where,
                f"The line has {len(fields)} fields under {len(current.headings)} headings.",
                "Look for a comma or a quote inside a field that is not in double quotes.",
            )
        elif kind == "UNIT":
            current.units = dict(zip(current.headings, fields, strict=True))
        elif kind == "DATA":
            named = dict(zip(current.headings, fields, strict=True))
            current.rows.append(Row(number, named))
    return groups


def read_ags(
    path: Path, written: str, words: TableWords, findings: Findings
) -> dict[str, Sheet] | None:
    """Read collars, logs, gradings, gas and water levels from an AGS4 file.

    Parameters
    ----------
    path, written
        The file, and its path as written in the site file.
    words
        Layers by the codes of GEOL_GEOL, or of GEOL_LEG where that is empty.
    findings
        Takes every problem of the file.

    Returns
    -------
    dict or None
        Sheets by table: ``collars``, ``intervals``, and ``sizes``, ``gas`` and ``water`` where
        the file has them; None where a required group is missing.
    """
    groups = read_groups(path, written, findings)
    if groups is None:
        return None
    missing = [name for name in ("LOCA", "GEOL") if name not in groups or not groups[name].rows]
    for name in missing:
        findings.error(
            written, f"The group {name} is missing or empty.", "Export locations and geology."
        )
    if missing:
        return None
    _check_units(groups, written, findings)
    geology = groups["GEOL"]
    heading = next((name for name in _LAYER_HEADINGS if geology.has(name)), _LAYER_HEADINGS[0])
    sheets = {
        "collars": _collars(groups, written),
        "intervals": _sheet(written, {**_INTERVALS, "layer": heading}, geology.rows, words),
    }
    if "GRAT" in groups and groups["GRAT"].rows:
        rows = _with_sample_base(groups["GRAT"], groups.get("SAMP", Group()))
        in_percent = TableWords(units={"passing": "%"})
        sheets["sizes"] = _sheet(written, _SIZES, rows, in_percent)
    if "MOND" in groups:
        sheets.update(_monitoring(groups["MOND"], written, findings))
    used = {"PROJ", "TRAN", "TYPE", "UNIT", "ABBR", "DICT", "LOCA", "GEOL", "HDIA", "SAMP", "GRAT"}
    others = sorted(set(groups) - used - {"MOND", "MONG"})
    if others:
        findings.note(written, f"Groups not used: {', '.join(others)}.")
    return sheets


def _check_units(groups: Mapping[str, Group], written: str, findings: Findings) -> None:
    """Check that numbers are in the units of the dictionary; the standard fixes them."""
    for name, group in groups.items():
        for heading, unit in group.units.items():
            expected = _UNITS.get(heading)
            if expected is not None and unit != expected and group.has(heading):
                findings.error(
                    f"{written} group {name}, heading {heading}",
                    f"The unit is '{unit}', not '{expected}' as in the AGS data dictionary.",
                    "Convert the numbers and the UNIT line.",
                )


def _sheet(
    written: str, columns: Mapping[str, str], rows: Iterable[Row], words: TableWords
) -> Sheet:
    """Return rows of a group as a sheet whose headings are known by our columns."""
    named = TableWords(
        columns={plain(heading): column for column, heading in columns.items()},
        units=words.units,
        layers=words.layers,
    )
    headings = tuple(columns.values())
    kept = tuple(
        Row(row.number, {heading: row.cells.get(heading, "") for heading in headings})
        for row in rows
    )
    return Sheet(written, headings, kept, decimal_comma=False, words=named)


def _collars(groups: Mapping[str, Group], written: str) -> Sheet:
    """Return the locations, with the widest diameter of each hole."""
    widest: dict[str, float] = {}
    for row in groups.get("HDIA", Group()).rows:
        core, text = row.cells.get("LOCA_ID", ""), row.cells.get("HDIA_DIAM", "")
        try:
            widest[core] = max(widest.get(core, 0.0), float(text))
        except ValueError:
            continue  # a diameter that was not recorded
    rows = [
        Row(
            row.number,
            {
                **row.cells,
                "LOCA_STAR": row.cells.get("LOCA_STAR", "")[:10],
                "HDIA_DIAM": f"{widest[core]:g}" if core in widest else "",
            },
        )
        for row in groups["LOCA"].rows
        for core in [row.cells.get("LOCA_ID", "")]
    ]
    return _sheet(written, {**_COLLARS, "diameter_mm": "HDIA_DIAM"}, rows, TableWords())


def _with_sample_base(gradings: Group, samples: Group) -> list[Row]:
    """Return gradings with the base of their samples, which stands in the group SAMP."""
    keys = ("LOCA_ID", "SAMP_TOP", "SAMP_REF", "SAMP_TYPE", "SAMP_ID")
    bases = {
        tuple(row.cells.get(key, "") for key in keys): row.cells.get("SAMP_BASE", "")
        for row in samples.rows
    }
    return [
        Row(
            row.number,
            {
                **row.cells,
                "SAMP_BASE": bases.get(tuple(row.cells.get(key, "") for key in keys), ""),
            },
        )
        for row in gradings.rows
    ]


def _monitoring(readings: Group, written: str, findings: Findings) -> dict[str, Sheet]:
    """Return gas and water levels, one row per place, depth and time."""
    gas: dict[tuple[str, str, str], Row] = {}
    water: list[Row] = []
    percent_of_limit = 0
    for row in readings.rows:
        cells = row.cells
        kind, unit = cells.get("MOND_TYPE", ""), cells.get("MOND_UNIT", "")
        core, value = cells.get("LOCA_ID", ""), cells.get("MOND_RDNG", "")
        when = cells.get("MOND_DTIM", "")
        percent_of_limit += kind == "GM"
        known = (_WATER, "m") if kind == _WATER else _READINGS.get(kind)
        if known is None or not value:
            continue
        if _SAME_UNIT.get(unit.casefold(), unit.casefold()) != known[1]:
            findings.error(
                f"{written} line {row.number}",
                f"The reading {kind} is in '{unit}', not in '{known[1]}'.",
                "Convert the reading and its unit.",
            )
            continue
        if kind == _WATER:
            named = {"LOCA_ID": core, "MOND_RDNG": value, "MOND_DTIM": when[:10]}
            water.append(Row(row.number, named))
            continue
        key = core, cells.get("MONG_DIS", ""), when
        reading = {"LOCA_ID": core, "MONG_DIS": key[1], "MOND_DTIM": when[:10]}
        gas.setdefault(key, Row(row.number, reading))
        gas[key] = Row(gas[key].number, {**gas[key].cells, known[0]: value})
    if percent_of_limit:
        findings.warn(
            written,
            f"{percent_of_limit} readings GM are methane in per cent of its lower explosive limit.",
            "They were left out; give methane by volume as TGM.",
        )
    columns = {"core_id": "LOCA_ID", "depth_m": "MONG_DIS", "date": "MOND_DTIM"}
    columns |= {name: name for name, _ in _READINGS.values()}
    levels = {"core_id": "LOCA_ID", "water_m": "MOND_RDNG", "date": "MOND_DTIM"}
    sheets = {}
    if gas:
        sheets["gas"] = _sheet(written, columns, gas.values(), TableWords())
    if water:
        sheets["water"] = _sheet(written, levels, water, TableWords())
    return sheets
