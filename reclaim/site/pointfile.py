"""Points as text: xyz and CSV files of any length, read in pieces."""

from __future__ import annotations

import itertools
import re
from dataclasses import dataclass
from itertools import chain
from typing import TYPE_CHECKING, Any

import numpy as np

from reclaim.site.ceilings import ceiling, exceeds
from reclaim.site.problems import Check, Findings, SiteError

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    from pyproj import CRS

    from reclaim.site.model import FloatArray

CHUNK = 1_000_000
"""Points read at once."""

_HEAD = 65_536  # bytes from which the layout is told

_HEADERS = {
    "x": ("x", "east", "easting", "e", "x_m", "easting_m", "x_coord", "lon", "longitude"),
    "y": ("y", "north", "northing", "n", "y_m", "northing_m", "y_coord", "lat", "latitude"),
    "z": ("z", "elevation", "elev", "height", "level", "h", "z_m", "elevation_m", "altitude"),
}
_NUMBER = re.compile(r"^[+-]?(\d+[.,]?\d*|[.,]\d+)([eE][+-]?\d+)?$")


@dataclass(frozen=True, slots=True)
class PointSource:
    """Points of a file, ready to be read in pieces, as often as wanted.

    Attributes
    ----------
    written
        Path as written in the site file.
    chunks
        Yields east, north and elevation, shape ``(n, 3)``, in the file's own units.
    crs
        Coordinate system that the file names, None where it names none.
    extent
        Number of points, lowest and highest east and north, where known without reading again.
    """

    written: str
    chunks: Callable[[], Iterator[FloatArray]]
    crs: CRS | None = None
    extent: tuple[int, FloatArray, FloatArray] | None = None


def joined(tiles: list[PointSource | None], findings: Findings) -> PointSource | None:
    """Return the points of several files as one; None where a file cannot be read.

    The coordinate system is that of the first file; another one in a later file is an error.
    """
    sources = [tile for tile in tiles if tile is not None]
    if len(sources) < len(tiles):
        return None
    first = sources[0]
    for tile in sources[1:]:
        if tile.crs is not None and first.crs is not None and tile.crs != first.crs:
            findings.error(
                tile.written,
                f"The tile is in {tile.crs.name}, '{first.written}' in {first.crs.name}.",
                "Bring all tiles to one coordinate system.",
            )
            return None
    extents = [tile.extent for tile in sources if tile.extent is not None]
    whole = None
    if len(extents) == len(sources):
        whole = (
            sum(extent[0] for extent in extents),
            np.min([extent[1] for extent in extents], axis=0),
            np.max([extent[2] for extent in extents], axis=0),
        )
    return PointSource(
        first.written,
        lambda: chain.from_iterable(tile.chunks() for tile in sources),
        first.crs,
        whole,
    )


@dataclass(frozen=True, slots=True)
class _Layout:
    delimiter: str
    skipped: int
    columns: tuple[int, int, int]
    decimal: str


def open_text_points(path: Path, written: str, findings: Findings) -> PointSource | None:
    """Return the points of a text file; None, with an error, where its layout is not clear.

    With a header the columns are found by name (x or easting, y or northing, z or elevation);
    without one the first three are taken as x, y and z, with a note.
    """
    layout = _layout(path, written, findings)
    if layout is None:
        return None
    return PointSource(written, lambda: _chunks(path, written, layout))


