"""Rasters opened by drivers that read files only; what a mosaic names is looked at first."""

from __future__ import annotations

import warnings
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any
from xml.etree.ElementTree import Element, ParseError, fromstring  # see has_doctype

from reclaim.site.ceilings import exceeds, is_too_large
from reclaim.site.reach import Reach, is_remote
from reclaim.site.xmlhead import has_doctype

if TYPE_CHECKING:
    from collections.abc import Iterator

    from reclaim.site.problems import Findings

# Drivers of GDAL that read one raster from files beside each other, and never fetch anything.
DRIVERS = (
    "GTiff", "VRT", "AAIGrid", "AIG", "BT", "DTED", "EHdr", "ENVI", "GPKG", "GRASSASCIIGrid",
    "GS7BG", "GSAG", "GSBG", "HFA", "JP2OpenJPEG", "JPEG", "PCRaster", "PNG", "RST", "SAGA",
    "SDTS", "SRTMHGT", "USGSDEM", "XYZ",
)  # fmt: skip

# A proxy that answers nobody stops all of GDAL's requests, also those of parts within parts.
CLOSED = {
    "GDAL_HTTP_PROXY": "http://127.0.0.1:9",
    "GDAL_HTTPS_PROXY": "http://127.0.0.1:9",
    "GDAL_HTTP_MAX_RETRY": "0",
    "CPL_VSIL_CURL_ALLOWED_FILENAME": "none",
    "GML_DOWNLOAD_SCHEMA": "NO",
}
"""Settings of GDAL under which it fetches nothing."""
_NO_CODE = {"GDAL_VRT_ENABLE_PYTHON": "NO"}

_PLAIN_BANDS = frozenset({"", "VRTSourcedRasterBand", "VRTWarpedRasterBand"})
_PLAIN_DATASETS = frozenset({"", "VRTWarpedDataset"})
_FILES = frozenset({"SourceFilename", "SourceDataset"})
# Elements whose text is a description and never opened.
_WORDS = frozenset({"SRS", "Metadata", "MDI", "Description", "GCPList", "Category", "SourceSRS",
                    "TargetSRS", "UnitType"})  # fmt: skip
