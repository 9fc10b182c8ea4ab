"""What is written says nothing of the machine and the person it was written by."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import zipfile
from pathlib import Path

DEMO = Path(__file__).parents[2] / "demo_site"
TELL_TALES = (b"zq-person", b"zq-folder")


def contents(folder: Path) -> dict[str, bytes]:
    """Return every file's bytes, those packed in workbooks too."""
    found = {}
    for path in folder.rglob("*"):
        if path.is_file():
            found[path.name] = path.read_bytes()
        if path.suffix == ".xlsx":
            with zipfile.ZipFile(path) as workbook:
                found |= {
                    f"{path.name}/{name}": workbook.read(name) for name in workbook.namelist()
                }
    return found


def test_no_file_holds_a_path_or_the_name_of_a_user(tmp_path: Path) -> None:
    home = tmp_path / "zq-person"
    site = home / "zq-folder" / "site"
    shutil.copytree(DEMO, site)
    text = (site / "site.toml").read_text(encoding="utf-8")
    assert 'file = "' in text
    text = text.replace('file = "', f'file = "{site}/', 1)
    lines = ["draws = 50" if line.startswith("draws") else line for line in text.split("\n")]
    (site / "site.toml").write_text("\n".join(lines), encoding="utf-8")
    run = subprocess.run(
        [sys.executable, "-c", "from reclaim.cli import main; main()", "estimate",
         str(site / "site.toml"), "--out", str(home / "results"), "--excel"],
        check=True, capture_output=True, cwd=tmp_path,
        env=os.environ | {"HOME": str(home), "USER": "zq-person", "LOGNAME": "zq-person"},
    )  # fmt: skip
    assert b"zq-person" not in run.stdout.replace(str(home / "results").encode(), b"")
    written = contents(home / "results")
    assert {"report.html", "estimate.json", "tables.xlsx", "site.gpkg", "thickness.tif"} <= set(
        written
    )
    for name, data in written.items():
        for tell_tale in TELL_TALES:
            assert tell_tale not in data, f"{name} holds {tell_tale!r}"
            assert tell_tale.decode().encode("utf-16-le") not in data, name
