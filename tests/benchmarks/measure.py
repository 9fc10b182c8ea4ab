"""What the benchmarks share: a process of its own for each job, one clock, one shape of row.

A benchmark names its jobs, runs each with `alone` at some sizes and hands the runs to a `Table`:

    def ours(side):                    # prepares, outside the clock
        raster = made(side)
        return lambda: volume(raster)  # what is timed; its answer must be small

    def main() -> None:
        given = measure.given(__doc__, sizes=(1000, 2000, 4000), tiny=(50, 100, 200))
        with measure.Table("cut_volume", "cells a side", given) as table:
            for side in given.sizes:
                floor = measure.alone(read, side)
                table.row("raw read", side, floor)
                table.row("volume", side, measure.alone(ours, side), of=("raw read", floor))

Ratios are of processor time, of all threads together, so that other work on the machine counts
less. Growth is the exponent of processor time in the size, fitted where a case has three sizes.
"""

from __future__ import annotations

import argparse
import json
import math
import os
import pickle
import resource
import sys
import tempfile
import time
import traceback
from contextlib import contextmanager
from multiprocessing import get_context
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple, Self

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

FIELDS = (
    "benchmark", "case", "size", "unit", "seconds", "cpu_s", "peak_mb", "reference", "ratio",
    "note",
)  # fmt: skip
_toy: list[bool] = []  # filled by `given`: jobs of toy size need no process of their own
_THREAD_KEYS = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS")


class NotRunError(Exception):
    """A job ended with an error; the message is its last line."""


class Run(NamedTuple):
    """What a job took.

    `seconds` and `cpu_s` are the least of the runs [s], `peak_mb` the most memory its process has
    held, `before_mb` what it had held when the clock started [MB].
    """

    seconds: float
    cpu_s: float
    peak_mb: float
    before_mb: float
    answer: Any

    def less(self, part: Run) -> Run:
        """Return what is left of this run without a part that was measured by itself."""
        return self._replace(seconds=self.seconds - part.seconds, cpu_s=self.cpu_s - part.cpu_s)

    def times(self, factor: float) -> Run:
        """Return this run as if its work were done that many times over."""
        return self._replace(seconds=self.seconds * factor, cpu_s=self.cpu_s * factor)


def peak_mb() -> float:
    """Return the most memory this process has held [MB].

    Not by ru_maxrss where it can be helped: a new process takes that over from its parent.
    """
    status = Path("/proc/self/status")
    if status.exists():
        for line in status.read_text(encoding="ascii").splitlines():
            if line.startswith("VmHWM"):
                return int(line.split()[1]) / 1024
    unit = 2**20 if sys.platform == "darwin" else 2**10
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / unit


def clocked(work: Callable[[], Any], runs: int = 1) -> Run:
    """Run a piece of work in this process some times and return the least it took."""
    before_mb = peak_mb()
    seconds, busy, answer = [], [], None
    for _ in range(runs):
        answer = None
        began, at_work = time.perf_counter(), time.process_time()
        answer = work()
        seconds.append(time.perf_counter() - began)
        busy.append(time.process_time() - at_work)
    return Run(min(seconds), min(busy), peak_mb(), before_mb, answer)


def alone(
    prepare: Callable[..., Callable[[], Any]],
    *arguments: Any,
    runs: int = 1,
    threads: int | None = None,
) -> Run:
    """Run a job in a new process: `prepare(*arguments)` returns the work that is timed.

    Parameters
    ----------
    runs
        How often the work is done; the least time counts.
    threads
        Threads of the linear algebra; None leaves them to the library.

    Raises
    ------
    NotRunError
        Where the job ends with an error, such as a library that is not installed.

    Notes
    -----
    With ``--tiny`` the job is done in this process, since nobody reads its time and memory.
    """
    if _toy:
        return clocked(prepare(*arguments), runs)
    kept = {key: os.environ.get(key) for key in _THREAD_KEYS}
    if threads is not None:
        os.environ.update(dict.fromkeys(_THREAD_KEYS, str(threads)))
    try:
        context = get_context("spawn")
        receiver, sender = context.Pipe(duplex=False)
        process = context.Process(target=_reporting, args=(sender, prepare, arguments, runs))
        process.start()
        sender.close()
        try:
            found = receiver.recv()
        except EOFError:
            found = f"{prepare.__name__} ended without an answer"
        process.join()
    finally:
        for key, value in kept.items():
            if value is None:
                os.environ.pop(key, None)
            else:
                os.environ[key] = value
    if isinstance(found, str):
        raise NotRunError(found)
    return Run(*found)


def _reporting(sender: Any, prepare: Callable[..., Any], arguments: Any, runs: int) -> None:
    try:
        found: Any = tuple(clocked(prepare(*arguments), runs))
        pickle.dumps(found)
    except Exception as problem:  # noqa: BLE001 - handed to the process that asked
        traceback.print_exc()
        found = f"{type(problem).__name__}: {problem}"
    sender.send(found)


