"""What an XML file is, told from its head without reading the rest."""

from __future__ import annotations

from typing import TYPE_CHECKING
from xml.parsers import expat

if TYPE_CHECKING:
    from pathlib import Path


def has_doctype(path: Path) -> bool:
    """Tell whether a file has a document type declaration, which can only precede the root."""
    return _head(path)[0]


def root_name(path: Path) -> str:
    """Return the name of the root element without its namespace, empty where there is none."""
    try:
        return _head(path)[1].rpartition(":")[2]
    except expat.ExpatError:
        return ""


def _head(path: Path) -> tuple[bool, str]:
    doctypes: list[str] = []
    roots: list[str] = []
    parser = expat.ParserCreate()

    def on_doctype(name: str, *_: object) -> None:
        doctypes.append(name)
        raise _SeenError

    def on_root(name: str, _: object) -> None:
        roots.append(name)
        raise _SeenError

    parser.StartDoctypeDeclHandler = on_doctype
    parser.StartElementHandler = on_root
    try:
        with path.open("rb") as file:
            while piece := file.read(4096):
                parser.Parse(piece, False)
    except _SeenError:
        pass
    return bool(doctypes), roots[0] if roots else ""


class _SeenError(Exception):
    """What was looked for was seen; nothing after it is parsed, no entity expanded."""
