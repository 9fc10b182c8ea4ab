"""A place is held by one run, filled in one step, and never left with half a result."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from typing import TYPE_CHECKING

import numpy as np
import pytest

from reclaim.report.place import built_beside, claimed
from reclaim.site import SiteError

if TYPE_CHECKING:
    from pathlib import Path

OURS = ("estimate.json", "tables")

HOLDER = """
import sys, time
from pathlib import Path
from reclaim.report.place import claimed
with claimed(Path(sys.argv[1]), "out"):
    print("held", flush=True)
    time.sleep(60)
"""

LIMITED = """
import resource, signal
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
resource.setrlimit(resource.RLIMIT_FSIZE, (200_000, 200_000))
from reclaim.cli import main
main()
"""

WRITER = """
import itertools, sys
from pathlib import Path
from reclaim.report import place
if {in_two_steps}:
    place._exchanged = lambda one, other: False
for version in itertools.count():
    with place.built_beside(Path(sys.argv[1]), "out", ("estimate.json", "tables")) as folder:
        (folder / "tables").mkdir()
        for number in range(6):
            (folder / "tables" / f"{{number}}.csv").write_text(f"{{version}}\\n" * 2000)
        (folder / "estimate.json").write_text(f"{{version}}\\n")
    print(version, flush=True)
