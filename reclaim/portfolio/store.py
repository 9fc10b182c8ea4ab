"""Results of single sites on disk: one file each, written whole or not at all."""

from __future__ import annotations

import json
import os
from contextlib import contextmanager, suppress
from shutil import rmtree
from typing import TYPE_CHECKING, Any

from reclaim.portfolio.sites import file_name
from reclaim.site import Check, SiteError

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping
    from pathlib import Path

MARK = "portfolio.json"
"""The file by which an earlier result is known."""

_SITES = "sites"
_DRAFT = ".new-"
_DRAFTS = tuple(
    place + _DRAFT + name
    for place, name in (
        ("", "ranking.*"), ("", "problems.csv"), ("", "overview.html"), ("", "map.png"),
        ("", MARK), ("sites/*/", "*"), ("reports/", "*"),
    )
)  # fmt: skip
"""Where the drafts of a killed run lie; anything else is the user's."""


def as_stored(document: Mapping[str, Any]) -> str:
    """Return the result of a site as it is stored."""
    return json.dumps(document, ensure_ascii=False, separators=(",", ":"), allow_nan=False)


class Store:
    """The folder of a portfolio's results.

    Parameters
    ----------
    folder
        It may be missing, empty, or hold an earlier result, which is gone on with.

    Raises
    ------
    SiteError
        Where it is a file, holds anything else, or cannot be written.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        if folder.is_file():
            raise _refusal(folder, "This is a file, not a folder.", "Name another folder.")
        known = (folder / MARK).is_file() or (folder / _SITES).is_dir()
        if folder.is_dir() and any(folder.iterdir()) and not known:
            raise _refusal(
                folder,
                f"The folder is not empty and holds no earlier portfolio (no {MARK}).",
                "Name an empty or a new folder; nothing in this one was touched.",
            )
        try:
            (folder / _SITES).mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise _refusal(
                folder, f"The folder cannot be made: {error.strerror}.", "Name another place."
            ) from error

    @contextmanager
    def held(self) -> Iterator[None]:
        """Hold the folder for this run, and clear away what killed runs left unfinished.

        Raises
        ------
        SiteError
            Where another run holds it.
        """
        from reclaim.report.place import claimed

        with claimed((self.folder / _SITES).resolve(), str(self.folder)):
            for draft in (path for names in _DRAFTS for path in self.folder.glob(names)):
                if draft.is_dir() and not draft.is_symlink():
                    rmtree(draft, ignore_errors=True)
                else:
                    draft.unlink(missing_ok=True)
            yield

    def place(self, site_id: str) -> Path:
        """Return the file of a site's result; sites are spread over folders of their own."""
        name = file_name(site_id)
        return self.folder / _SITES / name[-2:] / f"{name}.json"

    def read(self, site_id: str) -> dict[str, Any] | None:
        """Return the stored result of a site; None where there is none, or a broken one."""
        try:
            document = json.loads(self.place(site_id).read_text(encoding="utf-8"))
        except (OSError, ValueError):
            return None
        whole = isinstance(document, dict) and {"key", "row", "draws"} <= document.keys()
        return document if whole else None

    def key_of(self, site_id: str) -> str:
        """Return the key of a site's stored result; empty without one."""
        found = self.read(site_id)
        return "" if found is None else str(found["key"])

    def write(self, site_id: str, text: str) -> None:
        """Store the result of a site, as `as_stored` has it; it appears whole."""
        place = self.place(site_id)
        with self.writing(place) as draft:
            draft.write_text(text, encoding="utf-8")

    def forget(self, site_id: str) -> None:
        """Take away the result of a site that can no longer be worked out."""
        self.place(site_id).unlink(missing_ok=True)

    def forget_others(self, site_ids: Iterable[str]) -> None:
        """Take away results of sites that are no longer in the portfolio."""
        kept = {self.place(site_id) for site_id in site_ids}
        for path in (self.folder / _SITES).glob("*/*"):
            if path not in kept:
                path.unlink()

    @contextmanager
    def writing(self, place: Path) -> Iterator[Path]:
        """Give a file to write beside its place; when all went well, put it in place.

        Raises
        ------
        SiteError
            Where the file system refuses.
        """
        draft = place.with_name(f"{_DRAFT}{place.name}")
        try:
            place.parent.mkdir(parents=True, exist_ok=True)
            yield draft
            os.replace(draft, place)  # noqa: PTH105 - replaces on every system
        except OSError as error:
            with suppress(OSError):
                draft.unlink(missing_ok=True)
            raise self.refusal(place, error) from error
        except BaseException:
            with suppress(OSError):
                draft.unlink(missing_ok=True)
            raise

    @staticmethod
    def refusal(place: Path, error: OSError) -> SiteError:
        """Return what to tell the user where the file system refuses."""
        return _refusal(
            place,
            f"Writing failed: {error.strerror}.",
            "Free some space; what is done so far is kept, and the next run goes on from it.",
        )


def _refusal(place: Path, what: str, what_to_do: str) -> SiteError:
    return SiteError([Check("error", place.name or str(place), what, what_to_do)])