_TIFF_OR_HFA = (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+", b"EHFA_HEADER_TAG")


@contextmanager
def opened(path: Any, *, remote: bool = False, **settings: Any) -> Iterator[Any]:
    """Open a raster; the network is closed to GDAL unless `remote`.

    Parameters
    ----------
    path
        A file, or an address where `remote`.
    remote
        Whether anything may be fetched.
    **settings
        Further settings of GDAL meanwhile.
    """
    import rasterio

    with rasterio.Env(**settings, **reading_settings(remote=remote)), open_plain(path) as dataset:
        yield dataset


def reading_settings(*, remote: bool) -> dict[str, str]:
    """Return the settings of GDAL under which rasters are opened and read."""
    return _NO_CODE if remote else {**_NO_CODE, **CLOSED}


def open_plain(path: Any) -> Any:
    """Open a raster by the drivers that are let; wanted under `reading_settings`."""
    from rasterio.errors import NotGeoreferencedWarning
    from rasterio.io import DatasetReader

    with warnings.catch_warnings():
        warnings.simplefilter("ignore", NotGeoreferencedWarning)  # told by the reader of the header
        return DatasetReader(str(path), driver=list(DRIVERS))


def may_be_opened(path: Any, written: str, reach: Reach, findings: Findings) -> bool:
    """Tell whether a raster names nothing beyond the reach, and say what it names.

    Mosaics (VRT) are followed into the mosaics they name. Refused are remote parts, parts outside
    the folders, bands computed by code, bands cut raw out of any file, and overviews beside the
    file that are no rasters themselves.
    """
    if is_remote(str(path)):
        if reach.remote:
            return True
        findings.error(
            written,
            "The raster lies on the network, which is not reached unless you allow it.",
            "Download it, or allow remote rasters with --remote (RECLAIM_REMOTE=1).",
        )
        return False
    return _Mosaic(written, reach, findings).is_safe(Path(path), ())


class _Mosaic:
    """Follows one raster through all that it names."""

    def __init__(self, written: str, reach: Reach, findings: Findings) -> None:
        self._written = written
        self._reach = reach
        self._findings = findings
        self._parts = 0

    def is_safe(self, path: Path, above: tuple[Path, ...]) -> bool:
        begin = _begin(path)
        if b"<VRTDataset" in begin:
            return self._is_safe_mosaic(path, above)
        if above and begin.lstrip(b"\xef\xbb\xbf \t\r\n")[:1] in (b"<", b"{"):
            return self._refuse("names a file that is no raster but a description of one")
        return self._are_plain_companions(path)

    def _refuse(self, what: str, do: str = "Give the raster itself, as GeoTIFF.") -> bool:
        self._findings.error(self._written, f"The raster {what}, which is not followed.", do)
        return False

    def _are_plain_companions(self, path: Path) -> bool:
        for ending in (".ovr", ".msk"):
            beside = path.with_name(path.name + ending)
            if beside.is_file() and not _begin(beside).startswith(_TIFF_OR_HFA):
                return self._refuse(f"has a file '{beside.name}' that is no raster")
        described = path.with_name(path.name + ".aux.xml")
        if described.is_file() and b"OVERVIEW_FILE" in described.read_bytes()[: 1 << 22]:
            return self._refuse(f"names overviews in '{described.name}'")
        return True

    def _is_safe_mosaic(self, path: Path, above: tuple[Path, ...]) -> bool:
        if path.resolve() in above or len(above) > 8:
            return self._refuse("is a mosaic that names itself, or mosaics too deep")
        if is_too_large("vector_mb", path, self._written, self._findings) or has_doctype(path):
            return self._refuse("is a mosaic that is too large or has a document type")
        try:
            root = fromstring(path.read_bytes())  # noqa: S314  # no document type
        except (ParseError, ValueError):
            return self._refuse("is a mosaic that is no whole XML")
        if not self._is_safe_tree(root):
            return False
        chain = (*above, path.resolve())
        return all(self._is_safe_part(part, path, chain) for part in _named(root))

    def _is_safe_tree(self, root: Element) -> bool:
        for element in root.iter():
            kind = element.get("subClass", "")
            plain = _PLAIN_DATASETS if element.tag == "VRTDataset" else _PLAIN_BANDS
            if element.tag in {"VRTDataset", "VRTRasterBand"} and kind not in plain:
                return self._refuse(f"is computed or cut out by a mosaic ({kind})")
            if element.tag.startswith("PixelFunction") or element.tag == "OpenOptions":
                return self._refuse(f"is computed by a mosaic ({element.tag})")
            if element.tag in _WORDS or element.tag in _FILES:
                continue
            texts = [element.text or "", *element.attrib.values()]
            if any("://" in text or "/vsi" in text for text in texts):
                return self._refuse("is a mosaic with a remote part", _DOWNLOAD)
        return True

    def _is_safe_part(self, element: Element, mosaic: Path, chain: tuple[Path, ...]) -> bool:
        name = (element.text or "").strip()
        self._parts += 1
        if exceeds("mosaic_parts", self._parts, self._written, self._findings):
            return False
        if is_remote(name) or name.startswith(("<", "{")) or not name:
            if self._reach.remote and ("://" in name or name.startswith("/vsi")):
                return True
            return self._refuse("is a mosaic with a remote part", _DOWNLOAD)
        beside = element.get("relativeToVRT", element.get("relativetoVRT")) == "1"
        part = mosaic.resolve().parent / name if beside else Path(name)
        if not self._reach.allows(part):
            return self._refuse(
                f"is a mosaic whose part '{part.name}' lies outside the site's folder", _ALLOW
            )
        return not part.is_file() or self.is_safe(part, chain)


_DOWNLOAD = "Download the parts and build the mosaic anew."
_ALLOW = "Put the parts beside the site file, or allow their folder with --read-from FOLDER."


def _named(root: Element) -> list[Element]:
    return [element for element in root.iter() if element.tag in _FILES]


def _begin(path: Path) -> bytes:
    with path.open("rb") as file:
        return file.read(1024)


def is_block_too_large(dataset: Any, written: str, findings: Findings) -> bool:
    """Tell whether one block of a raster, which is unpacked whole, is above its ceiling."""
    import numpy as np

    rows, columns = dataset.block_shapes[0]
    size = np.dtype(dataset.dtypes[0]).itemsize
    bands = dataset.count if dataset.interleaving and dataset.interleaving.name == "pixel" else 1
    return exceeds("block_mb", rows * columns * size * bands / 1e6, written, findings)
