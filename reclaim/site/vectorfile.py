"""Vector files, told by their content and read by drivers that fetch nothing."""

from __future__ import annotations

import mmap
import warnings
from contextlib import contextmanager
from typing import TYPE_CHECKING

from reclaim.site.ceilings import exceeds, is_too_large
from reclaim.site.rasteraccess import CLOSED
from reclaim.site.xmlhead import has_doctype, root_name

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from geopandas import GeoDataFrame

    from reclaim.site.problems import Findings

VECTOR_FORMS = "GeoPackage, GeoJSON, shapefile, FlatGeobuf, DXF, GML, KML or GPX"
_ROOTS = frozenset({"FeatureCollection", "kml", "gpx"})
_BINARY = (b"SQLite format 3\0", b"\x00\x00\x27\x0a", b"fgb\x03", b"PAR1")
_FARTHEST = 1e9  # no coordinate on Earth is so large, in metres, feet or degrees
_PIPELINE = b"gdal_streamed_alg"  # a JSON file of commands that GDAL would run


def read_vector(
    path: Path,
    written: str,
    findings: Findings,
    *,
    layers_of: str | None = None,
    wanted: str = "polygons",
) -> GeoDataFrame | None:
    """Read a vector file whole.

    Parameters
    ----------
    path, written
        The file, and its path as written in the site file.
    findings
        Takes every problem of the file; what the driver doubts is a warning.
    layers_of
        Geometry that the layer must have (``Polygon``), of which the first layer is read; None
        for the file's first layer. Where there are several layers it is told.
    wanted
        What the file must hold, in words.

    Returns
    -------
    GeoDataFrame or None
        None where the file cannot be read, holds no shape, is above a ceiling, or is of a kind
        that names other files or addresses.
    """
    import geopandas
    import numpy as np
    import shapely
    from pyogrio.errors import DataLayerError, DataSourceError, FieldError

    if not _is_plain(path, written, findings):
        return None
    try:
        with _offline(), warnings.catch_warnings(record=True) as doubts:
            warnings.simplefilter("always")
            layer = _layer(path, written, layers_of, findings)
            frame = geopandas.read_file(path, layer=layer)
    except (
        DataLayerError, DataSourceError, FieldError, shapely.errors.ShapelyError,
        ValueError, OSError, RuntimeError, OverflowError,
    ):  # fmt: skip
        _tell_unreadable(written, findings)
        return None
    for text in dict.fromkeys(str(doubt.message).strip().splitlines()[0] for doubt in doubts):
        findings.warn(
            written, f"The file was not read without doubt: {text}", "Save it again, and check it."
        )
    if not isinstance(frame, geopandas.GeoDataFrame) or frame.geometry.isna().all():
        findings.error(written, "The file has no shapes.", f"Give a file with {wanted}.")
        return None
    shapes = frame.geometry.to_numpy()
    places = shapely.get_coordinates(shapes, include_z=False)
    if not (np.abs(places) <= _FARTHEST).all():
        findings.error(
            written,
            "A coordinate is no number, or lies off the Earth.",
            "Correct it, or export the file again.",
        )
        return None
    if exceeds("vector_vertices", int(shapely.count_coordinates(shapes)), written, findings):
        return None
    return frame


def has_vectors(path: Path) -> bool:
    """Tell whether a file has a layer of shapes."""
    import pyogrio
    from pyogrio.errors import DataSourceError

    try:
        with _offline(), warnings.catch_warnings():
            warnings.simplefilter("ignore")
            return len(pyogrio.list_layers(path)) > 0
    except (DataSourceError, OSError, ValueError, RuntimeError):
        return False


def _tell_unreadable(written: str, findings: Findings) -> None:
    findings.error(
        written, "The file cannot be read as vector data.", f"Give a whole {VECTOR_FORMS} file."
    )


def _layer(path: Path, written: str, layers_of: str | None, findings: Findings) -> str | None:
    """Return the layer to read; None where the file has one."""
    import pyogrio

    layers = pyogrio.list_layers(path)
    if len(layers) <= 1:
        return None
    names = [str(name) for name, kind in layers if kind and (layers_of or "") in kind]
    if not names:
        return None
    findings.warn(
        written,
        f"The file has {len(layers)} layers; '{names[0]}' was read.",
        f"Keep the {'polygons' if layers_of else 'shapes'} wanted in a file of their own.",
    )
    return names[0]


def _is_plain(path: Path, written: str, findings: Findings) -> bool:
    """Tell whether a file holds shapes itself and is not too large; say what else it is."""
    if is_too_large("vector_mb", path, written, findings):
        return False
    with path.open("rb") as file:
        begin = file.read(1024)
    text = begin.lstrip(b"\xef\xbb\xbf \t\r\n\x1e")
    if begin.startswith(b"PK\x03\x04"):
        findings.error(written, "The file is packed (ZIP).", "Unpack it and name what is in it.")
    elif text.startswith(b"<"):
        return _is_plain_xml(path, written, findings)
    elif text.startswith(b"{"):
        if not _mentions(path, _PIPELINE) and not path.name.lower().endswith(".gdalg.json"):
            return True
        findings.error(
            written,
            "The file holds commands that make data, and no data; they are not run.",
            "Run them yourself and give what they make.",
        )
    elif begin.startswith(_BINARY) or (path.suffix.lower() == ".dxf" and text[:1].isdigit()):
        return True
    else:
        _tell_unreadable(written, findings)
    return False


def _is_plain_xml(path: Path, written: str, findings: Findings) -> bool:
    root = root_name(path)
    if root in _ROOTS and not has_doctype(path):
        return True
    if root in _ROOTS or not root:
        _tell_unreadable(written, findings)
        return False
    findings.error(
        written,
        f"The file ({root}) holds no shapes of a form that is read; it may name other files or "
        "addresses, which are not followed.",
        f"Give a {VECTOR_FORMS} file.",
    )
    return False


def _mentions(path: Path, text: bytes) -> bool:
    with path.open("rb") as file, mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ) as content:
        return content.find(text) >= 0


@contextmanager
def _offline() -> Iterator[None]:
    """Close the network to the vector library's GDAL, whose settings hold for the process."""
    import pyogrio

    before = {name: pyogrio.get_gdal_config_option(name) for name in CLOSED}
    pyogrio.set_gdal_config_options(CLOSED)
    try:
        yield
    finally:
        pyogrio.set_gdal_config_options(before)
