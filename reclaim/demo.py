"""Files to begin with: the demo site, or a blank site with every key and empty tables to fill."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING

import reclaim

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

_SUFFIXES = {".toml", ".csv", ".geojson", ".tif"}
_OTHERS = "#: *"
_MARK = "#: "
"""In the blank site file, the line that the remaining keys of a section take the place of."""


def write_demo_site(folder: Path) -> list[str]:
    """Copy the demo site's files into a new or empty folder and return their names.

    Raises
    ------
    reclaim.SiteError
        Where the folder has something in it already or cannot be written.
    """
    files = sorted(file for file in _home().iterdir() if file.suffix in _SUFFIXES)
    return _write(folder, {file.name: file.read_bytes() for file in files})


def write_blank_site(folder: Path) -> list[str]:
    """Write a commented site file and empty core tables, and return their names.

    Parameters
    ----------
    folder
        New or empty.

    Raises
    ------
    reclaim.SiteError
        Where the folder has something in it already or cannot be written.
    """
    files = {"site.toml": blank_site_file(), **_blank_tables()}
    return _write(folder, {name: text.encode() for name, text in files.items()})


def _write(folder: Path, files: Mapping[str, bytes]) -> list[str]:
    """Write files into a new or empty folder, all or none, and return their names."""
    from reclaim.report.place import built_beside

    _refuse_taken(folder)
    with built_beside(folder.resolve(), str(folder), ours=files, fill_empty=True) as new:
        for name, data in files.items():
            (new / name).write_bytes(data)
    return list(files)


def blank_site_file() -> str:
    """Return a site file that states what has no default and lists all that has, commented."""
    template = Path(reclaim.__file__).parent / "blank_site" / "site.toml"
    lines: list[str] = []
    text = template.read_text(encoding="utf-8")
    for line in text.splitlines():
        if line == _OTHERS:
            lines += _other_sections(text)
        elif line.startswith(_MARK):
            lines += _remaining_keys(line.removeprefix(_MARK), text)
        else:
            lines.append(line)
    return "\n".join(lines) + "\n"


def _other_sections(text: str) -> Iterator[str]:
    """Give every section that the template does not have, with its numbers commented."""
    from reclaim.report.explanation import explanations

    for section in dict.fromkeys(key.partition(".")[0] for key in explanations()):
        if f"\n[{section}]" not in text:
            yield f"[{section}]"
            yield from _remaining_keys(section, text)
            yield ""


def _remaining_keys(section: str, text: str) -> Iterator[str]:
    """Give a commented line for every number of a section that the template does not have."""
    from reclaim.report.explanation import explanations

    for key, item in explanations().items():
        place, _, name = key.partition(".")
        if (
            place != section
            or not isinstance(item.default, float)
            or re.search(rf"^(# )?{name} = ", text, re.MULTILINE)
        ):
            continue
        ranged = item.low is not None and item.high is not None and item.low < item.high
        value = (
            f"{{ low = {item.low:.10g}, mode = {item.default:.10g}, high = {item.high:.10g} }}"
            if ranged
            else f"{item.default:.10g}"
        )
        unit = "" if item.unit == "-" else f" [{item.unit}]"
        yield f"# {name} = {value}   # {item.label}{unit}; {item.status}"


def _blank_tables() -> dict[str, str]:
    """Return the core tables as their headings alone."""
    from reclaim.reference import material_names
    from reclaim.site.coretables import COLLARS, GAS, INTERVALS, LAB
    from reclaim.site.sampletable import DENSITY, MOISTURE, WET_MASS

    samples = ("core_id", "from_m", "to_m", WET_MASS.name, MOISTURE.name, DENSITY.name)
    headings = {
        "collars.csv": [column.name for column in COLLARS],
        "intervals.csv": [column.name for column in INTERVALS],
        "samples.csv": [*samples, *material_names()],
        "lab.csv": [column.name for column in LAB],
        "gas.csv": [column.name for column in GAS],
    }
    return {name: ",".join(names) + "\n" for name, names in headings.items()}


def _home() -> Path:
    """Return where the demo site lies: inside an installed package, or beside it in a clone."""
    package = Path(reclaim.__file__).parent
    inside = package / "demo_site"
    return inside if inside.is_dir() else package.parent / "demo_site"


def _refuse_taken(folder: Path) -> None:
    from reclaim.site.problems import Check, SiteError

    if folder.exists() and any(folder.iterdir()):
        raise SiteError(
            [
                Check(
                    "error",
                    str(folder),
                    "The folder is not empty, and nothing in it will be overwritten.",
                    "Name a new folder.",
                )
            ]
        )
