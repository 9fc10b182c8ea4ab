"""Put a seeded sample of small faults into the calculation rooms and see which the tests find.

Needs line coverage with one context per test (see DEVELOPERS.md), then:

    python tests/mutation/sample.py --coverage FILE --out RESULTS --seed 1 --size 600
    python tests/mutation/sample.py --report RESULTS...

The tests are imported and collected once. For each mutant a fork of that process swaps the code of
the one function that has the fault and runs the tests that cover its line, those named after its
file and those of its own room first, then the quickest first, until one fails. A mutant that spends
more processor time than three times what its tests take, and half a minute, counts as found. Tests
that take long or fail without a fault are passed over; a mutant has at most `--budget` seconds of
tests. Some mutants have no fault at all: a test that fails on one is a fault of this script.

`--part 1/2` and `--part 2/2` share one sample between two processes. `equivalent.csv` names the
mutants that no test can find, with the reason.
"""

from __future__ import annotations

import argparse
import csv
import gc
import json
import os
import random
import resource
import shutil
import signal
import sys
import tempfile
import time
from collections import defaultdict
from pathlib import Path
from types import CodeType, FunctionType
from typing import TYPE_CHECKING, Any

import pytest
from coverage import CoverageData

sys.path.insert(0, str(Path(__file__).parent))
from operators import Mutant, mutants_of, mutated

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

ROOT = Path(__file__).parents[2]
ROOMS = ("ground", "waste", "plant", "appraisal")
NO_FAULT_SHARE = 0.02
LONGEST_TEST_S = 10.0
LEAST_TIME_S = 30
MEMORY_BYTES = 8 * 2**30
SHARED_SCOPES = {"class", "module", "package", "session"}
OPTIONS = [
    "-o", "addopts=", "-m", "not slow", "--import-mode=importlib", "--capture=sys", "-q",
    "-p", "no:cacheprovider", "-p", "no:cov",
]  # fmt: skip


