"""Point clouds: LAS and LAZ files, of which only the ground is read."""

from __future__ import annotations

import struct
from typing import TYPE_CHECKING, Any

import numpy as np

from reclaim.site.ceilings import exceeds
from reclaim.site.pointfile import CHUNK, PointSource

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from reclaim.site.model import FloatArray
    from reclaim.site.problems import Findings


_WHOLE = "Give a LAS or LAZ file of version 1.2 to 1.4 that is whole."
# What the reader of point clouds raises on damaged files.
_DAMAGE = (
    ArithmeticError, AttributeError, EOFError, LookupError, MemoryError, OSError, RuntimeError,
    TypeError, ValueError, struct.error,
)  # fmt: skip


def open_las_points(
    path: Path, written: str, point_class: int, findings: Findings
) -> PointSource | None:
    """Return the points of one class of a point cloud, without those marked as withheld.

    Parameters
    ----------
    path, written
        The file, and its path as written in the site file.
    point_class
        Classification to take; 2 is ground in the LAS specification (ASPRS, LAS 1.4 R15,
        table 17).
    findings
        Takes every problem of the file.

    Returns
    -------
    PointSource or None
        None where the file cannot be read or has no point of that class.
    """
    try:
        import laspy
    except ImportError:
        findings.error(
            written,
            "Point clouds are read by the package laspy, which is not installed.",
            "Install it with: pip install 'reclaim[las]'.",
        )
        return None
    if not _head_fits(path):
        findings.error(
            written, "The point cloud cannot be read: its head tells of more than is there.", _WHOLE
        )
        return None
    try:
        found: set[int] = set()
        count, lowest, highest = 0, np.full(2, np.inf), np.full(2, -np.inf)
        with laspy.open(path) as file:
            if exceeds("points", file.header.point_count, written, findings):
                return None
            crs = _crs(file.header)
            for chunk in file.chunk_iterator(CHUNK):
                found |= {int(value) for value in np.unique(chunk.classification)}
                ground = _ground(chunk, point_class)
                if len(ground):
                    count += len(ground)
                    lowest = np.minimum(lowest, ground[:, :2].min(axis=0))
                    highest = np.maximum(highest, ground[:, :2].max(axis=0))
    except (laspy.errors.LaspyException, *_DAMAGE) as error:
        findings.error(
            written,
            f"The point cloud cannot be read: {error}.",
            _WHOLE,
        )
        return None
    except BaseException as error:
        # The unpacker panics on some damage, which is no `Exception`; all else goes on.
        if type(error).__name__ != "PanicException":
            raise
        findings.error(written, "The point cloud cannot be unpacked.", _WHOLE)
        return None
    if count == 0:
        others = ", ".join(str(value) for value in sorted(found)) or "none"
        findings.error(
            written,
            f"The point cloud has no points of class {point_class} (classes found: {others}).",
            "Have the ground classified (class 2), or name another class with [surfaces] "
            "point_class; trees and roofs would count as waste.",
        )
        return None
    if not np.isfinite([lowest, highest]).all():
        findings.error(written, "The point cloud has coordinates that are no numbers.", _WHOLE)
        return None
    extent = (count, lowest, highest)
    return PointSource(written, lambda: _chunks(path, point_class), crs, extent)


def _head_fits(path: Path) -> bool:
    """Tell whether what the public header block counts has room in the file.

    Places of the fields: ASPRS, LAS 1.4 R15, table 3.
    """
    size = path.stat().st_size
    with path.open("rb") as file:
        head = file.read(375)
    if len(head) < 227:
        return False
    points_at, records = struct.unpack_from("<II", head, 96)
    (form, length, count) = struct.unpack_from("<BHI", head, 104)
    fits: bool = points_at <= size and records * 54 <= points_at
    if head[25] >= 4 and len(head) == 375:
        extra_at, extras, count = struct.unpack_from("<QIQ", head, 235)
        fits = fits and (extras == 0 or extra_at + 60 * extras <= size)
    if form < 128:
        return fits and points_at + count * length <= size
    return fits and _chunks_fit(path, points_at, size)


def _chunks_fit(path: Path, points_at: int, size: int) -> bool:
    """Tell whether a packed file's table of chunks counts no more chunks than it has bytes.

    The unpacker sets memory aside for as many as the table says, and ends the whole program where
    there is not so much. The table's place stands before the points, or at the end of the file.
    """
    with path.open("rb") as file:
        file.seek(points_at)
        place = file.read(8)
        if place == b"\xff" * 8:
            file.seek(max(0, size - 8))
            place = file.read(8)
        if len(place) < 8:
            return False
        table_at = int.from_bytes(place, "little", signed=True)
        if not points_at <= table_at <= size - 8:
            return False
        file.seek(table_at + 4)
        return int.from_bytes(file.read(4), "little") <= table_at - points_at


def _crs(header: Any) -> Any:
    from pyproj.exceptions import CRSError

    try:
        return header.parse_crs()
    except (CRSError, ValueError):
        return None


def _chunks(path: Path, point_class: int) -> Iterator[FloatArray]:
    import laspy

    with laspy.open(path) as file:
        for chunk in file.chunk_iterator(CHUNK):
            yield _ground(chunk, point_class)


def _ground(chunk: Any, point_class: int) -> FloatArray:
    """Return east, north and elevation of the points wanted, shape ``(n, 3)``."""
    wanted = np.asarray(chunk.classification) == point_class
    wanted &= ~np.asarray(chunk.withheld, dtype=bool)
    with np.errstate(over="ignore", invalid="ignore"):  # a damaged scale; told by the reader
        axes = [np.asarray(axis, dtype=float)[wanted] for axis in (chunk.x, chunk.y, chunk.z)]
    return np.column_stack(axes)
