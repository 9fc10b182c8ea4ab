"""The same inputs, seed and versions give the same files, wherever and however they are run."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from pathlib import Path
    from types import SimpleNamespace

ONE_THREAD = {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1", "MKL_NUM_THREADS": "1"}
FOUR_THREADS = {"OMP_NUM_THREADS": "4", "OPENBLAS_NUM_THREADS": "4", "MKL_NUM_THREADS": "4"}

IN_A_LOCALE = """
import locale
locale.setlocale(locale.LC_ALL, "")
assert locale.localeconv()["decimal_point"] == ","
from reclaim.cli import main
main()
"""

WITH_CORES = """
import os
os.cpu_count = lambda: {cores}
from reclaim.cli import main
main()
"""


@pytest.fixture
def german(tmp_path: Path) -> dict[str, str]:
    """Settings of a system that writes a decimal comma."""
    program = shutil.which("localedef")
    if program is None:
        pytest.skip("no localedef here to make a locale with")
    home = tmp_path / "locales"
    home.mkdir()
    made = subprocess.run(
        [program, "-i", "de_DE", "-f", "UTF-8", str(home / "de_DE.UTF-8")],
        capture_output=True,
        check=False,
    )
    if made.returncode:
        pytest.skip("the sources of the locale are not here")
    return {"LOCPATH": str(home), "LC_ALL": "de_DE.UTF-8", "LANG": "de_DE.UTF-8"}


def written(
    runs: SimpleNamespace, site: Path, out: Path, start: str, changes: dict[str, str]
) -> dict[str, object]:
    subprocess.run(
        runs.command("estimate", site, "--out", out, "--quiet", start=start),
        env=runs.environment(**changes),
        check=True,
    )
    return dict(runs.content(out))


def assert_same(one: dict[str, object], other: dict[str, object]) -> None:
    assert one.keys() == other.keys()
    assert [name for name in one if one[name] != other[name]] == []


def test_threads_place_hash_seed_time_zone_and_cores_change_nothing(
    small_site: Path, tmp_path: Path, runs: SimpleNamespace
) -> None:
    elsewhere = tmp_path / "another place, with ü"
    shutil.copytree(small_site.parent, elsewhere)
    one = written(
        runs, small_site, tmp_path / "one", WITH_CORES.format(cores=1),
        {**ONE_THREAD, "PYTHONHASHSEED": "1", "TZ": "UTC"},
    )  # fmt: skip
    other = written(
        runs, elsewhere / "site.toml", tmp_path / "two", WITH_CORES.format(cores=4),
        {**FOUR_THREADS, "PYTHONHASHSEED": "2", "TZ": "UTC+1"},
    )  # fmt: skip
    assert_same(one, other)


@pytest.mark.slow
def test_a_decimal_comma_of_the_system_changes_nothing(
    small_site: Path, tmp_path: Path, runs: SimpleNamespace, german: dict[str, str]
) -> None:
    usual = {"LC_ALL": "C.UTF-8"}
    one = written(runs, small_site, tmp_path / "one", runs.start, usual)
    other = written(runs, small_site, tmp_path / "two", IN_A_LOCALE, german)
    assert_same(one, other)


@pytest.mark.slow
@pytest.mark.parametrize("draws", [2000, 6000])
def test_threads_change_nothing_with_many_draws(
    small_site: Path, tmp_path: Path, runs: SimpleNamespace, draws: int
) -> None:
    text = small_site.read_text(encoding="utf-8")
    small_site.write_text(text.replace("draws = 128", f"draws = {draws}"), encoding="utf-8")
    one = written(runs, small_site, tmp_path / "one", runs.start, ONE_THREAD)
    other = written(runs, small_site, tmp_path / "two", runs.start, FOUR_THREADS)
    assert_same(one, other)


@pytest.mark.slow
@pytest.mark.skipif(sys.platform == "win32", reason="no such locale")
def test_output_where_the_system_knows_ascii_alone(
    small_site: Path, tmp_path: Path, runs: SimpleNamespace
) -> None:
    plain = {"LC_ALL": "C", "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0"}
    one = written(runs, small_site, tmp_path / "one", runs.start, {"LC_ALL": "C.UTF-8"})
    assert_same(one, written(runs, small_site, tmp_path / "two", runs.start, plain))
    assert os.listdir(tmp_path / "two")  # noqa: PTH208