def drawn(seed: int, size: int) -> list[Mutant]:
    """Return the sample: as many mutants of each room, and some without a fault."""
    chooser = random.Random(seed)  # noqa: S311 -- a sample, not a secret
    chosen = []
    for room in ROOMS:
        every = all_mutants(room)
        picked = chooser.sample(every, min(size // len(ROOMS), len(every)))
        free = chooser.sample(every, round(len(picked) * NO_FAULT_SHARE))
        chosen += picked + [one._replace(operator="no fault", after=one.before) for one in free]
    chooser.shuffle(chosen)
    return chosen


def all_mutants(room: str) -> list[Mutant]:
    """Return every mutant of a room, files in order of name."""
    return [
        mutant
        for path in sorted((ROOT / "reclaim" / room).glob("*.py"))
        for mutant in mutants_of(path, path.relative_to(ROOT).as_posix())
    ]


class Covering:
    """Which tests execute which line, and how much processor time each takes."""

    def __init__(
        self, coverage: Path, items: Sequence[pytest.Item], seconds: dict[str, float]
    ) -> None:
        self.seconds = seconds
        self._data = CoverageData(str(coverage))
        self._data.read()
        # Data put together from several runs may name a file in more than one place.
        self._paths: dict[str, list[str]] = defaultdict(list)
        for file in self._data.measured_files():
            self._paths[Path(file).as_posix().rpartition("/reclaim/")[2]].append(file)
        self._lines: dict[str, dict[int, set[str]]] = {}
        # What a shared fixture executes is on record for the first test that asks for it only.
        self._sharing: dict[str, set[str]] = defaultdict(set)
        users: dict[tuple[str, str], set[str]] = defaultdict(set)
        for item in items:
            for name, definitions in item._fixtureinfo.name2fixturedefs.items():
                for definition in definitions:
                    if definition.scope in SHARED_SCOPES and definition.baseid:
                        users[definition.baseid, name].add(item.nodeid)
        for those in users.values():
            for nodeid in those:
                self._sharing[nodeid] |= those

    def _contexts(self, file: str) -> dict[int, set[str]]:
        if file not in self._lines:
            by_line: dict[int, set[str]] = defaultdict(set)
            for measured in self._paths[file.removeprefix("reclaim/")]:
                for line, contexts in self._data.contexts_by_lineno(measured).items():
                    by_line[line].update(contexts)
            self._lines[file] = by_line
        return self._lines[file]

    def tests(self, mutant: Mutant, budget_s: float) -> list[str]:
        """Return ids of the tests to run, in order."""
        lines = self._contexts(mutant.file)
        contexts = set().union(
            *(lines.get(line, set()) for line in range(mutant.line, mutant.end_line + 1)),
            lines.get(mutant.statement_line, set()),
        )
        ids = set()
        for context in contexts:
            nodeid, _, phase = context.rpartition("|")
            ids.add(nodeid)
            if phase == "setup":
                ids |= self._sharing[nodeid]
        room, stem = mutant.file.split("/")[1], Path(mutant.file).stem
        order = sorted(
            (nodeid for nodeid in ids if nodeid in self.seconds),
            key=lambda one: (
                stem not in one.partition("::")[0],
                not one.startswith(f"tests/{room}/"),
                self.seconds[one],
                one,
            ),
        )
        chosen: list[str] = []
        left = budget_s
        for nodeid in order:
            left -= self.seconds[nodeid]
            if left < 0 and chosen:
                break
            chosen.append(nodeid)
        return chosen


class Forks:
    """The pytest plugin that runs chosen tests in forks of the process that collected them."""

    def __init__(self, given: argparse.Namespace) -> None:
        self.given = given
        self.failed: str | None = None
        self.took: dict[str, float] = {}
        self.bad: set[str] = set()

    def pytest_configure(self) -> None:
        """Make random tests the same for every mutant."""
        from hypothesis import settings

        settings.register_profile("mutation", derandomize=True, deadline=None, database=None)
        settings.load_profile("mutation")

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        """Note a failure."""
        if report.failed:
            self.failed = report.nodeid
            self.bad.add(report.nodeid)

    @pytest.hookimpl(tryfirst=True)
    def pytest_runtestloop(self, session: pytest.Session) -> bool:
        """Take the place of pytest's own loop."""
        items = {item.nodeid: item for item in session.items}
        if not self.given.timings.exists():
            answer = self.fork(list(items.values()), None, 3600, stop=False)
            bad = set(answer["bad"])
            good = {
                nodeid: took
                for nodeid, took in answer["took"].items()
                if nodeid not in bad and took < LONGEST_TEST_S
            }
            self.given.timings.write_text(json.dumps(good), encoding="utf-8")
            print(f"without a fault: {len(good)} tests used, {len(bad)} fail: {sorted(bad)}")
        seconds = json.loads(self.given.timings.read_text(encoding="utf-8"))
        covering = Covering(self.given.coverage, list(items.values()), seconds)
        functions = _functions()
        done = _done(self.given.out)
        number, parts = (int(text) for text in self.given.part.split("/"))
        chosen = drawn(self.given.seed, self.given.size)[number - 1 :: parts]
        with self.given.out.open("a", encoding="utf-8") as file:
            for mutant in chosen:
                if self.given.only and self.given.only not in mutant.file:
                    continue
                if mutant in done:
                    continue
                ids = [one for one in covering.tests(mutant, self.given.budget) if one in items]
                limit = LEAST_TIME_S + 3 * sum(seconds[one] for one in ids)
                started = time.monotonic()
                answer = {"result": "not covered"}
                if ids:
                    change = _Change(mutant, functions)
                    answer = self.fork([items[one] for one in ids], change, limit)
                took = round(time.monotonic() - started, 2)
                row = mutant._asdict() | answer | {"tests": len(ids), "seconds": took}
                file.write(json.dumps(row) + "\n")
                file.flush()
        return True

    def fork(
        self, items: list[pytest.Item], change: _Change | None, limit_s: float, *, stop: bool = True
    ) -> dict[str, Any]:
        """Run tests in a fork; return what it found."""
        folder = Path(tempfile.mkdtemp(prefix="mutant-"))
        answer = folder / "answer.json"
        child = os.fork()
        if child == 0:
            try:
                self._run(items, change, limit_s, folder, stop)
                said = {"result": "found" if self.failed else "survived", "by": self.failed}
                if not stop:
                    said |= {"took": self.took, "bad": sorted(self.bad)}
                answer.write_text(json.dumps(said), encoding="utf-8")
            finally:
                os._exit(0)
        until = time.monotonic() + 10 * limit_s
        while os.waitpid(child, os.WNOHANG) == (0, 0):
            if time.monotonic() > until:
                os.kill(child, signal.SIGKILL)
                os.waitpid(child, 0)
                break
            time.sleep(0.01)
        said = {"result": "out of time", "by": None}
        if answer.exists():
            said = json.loads(answer.read_text(encoding="utf-8"))
        shutil.rmtree(folder, ignore_errors=True)
        return said

    def _run(
        self,
        items: list[pytest.Item],
        change: _Change | None,
        limit_s: float,
        folder: Path,
        stop: bool,
    ) -> None:
        resource.setrlimit(resource.RLIMIT_CPU, (int(limit_s), int(limit_s) + 5))
        resource.setrlimit(resource.RLIMIT_AS, (MEMORY_BYTES, MEMORY_BYTES))
        quiet = os.open(os.devnull, os.O_WRONLY)
        os.dup2(quiet, 1)
        os.dup2(quiet, 2)
        if change:
            change.make()
        base = folder / "tmp"
        base.mkdir()
        items[0].config._tmp_path_factory._basetemp = base
        for item, following in zip(items, [*items[1:], None], strict=True):
            before = time.process_time()
            item.config.hook.pytest_runtest_protocol(item=item, nextitem=following)
            self.took[item.nodeid] = time.process_time() - before
            if stop and self.failed:
                break


class _Change:
    """The code of one function with the fault, put where the sound code is."""

    def __init__(
        self, mutant: Mutant, functions: dict[tuple[str, str], list[FunctionType]]
    ) -> None:
        path = ROOT / mutant.file
        self.there = functions[str(path), mutant.function]
        self.code = None
        if mutant.operator != "no fault":
            whole = compile(mutated(path, mutant), str(path), "exec", dont_inherit=True)
            found = [code for code in _codes(whole) if code.co_qualname == mutant.function]
            self.code = found[-1]

    def make(self) -> None:
        if self.code:
            for function in self.there:
                function.__code__ = self.code


def _codes(code: CodeType) -> Iterator[CodeType]:
    for constant in code.co_consts:
        if isinstance(constant, CodeType):
            yield constant
            yield from _codes(constant)


def _functions() -> dict[tuple[str, str], list[FunctionType]]:
    """Return the functions that exist, by file and name."""
    found: dict[tuple[str, str], list[FunctionType]] = defaultdict(list)
    for one in gc.get_objects():
        if isinstance(one, FunctionType):
            found[one.__code__.co_filename, one.__code__.co_qualname].append(one)
    return found


def _rows(path: Path) -> list[dict[str, Any]]:
    return [json.loads(line) for line in path.read_text(encoding="utf-8").splitlines()]


def _done(path: Path) -> set[Mutant]:
    if not path.exists():
        return set()
    return {Mutant(**{key: row[key] for key in Mutant._fields}) for row in _rows(path)}


def _equivalent() -> dict[tuple[str, ...], str]:
    with (Path(__file__).parent / "equivalent.csv").open(encoding="utf-8", newline="") as file:
        return {
            (row["file"], row["function"], row["before"], row["after"]): row["reason"]
            for row in csv.DictReader(file)
        }


def report(paths: list[Path]) -> None:
    """Print the score of each room, and the mutants that survive."""
    from scipy.stats import binomtest

    rows = [row for path in paths for row in _rows(path)]
    wrong = [row for row in rows if row["operator"] == "no fault" and row["by"]]
    free = sum(row["operator"] == "no fault" for row in rows)
    print(f"without a fault: {free}, of which a test failed on {len(wrong)}")
    rows = [row for row in rows if row["operator"] != "no fault"]
    known = _equivalent()
    print("| room | mutants | found | score, 95 % | equivalent | score without, 95 % |")
    print("| --- | --- | --- | --- | --- | --- |")
    for room in (*ROOMS, ""):
        mine = [row for row in rows if row["file"].startswith(f"reclaim/{room}")]
        found = sum(row["result"] in {"found", "out of time"} for row in mine)
        same = sum(row["result"] == "survived" and _key(row) in known for row in mine)
        cells = [room or "all", str(len(mine)), str(found)]
        for count in (len(mine), len(mine) - same):
            if count:
                band = binomtest(found, count).proportion_ci(method="wilson")
                cells.append(f"{found / count:.1%} ({band.low:.1%} to {band.high:.1%})")
        cells.insert(4, str(same))
        print("| " + " | ".join(cells) + " |")
    print("out of time:", sum(row["result"] == "out of time" for row in rows))
    for row in sorted(rows, key=lambda row: (row["file"], row["line"])):
        if row["result"] in {"survived", "not covered"}:
            reason = known.get(_key(row), "")
            print(
                f"{row['file']}:{row['line']} {row['function']} [{row['operator']}]"
                f" {row['before']} -> {row['after']} ({row['result']}, {row['tests']} tests)",
                f"= {reason}" if reason else "",
            )


def _key(row: dict[str, Any]) -> tuple[str, ...]:
    return tuple(row[key] for key in ("file", "function", "before", "after"))


def main() -> None:
    """Run the sample, or report on one."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--coverage", type=Path, help="coverage data with a context per test")
    parser.add_argument("--out", type=Path, help="results, one mutant a line; taken up again")
    parser.add_argument("--timings", type=Path, help="processor time of each test; made if missing")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--size", type=int, default=600)
    parser.add_argument("--part", default="1/1")
    parser.add_argument("--only", default="", help="only mutants of files with this in the name")
    parser.add_argument("--budget", type=float, default=60, help="seconds of tests a mutant")
    parser.add_argument("--report", type=Path, nargs="+")
    parser.add_argument("tests", nargs="*", default=["tests"])
    given = parser.parse_args()
    if given.report:
        report(given.report)
        return
    given.timings = given.timings or given.out.with_suffix(".timings.json")
    os.chdir(ROOT)
    raise SystemExit(pytest.main([*OPTIONS, *given.tests], plugins=[Forks(given)]))


if __name__ == "__main__":
    main()