def made(write: Callable[..., object], *arguments: Any) -> Callable[[], None]:
    """Return the work of writing a file, for `alone`, so that its memory counts nowhere."""

    def work() -> None:
        write(*arguments)

    return work


@contextmanager
def folder(asked: Given) -> Iterator[Path]:
    """Give the folder asked for, or one that is gone afterwards."""
    if asked.folder:
        asked.folder.mkdir(parents=True, exist_ok=True)
        yield asked.folder
        return
    with tempfile.TemporaryDirectory() as temporary:
        yield Path(temporary)


def growth(sizes: Sequence[float], seconds: Sequence[float]) -> float:
    """Return the exponent of time in size: the slope of their logarithms by least squares."""
    x, y = [math.log(size) for size in sizes], [math.log(max(s, 1e-9)) for s in seconds]
    middle_x, middle_y = sum(x) / len(x), sum(y) / len(y)
    return sum((a - middle_x) * (b - middle_y) for a, b in zip(x, y, strict=True)) / sum(
        (a - middle_x) ** 2 for a in x
    )


class Given(NamedTuple):
    """What the command line asked for."""

    sizes: tuple[int, ...]
    tiny: bool
    as_json: bool
    folder: Path | None


def given(words: str | None, *, sizes: Sequence[int], tiny: Sequence[int]) -> Given:
    """Read the arguments that every benchmark takes: sizes, --tiny, --json, --folder."""
    parser = argparse.ArgumentParser(
        description=words, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("sizes", type=int, nargs="*", help=f"default: {' '.join(map(str, sizes))}")
    parser.add_argument(
        "--tiny", action="store_true", help="toy sizes in one process, to see that it runs"
    )
    parser.add_argument("--json", action="store_true", help="one JSON object a line")
    parser.add_argument("--folder", type=Path, help="keep the files that are measured on here")
    found = parser.parse_args()
    _toy[:] = [True] if found.tiny else []
    chosen = tuple(found.sizes) or tuple(tiny if found.tiny else sizes)
    return Given(chosen, found.tiny, found.json, found.folder)


class Table:
    """Prints rows as they come and, at the end, how each case grows with size."""

    def __init__(self, benchmark: str, unit: str, asked: Given) -> None:
        self._benchmark, self._unit, self._as_json = benchmark, unit, asked.as_json
        self._rows: dict[str, list[tuple[float, float]]] = {}
        if not self._as_json:
            print(f"{benchmark}; size in {unit}; ratios of processor time")

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: object, *_: object) -> None:
        if kind is not None:
            return
        for case, rows in self._rows.items():
            if len({size for size, _ in rows}) >= 3:
                sizes, seconds = zip(*rows, strict=True)
                self._print_growth(case, sizes, growth(sizes, seconds))

    def row(
        self,
        case: str,
        size: float,
        run: Run,
        *,
        of: tuple[str, Run] | None = None,
        note: str = "",
        grows: bool = True,
    ) -> None:
        """Print what one case took, and its ratio to a named reference.

        Parameters
        ----------
        of
            The reference: its name and what it took.
        note
            How far off the answer is, or another figure worth having.
        grows
            Whether the case belongs in the fit of the growth.
        """
        reference, ratio = None, None
        if of is not None:
            reference, ratio = of[0], run.cpu_s / max(of[1].cpu_s, 1e-9)
        if grows:
            self._rows.setdefault(case, []).append((size, run.cpu_s))
        if self._as_json:
            values = (
                self._benchmark, case, size, self._unit, run.seconds, run.cpu_s, run.peak_mb,
                reference, ratio, note,
            )  # fmt: skip
            print(json.dumps(dict(zip(FIELDS, values, strict=True))), flush=True)
            return
        beside = "" if ratio is None else f"{_short(ratio)} x {reference}"
        print(
            f"{case:30s} {size:12,.0f} {run.seconds:9.3f} s {run.cpu_s:9.3f} s cpu "
            f"{run.peak_mb:7.0f} MB  {beside:34s} {note}".rstrip(),
            flush=True,
        )

    def missing(self, case: str, why: Exception) -> None:
        """Say that a case was not run, and why."""
        if self._as_json:
            print(json.dumps({"benchmark": self._benchmark, "case": case, "not_run": str(why)}))
        else:
            print(f"{case:30s} not run: {why}")

    def _print_growth(self, case: str, sizes: tuple[float, ...], exponent: float) -> None:
        if self._as_json:
            record = {"benchmark": self._benchmark, "case": case, "unit": self._unit}
            print(json.dumps({**record, "sizes": sizes, "growth": exponent}))
        else:
            words = ", ".join(f"{size:,.0f}" for size in sizes)
            print(f"{case:30s} grows with size to the power {exponent:.2f} over {words}")


def _short(value: float) -> str:
    return f"{value:.2g}" if value < 1 else f"{value:.2f}" if value < 10 else f"{value:,.0f}"
