"""Hand out the demo site: an invented old dump, with every file a real one would have."""

from __future__ import annotations

import shutil
from pathlib import Path

import reclaim

_SUFFIXES = {".toml", ".csv", ".geojson", ".tif"}


def write_demo_site(folder: Path) -> list[str]:
    """Copy the demo site's files into a new or empty folder and return their names.

    Raises
    ------
    reclaim.SiteError
        Where the folder has something in it already or cannot be written.
    """
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
    names = sorted(file.name for file in _home().iterdir() if file.suffix in _SUFFIXES)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name in names:
            shutil.copyfile(_home() / name, folder / name)
    except OSError as error:
        raise SiteError(
            [
                Check(
                    "error",
                    str(folder),
                    f"The folder cannot be written: {error.strerror}.",
                    "Name a folder that you may write to.",
                )
            ]
        ) from error
    return names


def _home() -> Path:
    """Return where the demo site lies: inside an installed package, or beside it in a clone."""
    package = Path(reclaim.__file__).parent
    inside = package / "demo_site"
    return inside if inside.is_dir() else package.parent / "demo_site"
