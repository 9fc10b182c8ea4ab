"""A document in TOML, read whole, within its ceilings."""

from __future__ import annotations

import tomllib
from typing import TYPE_CHECKING, Any

from reclaim.site.ceilings import ceiling, exceeds, is_too_large

if TYPE_CHECKING:
    from pathlib import Path

    from reclaim.site.problems import Findings


def read_document(path: Path, written: str, findings: Findings) -> dict[str, Any] | None:
    """Return the tables of a TOML file; None, with an error, where it is none.

    Parameters
    ----------
    path, written
        The file, and what messages call it.
    findings
        Takes what is wrong with it.
    """
    try:
        if is_too_large("document_mb", path, written, findings):
            return None
        document = tomllib.loads(path.read_bytes().decode("utf-8-sig"))
    except UnicodeDecodeError:
        findings.error(written, "The file is not UTF-8 text.", "Save it as UTF-8.")
    except tomllib.TOMLDecodeError as error:
        findings.error(
            written,
            f"This is not valid TOML: {error}.",
            "Correct that line; write text in double quotes and paths with forward slashes.",
        )
    except (RecursionError, ValueError) as error:
        # Lists nested by the thousand, and whole numbers of thousands of digits.
        what = (
            "is nested too deep" if isinstance(error, RecursionError) else "has a number too long"
        )
        findings.error(written, f"The file {what}.", "Write it as the documentation does.")
    except OSError as error:
        findings.error(written, f"The file cannot be read: {error.strerror}.", "Check the path.")
    else:
        if not exceeds("document_depth", _depth(document), written, findings):
            return document
    return None


def _depth(document: dict[str, Any]) -> int:
    """Return the levels of tables and lists, counted no further than just above the ceiling."""
    level: list[Any] = [document]
    depth = 0
    while level and depth <= ceiling("document_depth"):
        depth += 1
        inner: list[Any] = []
        for part in level:
            inner.extend(part.values() if isinstance(part, dict) else part)
        level = [part for part in inner if isinstance(part, dict | list)]
    return depth