"""


def build(place: Path, version: str) -> None:
    with built_beside(place, "out", OURS) as folder:
        (folder / "tables").mkdir()
        (folder / "tables" / "a.csv").write_text(version)
        (folder / "estimate.json").write_text(version)


def beside(place: Path) -> list[str]:
    return sorted(path.name for path in place.parent.iterdir() if path != place)


def version_of(place: Path) -> str:
    """Return the version that all six tables and the numbers agree on."""
    found = {(place / "estimate.json").read_text().strip()}
    tables = sorted((place / "tables").iterdir())
    assert len(tables) == 6
    for table in tables:
        lines = table.read_text().splitlines()
        assert len(lines) == 2000
        found.update(lines)
    assert len(found) == 1
    return found.pop()


@pytest.mark.parametrize("in_two_steps", [False, True])
@pytest.mark.parametrize("kills", [5, pytest.param(50, marks=pytest.mark.slow)])
def test_kills_leave_a_whole_result(tmp_path: Path, kills: int, in_two_steps: bool) -> None:
    place = tmp_path / "results"
    moments = np.random.default_rng(4)
    build(place, "before")
    (place / "notes.txt").write_text("mine")
    for _ in range(kills):
        run = subprocess.Popen(
            [sys.executable, "-c", WRITER.format(in_two_steps=in_two_steps), str(place)],
            stdout=subprocess.PIPE,
            text=True,
        )
        assert run.stdout is not None
        first = run.stdout.readline()
        time.sleep(moments.random() * 0.05)
        run.kill()
        done = [first, *run.communicate()[0].splitlines()]
        if not place.exists():
            # Only where the system cannot exchange: out of its place, and put back by the next.
            assert in_two_steps
            [kept] = [path for path in tmp_path.iterdir() if ".old-" in path.name]
            version_of(kept)
        else:
            assert int(version_of(place)) - int(done[-1]) in {0, 1}
            assert (place / "notes.txt").read_text() == "mine"
    build(place, "after")
    assert (place / "estimate.json").read_text() == "after"
    assert (place / "notes.txt").read_text() == "mine"
    assert beside(place) == []


def test_a_place_in_use_is_refused_and_left_alone(tmp_path: Path) -> None:
    place = tmp_path / "results"
    build(place, "before")
    holder = subprocess.Popen(
        [sys.executable, "-c", HOLDER, str(place)], stdout=subprocess.PIPE, text=True
    )
    assert holder.stdout is not None
    try:
        assert holder.stdout.readline() == "held\n"
        with pytest.raises(SiteError, match=rf"Another run \(process {holder.pid}\) is writing"):
            build(place, "other")
        assert (place / "estimate.json").read_text() == "before"
    finally:
        holder.kill()
        holder.communicate()
    build(place, "next")
    assert (place / "estimate.json").read_text() == "next"
    assert beside(place) == []


def test_a_process_may_hold_a_place_twice_over(tmp_path: Path) -> None:
    place = tmp_path / "results"
    with claimed(place, "out"), claimed(place, "out"):
        build(place, "a")
        assert beside(place) == [".results.claim"]
    assert beside(place) == []


@pytest.mark.parametrize("exchange", [True, False])
def test_the_users_files_are_in_the_new_result_too(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, exchange: bool
) -> None:
    if not exchange:
        monkeypatch.setattr("reclaim.report.place._exchanged", lambda *_: False)
    place = tmp_path / "results"
    build(place, "a")
    (place / "photos" / "2026").mkdir(parents=True)
    (place / "photos" / "2026" / "gate.jpg").write_bytes(b"jpg")
    (place / "notes.txt").write_text("mine")
    (place / "link").symlink_to("notes.txt")
    build(place, "b")
    assert (place / "tables" / "a.csv").read_text() == "b"
    assert (place / "photos" / "2026" / "gate.jpg").read_bytes() == b"jpg"
    assert (place / "notes.txt").read_text() == "mine"
    assert (place / "link").readlink().name == "notes.txt"
    assert beside(place) == []


@pytest.mark.parametrize("exchange", [True, False])
@pytest.mark.parametrize("error", [KeyboardInterrupt, RuntimeError, SystemExit])
def test_a_run_broken_off_leaves_the_earlier_result(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, error: type[BaseException], exchange: bool
) -> None:
    if not exchange:
        monkeypatch.setattr("reclaim.report.place._exchanged", lambda *_: False)
    place = tmp_path / "results"
    build(place, "a")

    def broken() -> None:
        with built_beside(place, "out", OURS) as folder:
            (folder / "estimate.json").write_text("half")
            raise error

    with pytest.raises(error):
        broken()
    assert (place / "estimate.json").read_text() == "a"
    assert beside(place) == []


def test_a_first_run_broken_off_leaves_nothing(tmp_path: Path) -> None:
    place = tmp_path / "deep" / "results"

    def broken() -> None:
        with built_beside(place, "out", OURS) as folder:
            (folder / "estimate.json").write_text("half")
            raise OSError(28, "No space left on device")

    with pytest.raises(SiteError, match="Writing failed: No space left on device"):
        broken()
    assert list((tmp_path / "deep").iterdir()) == []


def test_an_empty_folder_somebody_stands_in_stays_the_same(tmp_path: Path) -> None:
    place = tmp_path / "mine"
    place.mkdir()
    before = place.stat().st_ino
    with built_beside(place, "mine", ("a.csv", "site.toml"), fill_empty=True) as folder:
        for name in ("a.csv", "site.toml"):
            (folder / name).write_text(name)
    assert place.stat().st_ino == before
    assert sorted(path.name for path in place.iterdir()) == ["a.csv", "site.toml"]
    assert beside(place) == []


def test_only_what_killed_runs_left_is_cleared(tmp_path: Path) -> None:
    place = tmp_path / "results"
    build(place, "a")
    left = tmp_path / ".results.new-a1b2c3d4"
    left.mkdir()
    (left / "estimate.json").write_text("half")
    (left / "added.txt").write_text("came in between")
    others = [".results.new-mine", ".results.newer-a1b2c3d4", ".other.new-a1b2c3d4"]
    for name in others:
        (tmp_path / name).mkdir()
    build(place, "b")
    assert (place / "added.txt").read_text() == "came in between"
    assert beside(place) == sorted(others)


@pytest.mark.skipif(os.name != "posix", reason="signals of POSIX")
@pytest.mark.parametrize(("number", "code"), [(signal.SIGINT, 130), (signal.SIGTERM, 143)])
def test_a_stopped_estimate_says_so_and_leaves_the_earlier_result(
    tmp_path: Path, number: int, code: int
) -> None:
    place = tmp_path / "results"
    build(place, '{"old": true}')
    run = subprocess.Popen(
        [sys.executable, "-c", "from reclaim.cli import main; main()", "estimate",
         "demo_site/site.toml", "--out", str(place)],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip
    claim = tmp_path / ".results.claim"
    while not claim.exists():
        assert run.poll() is None
        time.sleep(0.01)
    time.sleep(0.4)
    run.send_signal(number)
    printed, told = run.communicate(timeout=60)
    assert run.returncode == code
    assert printed == ""
    assert told.strip() == "Stopped; nothing half-done was left."
    assert (place / "estimate.json").read_text() == '{"old": true}'
    assert beside(place) == []


@pytest.mark.slow
def test_a_full_disk_is_told_and_leaves_the_earlier_result(tmp_path: Path) -> None:
    """A limit on the size of a file stands for a full disk: writing fails in the same way."""
    place = tmp_path / "results"
    build(place, '{"old": true}')
    run = subprocess.run(
        [
            sys.executable,
            "-c",
            LIMITED,
            "estimate",
            "demo_site/site.toml",
            "--out",
            str(place),
        ],
        capture_output=True,
        text=True,
        check=False,
    )
    assert run.returncode == 2
    assert "Writing failed: File too large." in run.stderr
    assert "an earlier result is as it was" in run.stderr
    assert "Traceback" not in run.stderr
    assert (place / "estimate.json").read_text() == '{"old": true}'
    assert beside(place) == []