def _layout(path: Path, written: str, findings: Findings) -> _Layout | None:
    longest = int(1000 * ceiling("line_kb"))
    with path.open("rb") as file:
        head = file.read(max(_HEAD, longest + 1))
    line_kb = max(map(len, head.splitlines()), default=0) / 1000
    if exceeds("line_kb", line_kb, written, findings):
        return None
    lines = head.decode("utf-8-sig", errors="replace").splitlines()
    if len(head) >= _HEAD and len(lines) > 1:
        lines.pop()  # cut off in the middle
    comments = 0
    while comments < len(lines) and lines[comments].lstrip().startswith(("#", "//")):
        comments += 1
    lines = [line for line in lines[comments:] if line.strip()]
    if not lines:
        findings.error(written, "The file holds no points.", "Give x, y and z on each line.")
        return None
    delimiter = next((mark for mark in (";", "\t", ",") if mark in lines[0]), _spaces(lines))
    first = _split(lines[0], delimiter)
    has_header = not all(_NUMBER.match(cell) for cell in first[:3])
    rows = [_split(line, delimiter) for line in lines[1 if has_header else 0 :][:200]]
    decimal = (
        "," if delimiter != "," and any("," in cell for row in rows for cell in row[:3]) else "."
    )
    columns = _columns_by_name(first) if has_header else (0, 1, 2)
    if columns is None or (not has_header and len(first) < 3):
        findings.error(
            f"{written} row {comments + 1}",
            "It is not clear which columns are x, y and z.",
            "Name the columns x, y and z in the first line, or give three numbers per line.",
        )
        return None
    if not has_header:
        if _is_numbering([row[0] for row in rows]):
            findings.error(
                f"{written} column 1",
                "The first column counts 1, 2, 3: these are point numbers, not coordinates.",
                "Name the columns in the first line, for example number,x,y,z.",
            )
            return None
        findings.note(written, "The first three columns were read as x, y and z.")
    return _Layout(delimiter, comments + has_header, columns, decimal)


def _spaces(lines: list[str]) -> str:
    """Return one space where that is all there is between numbers, which reads much faster."""
    is_single = all(line == " ".join(line.split()) for line in lines)
    return " " if is_single else r"\s+"


def _split(line: str, delimiter: str) -> list[str]:
    cells = line.split() if delimiter in {" ", r"\s+"} else line.split(delimiter)
    return [cell.strip().strip('"') for cell in cells]


def _columns_by_name(header: list[str]) -> tuple[int, int, int] | None:
    plain = [cell.casefold().replace(" ", "_") for cell in header]
    found = [
        next((plain.index(name) for name in _HEADERS[axis] if name in plain), -1) for axis in "xyz"
    ]
    return None if min(found) < 0 else (found[0], found[1], found[2])


def _is_numbering(cells: list[str]) -> bool:
    numbers = [int(cell) for cell in cells if cell.isdigit()]
    return len(numbers) == len(cells) > 2 and all(
        after - before == 1 for before, after in itertools.pairwise(numbers)
    )


def _chunks(path: Path, written: str, layout: _Layout) -> Iterator[FloatArray]:
    import pandas as pd

    row = layout.skipped
    columns = list(layout.columns)
    options: dict[str, Any] = {
        "sep": layout.delimiter,
        "header": None,
        "skiprows": layout.skipped,
        "usecols": sorted(columns),
        "decimal": layout.decimal,
        "encoding": "utf-8",
        "encoding_errors": "replace",
        "chunksize": CHUNK,
        "skip_blank_lines": False,
        "low_memory": False,
    }
    try:
        with pd.read_csv(path, **options) as reader:
            for frame in reader:
                yield _numbers(frame[columns], row, written)
                row += len(frame)
                problems = Findings()
                exceeds("points", row, written, problems)
                problems.stop_on_errors()
    except ValueError as error:  # the parser's errors are of this kind
        raise SiteError(
            [
                Check(
                    "error",
                    written,
                    f"The points cannot be read: {str(error).splitlines()[0]}.",
                    "Give one point per line with the same number of columns on each.",
                )
            ]
        ) from None


def _numbers(frame: Any, row: int, written: str) -> FloatArray:
    """Return the cells as numbers; empty lines drop out, other text raises `SiteError`."""
    import pandas as pd

    if all(dtype == np.float64 for dtype in frame.dtypes):
        whole = frame.to_numpy()
        if np.isfinite(whole).all():
            return np.asarray(whole)
    blank = frame.isna().all(axis=1).to_numpy()
    numbers = frame.apply(pd.to_numeric, errors="coerce").to_numpy(dtype=float)
    bad = np.flatnonzero(~np.isfinite(numbers).all(axis=1) & ~blank)
    if len(bad):
        cells = ", ".join(str(cell) for cell in frame.iloc[bad[0]])
        raise SiteError(
            [
                Check(
                    "error",
                    f"{written} row {row + int(bad[0]) + 1}",
                    f"'{cells}' are not three numbers ({len(bad)} such rows in this part).",
                    "Correct or remove the rows.",
                )
            ]
        )
    return np.asarray(numbers[~blank])
