"""Files named in the site file: found in its folder, local only, each hashed once."""

from __future__ import annotations

from hashlib import file_digest
from pathlib import Path
from typing import TYPE_CHECKING

from reclaim.site.model import InputFile
from reclaim.site.reach import Reach, is_remote

if TYPE_CHECKING:
    from collections.abc import Callable

    from reclaim.site.problems import Findings


class LocalFiles:
    """Finds files relative to the site file and remembers what was used.

    Parameters
    ----------
    site_path
        The site file.
    findings
        Where missing and refused files are told.
    digest
        Gives the SHA-256 of a file; `sha256` by default.
    """

    def __init__(
        self, site_path: Path, findings: Findings, digest: Callable[[Path], str] | None = None
    ) -> None:
        self._digest = digest or sha256
        self._folder = site_path.parent
        self.reach = Reach.of_site(self._folder)
        self._site_name = site_path.name
        self._findings = findings
        self._inputs = (
            {site_path.name: InputFile(site_path.name, self._digest(site_path))}
            if site_path.is_file()
            else {}
        )

    @property
    def inputs(self) -> tuple[InputFile, ...]:
        """Every file found so far, the site file first."""
        return tuple(self._inputs.values())

    def add(self, found: InputFile) -> None:
        """Remember an input that was found elsewhere."""
        self._inputs[found.path] = found

    def find(self, written: str, key: str) -> Path | None:
        """Return the path of a file named under `key`, or None after saying what is wrong."""
        where = f"{self._site_name} {key}"
        if is_remote(written):
            self._findings.error(
                where,
                f"'{written}' is not a local file.",
                "Download the file, put it beside the site file and name it here.",
            )
            return None
        path = self._folder / written
        if "\0" in written or any(not self.reach.allows(part) for part in _parts(path)):
            self._findings.error(
                where,
                f"'{shown(written)}' leads outside the folder of {self._site_name}.",
                "Put the file beside the site file, or allow its folder with --read-from FOLDER.",
            )
            return None
        if not path.is_file():
            kind = "is a folder, not a file" if path.is_dir() else "does not exist"
            self._findings.error(
                where,
                f"The file '{shown(written)}' {kind}.",
                f"Put it there, or correct the path; it is relative to {self._site_name}.",
            )
            return None
        for part in _parts(path):
            name = shown(written) if part == path else part.name
            if name not in self._inputs:
                self._inputs[name] = InputFile(name, self._digest(part))
        return path


def shown(written: str) -> str:
    """Return a path as the reader knows it: as written, but never an absolute one."""
    path = Path(written)
    return path.name if path.is_absolute() else path.as_posix()


def sha256(path: Path) -> str:
    """Return the SHA-256 of a file as hexadecimal text, read in pieces."""
    with path.open("rb") as file:
        return file_digest(file, "sha256").hexdigest()


def _parts(path: Path) -> list[Path]:
    """Return the files that belong together: a shapefile is at least three."""
    if path.suffix.lower() != ".shp" or not path.is_file():
        return [path]
    needed = {".shp", ".shx", ".dbf", ".prj", ".cpg"}
    return sorted(
        part
        for part in path.parent.iterdir()
        if part.stem == path.stem and part.suffix.lower() in needed
    )
