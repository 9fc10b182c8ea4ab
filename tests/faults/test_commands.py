"""Commands that are stopped, refused or short of disk: what is told and what is left."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from hashlib import sha256
from typing import TYPE_CHECKING

import geopandas
import numpy as np
import pytest
from click.testing import CliRunner
from shapely.geometry import box

from reclaim.cli import cli
from reclaim.portfolio import Store
from reclaim.report.place import claimed

if TYPE_CHECKING:
    from pathlib import Path
    from types import SimpleNamespace

# Root may write anywhere; without its capabilities the rights of files hold for it too.
UNPRIVILEGED = """
import ctypes, sys
if sys.platform == "linux":
    header, none = (ctypes.c_uint32 * 2)(0x20080522, 0), (ctypes.c_uint32 * 6)()
    assert ctypes.CDLL(None).capset(header, none) == 0
from reclaim.cli import main
main()
"""

COMMANDS = (
    *("estimate", "portfolio", "new"),
    *(pytest.param(name, marks=pytest.mark.slow) for name in ("cores", "demo")),
)
OLD = '{"old": true}'


def old_result(place: Path) -> Path:
    place.mkdir(parents=True)
    (place / "estimate.json").write_text(OLD)
    return place


def state(folder: Path) -> dict[str, tuple[str, int, int]]:
    return {
        str(path.relative_to(folder)): (
            sha256(path.read_bytes()).hexdigest(),
            path.stat().st_mtime_ns,
            path.stat().st_mode,
        )
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


@pytest.mark.skipif(os.name != "posix", reason="rights of POSIX")
def test_inputs_that_may_only_be_read_are_enough_and_stay_as_they_are(
    small_site: Path, tmp_path: Path, runs: SimpleNamespace
) -> None:
    folder = small_site.parent
    for path in folder.iterdir():
        path.chmod(0o444)
    folder.chmod(0o555)
    before = state(folder)
    try:
        run = subprocess.run(
            runs.command("estimate", small_site, "--out", tmp_path / "o", start=UNPRIVILEGED),
            capture_output=True,
            text=True,
            check=False,
        )
        assert run.returncode == 0, run.stderr
        assert state(folder) == before
    finally:
        folder.chmod(0o755)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["o", "site"]


@pytest.mark.skipif(os.name != "posix", reason="rights of POSIX")
@pytest.mark.parametrize("command", COMMANDS)
def test_a_place_that_may_only_be_read_is_told(
    small_site: Path, tmp_path: Path, runs: SimpleNamespace, command: str
) -> None:
    closed = tmp_path / "closed"
    closed.mkdir()
    old_result(closed / "results")
    closed.chmod(0o555)
    place = closed / ("results" if command in {"estimate", "cores"} else "fresh")
    words = (
        [command, place] if command in {"demo", "new"} else [command, small_site, "--out", place]
    )
    try:
        run = subprocess.run(
            runs.command(*words, start=UNPRIVILEGED), capture_output=True, text=True, check=False
        )
    finally:
        closed.chmod(0o755)
    assert run.returncode == 2, run.stderr
    assert "Permission denied" in run.stderr
    assert "Traceback" not in run.stderr
    assert [path.name for path in closed.iterdir()] == ["results"]
    assert (closed / "results" / "estimate.json").read_text() == OLD


@pytest.mark.parametrize("command", COMMANDS)
def test_a_place_that_another_run_holds_is_refused(
    small_site: Path, tmp_path: Path, runs: SimpleNamespace, command: str
) -> None:
    place = tmp_path / "results"
    held = place
    words = (
        [command, place] if command in {"demo", "new"} else [command, small_site, "--out", place]
    )
    if command == "portfolio":
        held = Store(place).folder / "sites"
    elif command not in {"demo", "new"}:
        old_result(place)
    with claimed(held, "results"):
        run = subprocess.run(runs.command(*words), capture_output=True, text=True, check=False)
        assert run.returncode == 2, run.stderr
        assert f"Another run (process {os.getpid()}) is writing here." in run.stderr
    if command in {"estimate", "cores"}:
        assert (place / "estimate.json").read_text() == OLD
    elif command in {"demo", "new"}:
        assert not place.exists()


def test_what_a_killed_portfolio_left_is_cleared_and_nothing_else(tmp_path: Path) -> None:
    store = Store(tmp_path / "ranked")
    for left in (".new-ranking.csv", "sites/0a/.new-a.json", ".new-photo.jpg", "mine/.new-a"):
        (store.folder / left).parent.mkdir(exist_ok=True)
        (store.folder / left).write_text("half")
    (store.folder / "reports" / ".new-abc").mkdir(parents=True)
    (store.folder / "reports" / ".new-abc" / "report.html").write_text("half")
    (store.folder / "notes.txt").write_text("mine")
    with store.held():
        found = sorted(path.name for path in store.folder.rglob("*"))
    assert found == [
        ".new-a", ".new-photo.jpg", ".sites.claim", "0a", "mine", "notes.txt", "reports", "sites",
    ]  # fmt: skip
    assert not (store.folder / ".sites.claim").exists()


def test_commands_that_only_look_write_nothing(small_site: Path, tmp_path: Path) -> None:
    result = old_result(tmp_path / "results")
    before = state(tmp_path)
    for words in (
        ["check", str(small_site)],
        ["cores", str(small_site)],
        ["explain", "waste"],
        ["compare", str(result), str(result)],
    ):
        CliRunner().invoke(cli, words)
        assert state(tmp_path) == before


@pytest.mark.skipif(os.name != "posix", reason="signals of POSIX")
@pytest.mark.parametrize("ignored", [True, False])
def test_a_run_told_to_outlive_its_terminal_does(ignored: bool, runs: SimpleNamespace) -> None:
    """As `nohup` does it: the hang-up is ignored before the program starts."""
    start = (
        "import os, signal\n"
        f"signal.signal(signal.SIGHUP, signal.{'SIG_IGN' if ignored else 'SIG_DFL'})\n"
        "import click\n"
        "from reclaim.ending import run\n"
        "run(click.Command('c', callback=lambda: os.kill(os.getpid(), signal.SIGHUP)))\n"
    )
    run = subprocess.run(runs.command(start=start), capture_output=True, text=True, check=False)
    assert run.returncode == (0 if ignored else 128 + signal.SIGHUP)
    assert run.stderr == ("" if ignored else "Stopped; nothing half-done was left.\n")


@pytest.mark.slow
@pytest.mark.skipif(os.name != "posix", reason="signals of POSIX")
@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP])
def test_stops_at_many_moments_end_alike(
    small_site: Path, tmp_path: Path, runs: SimpleNamespace, number: int
) -> None:
    place = tmp_path / "out" / "results"
    old_result(place)
    began = time.monotonic()
    runs.estimate(small_site, tmp_path / "first")
    needed_s = time.monotonic() - began
    moments = np.random.default_rng(int(number))
    finished = 0
    for _ in range(8):
        run = subprocess.Popen(
            runs.command("estimate", small_site, "--out", place, "--quiet"),
            stderr=subprocess.PIPE,
            text=True,
        )
        while run.poll() is None and not (place.parent / ".results.claim").exists():
            time.sleep(0.01)
        time.sleep(needed_s * 0.8 * moments.random())
        run.send_signal(number)
        _, told = run.communicate(timeout=120)
        if run.returncode == 0:
            finished += 1
            assert told == ""
        else:
            assert run.returncode == (130 if number == signal.SIGINT else 128 + number)
            assert told.strip() == "Stopped; nothing half-done was left."
        whole = runs.content(place) if finished else (place / "estimate.json").read_text()
        assert whole == (runs.content(tmp_path / "first") if finished else OLD)
        assert [path.name for path in place.parent.iterdir()] == ["results"]
    assert finished < 8


@pytest.mark.slow
@pytest.mark.skipif(sys.platform != "linux", reason="a small disk in memory, as on Linux")
def test_a_disk_that_fills_up_leaves_the_earlier_result(
    small_site: Path, tmp_path: Path, runs: SimpleNamespace
) -> None:
    disk = tmp_path / "disk"
    disk.mkdir()
    mounted = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=400k", "tmpfs", str(disk)],  # noqa: S607
        capture_output=True,
        check=False,
    )
    if mounted.returncode:
        pytest.skip("no right to mount a small disk")
    try:
        old_result(disk / "results")
        run = subprocess.run(
            runs.command("estimate", small_site, "--out", disk / "results"),
            capture_output=True,
            text=True,
            check=False,
        )
        assert run.returncode == 2, run.stderr
        assert "Writing failed: No space left on device." in run.stderr
        assert "Traceback" not in run.stderr
        assert (disk / "results" / "estimate.json").read_text() == OLD
        assert [path.name for path in disk.iterdir()] == ["results"]
    finally:
        subprocess.run(["umount", str(disk)], check=True)  # noqa: S607


def test_a_layer_is_screened_and_its_folder_let_go(tmp_path: Path) -> None:
    """A layer that cannot be screened leaves no claim behind."""
    frame = geopandas.GeoDataFrame({"n": [1]}, geometry=[box(0, 0, 9, 9)], crs="EPSG:32631")
    frame.to_file(tmp_path / "sites.gpkg")
    before = state(tmp_path)
    shown = CliRunner().invoke(
        cli,
        ["portfolio", str(tmp_path / "sites.gpkg"), "--survey", str(tmp_path / "none.tif"), "--out",
         str(tmp_path / "out")],
    )  # fmt: skip
    assert shown.exit_code == 2, shown.output
    assert state(tmp_path) == before
