"""Whole runs of the command line as processes of their own, on a small copy of the demo site."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any

import pytest

from reclaim.demo import write_demo_site

if TYPE_CHECKING:
    from pathlib import Path

START = "from reclaim.cli import main; main()"
DAY = "2025-06-01T12:00:00Z"
"""What GDAL writes into a GeoPackage as its time of change, so that files can be compared."""


def command(*arguments: object, start: str = START) -> list[str]:
    return [sys.executable, "-c", start, *map(str, arguments)]


def environment(**changes: str) -> dict[str, str]:
    return {**os.environ, "OGR_CURRENT_DATE": DAY, **changes}


def estimate(site: Path, out: Path, **changes: str) -> None:
    subprocess.run(
        command("estimate", site, "--out", out, "--quiet"), env=environment(**changes), check=True
    )


def content(folder: Path) -> dict[str, Any]:
    """Return what every file of a result holds, less the day and the seconds it took.

    A GeoPackage counts its transactions in its head (bytes 24 and 92 of the SQLite file format);
    the driver takes some more or fewer of them from run to run.
    """
    found: dict[str, Any] = {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in folder.rglob("*")
        if path.is_file()
    }
    for name in [name for name in found if name.endswith(".gpkg")]:
        data = found[name]
        found[name] = data[:24] + bytes(4) + data[28:92] + bytes(4) + data[96:]
    document = json.loads(found["estimate.json"])
    assert document["run"].pop("seconds")
    day = document["run"].pop("made_on")
    for name in [name for name in found if name.endswith(".html")]:
        text = found[name].replace(day.encode(), b"DAY")
        found[name] = re.sub(rb"the calculation took .*? s\.", b"", text)
    return {**found, "estimate.json": json.dumps(document, sort_keys=True)}


def write_small_site(folder: Path, seed: int = 1961) -> Path:
    """Write the demo site with few draws and return its site file."""
    write_demo_site(folder)
    path = folder / "site.toml"
    text = path.read_text(encoding="utf-8")
    assert "draws = 2000" in text
    assert "seed = 1961" in text
    text = text.replace("draws = 2000", "draws = 128").replace("seed = 1961", f"seed = {seed}")
    path.write_text(text, encoding="utf-8")
    return path


@pytest.fixture
def small_site(tmp_path: Path) -> Path:
    return write_small_site(tmp_path / "site")


@pytest.fixture(scope="session")
def runs() -> SimpleNamespace:
    """The functions above; test folders are not packages, so they cannot be imported."""
    return SimpleNamespace(
        start=START,
        command=command,
        environment=environment,
        estimate=estimate,
        content=content,
        write_small_site=write_small_site,
    )
