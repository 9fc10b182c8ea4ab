"""The same inputs give the same numbers, to the last bit, wherever and however they are run."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

DEMO = Path(__file__).parents[2] / "demo_site"
THREADS = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")

# What the run itself is like, and nothing else, may differ.
RUNNER = """
import locale
try:
    locale.setlocale(locale.LC_ALL, "")
except locale.Error:
    pass
from pathlib import Path
import reclaim
from reclaim.report.results import as_json, results
found = reclaim.estimate(reclaim.read_site(Path("site/site.toml")))
Path("estimate.json").write_text(as_json(results(found)), encoding="utf-8")
"""


def german(folder: Path) -> dict[str, str]:
    """Return the settings of a locale with a decimal comma, made here; none where it cannot be."""
    tool = shutil.which("localedef")
    if tool is None:
        return {}
    command = [tool, "-i", "de_DE", "-f", "UTF-8", str(folder / "de_DE.UTF-8")]
    made = subprocess.run(command, check=False, capture_output=True)
    if made.returncode:
        return {}
    return {"LOCPATH": str(folder), "LC_ALL": "de_DE.UTF-8"}


def result(folder: Path, draws: int, **settings: str) -> dict[str, object]:
    """Run the demo site from a folder of its own and return the document without its run."""
    site = folder / "site"
    shutil.copytree(DEMO, site)
    text = (site / "site.toml").read_text(encoding="utf-8")
    lines = [f"draws = {draws}" if line.startswith("draws") else line for line in text.split("\n")]
    assert f"draws = {draws}" in lines
    (site / "site.toml").write_text("\n".join(lines), encoding="utf-8")
    subprocess.run(
        [sys.executable, "-c", RUNNER], check=True, cwd=folder, env=os.environ | settings
    )
    document = json.loads((folder / "estimate.json").read_text(encoding="utf-8"))
    del document["run"]
    return document


def test_no_digit_hangs_on_place_time_zone_locale_threads_or_hashes(tmp_path: Path) -> None:
    one, other = tmp_path / "a", tmp_path / "Ordner mit Leerzeichen und Ümläuten"
    one.mkdir()
    other.mkdir()
    few = dict.fromkeys(THREADS, "1") | {"TZ": "UTC", "PYTHONHASHSEED": "0", "LC_ALL": "C"}
    many = dict.fromkeys(THREADS, "4") | {
        "TZ": "Asia/Kathmandu", "PYTHONHASHSEED": "4711", **german(tmp_path),
    }  # fmt: skip
    with ThreadPoolExecutor(2) as pool:
        first, second = pool.map(
            lambda job: result(job[0], 50, **job[1]), ((one, few), (other, many))
        )
    assert list(first) == list(second)
    for key in first:
        assert first[key] == second[key], key


@pytest.mark.slow
@pytest.mark.parametrize("number", range(6))
def test_no_digit_hangs_on_any_one_of_them(tmp_path: Path, number: int) -> None:
    changes = (
        dict.fromkeys(THREADS, "2"), dict.fromkeys(THREADS, "3"), {"PYTHONHASHSEED": "99"},
        {"TZ": "America/St_Johns"}, german(tmp_path) or {"LC_ALL": "C.utf8"}, {"LC_ALL": "POSIX"},
    )  # fmt: skip
    usual = dict.fromkeys(THREADS, "1") | {"TZ": "UTC", "PYTHONHASHSEED": "0", "LC_ALL": "C"}
    one, other = tmp_path / "a", tmp_path / "b"
    one.mkdir()
    other.mkdir()
    assert result(one, 2000, **usual) == result(other, 2000, **(usual | changes[number]))
