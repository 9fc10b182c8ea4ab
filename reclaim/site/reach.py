"""How far the reading of a site may go: which folders, and whether to the network."""

from __future__ import annotations

import os
import re
from dataclasses import dataclass
from pathlib import Path

READ_FROM = "RECLAIM_READ_FROM"
"""Variable of the environment with further folders, parted as in PATH."""
REMOTE = "RECLAIM_REMOTE"
"""Variable of the environment that lets rasters named on the command line be remote (``1``)."""

_SCHEME = re.compile(r"^[A-Za-z][A-Za-z0-9+.\-]+:")  # two characters or more: "C:" is a drive


@dataclass(frozen=True, slots=True)
class Reach:
    """What may be read for one site.

    Attributes
    ----------
    folders
        Resolved folders that files must lie in; None for anywhere on this machine.
    remote
        Whether rasters may come over the network.
    """

    folders: tuple[Path, ...] | None
    remote: bool = False

    @classmethod
    def of_site(cls, folder: Path) -> Reach:
        """Return the reach of a site file: its folder, and those that the environment allows."""
        further = [name for name in os.environ.get(READ_FROM, "").split(os.pathsep) if name]
        return cls(tuple(place.resolve() for place in (folder, *map(Path, further))))

    @classmethod
    def of_command(cls) -> Reach:
        """Return the reach of a raster that the user named on the command line."""
        return cls(None, remote=os.environ.get(REMOTE) == "1")

    def allows(self, path: Path) -> bool:
        """Tell whether a file may be read, with links and ``..`` followed to their end."""
        if self.folders is None:
            return True
        place = path.resolve()
        return any(place.is_relative_to(folder) for folder in self.folders)


def is_remote(written: str) -> bool:
    """Tell whether a name is an address or a driver's own syntax and no plain path."""
    return bool(_SCHEME.match(written)) or written.replace("\\", "/").startswith("/vsi")
