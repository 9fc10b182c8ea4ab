"""Run the benchmarks and write docs/benchmarks.md.

    python tests/benchmarks/run.py                 all of them, some minutes
    python tests/benchmarks/run.py kriging line    some of them; the other sections stay
    python tests/benchmarks/run.py --tiny          toy sizes, printed only: do they run?

The page is written after each benchmark. What stands in it above the mark is written by hand and
stays. Run on a quiet machine.
"""

from __future__ import annotations

import argparse
import ast
import json
import os
import platform
import re
import subprocess
import sys
import time
from datetime import UTC, datetime
from importlib.metadata import version
from itertools import groupby
from pathlib import Path

HERE = Path(__file__).parent
PAGE = HERE.parents[1] / "docs" / "benchmarks.md"
MARK = "<!-- What follows is written by tests/benchmarks/run.py. -->\n"
LIBRARIES = ("numpy", "scipy", "pandas", "rasterio", "shapely")


def scripts() -> list[Path]:
    """Return the benchmarks."""
    return sorted(path for path in HERE.glob("*.py") if path.stem not in ("measure", "run"))


def words_of(path: Path) -> str:
    """Return what a script says of itself."""
    return ast.get_docstring(ast.parse(path.read_text(encoding="utf-8"))) or ""


def records_of(path: Path, *, tiny: bool) -> list[dict]:
    """Run one benchmark in a process of its own; a failure of it is one of this program."""
    command = [sys.executable, str(path), "--json", *(["--tiny"] if tiny else [])]
    done = subprocess.run(command, stdout=subprocess.PIPE, text=True, check=True)
    return [json.loads(line) for line in done.stdout.splitlines() if line.startswith("{")]


def section(path: Path, records: list[dict]) -> str:
    """Return the section of one benchmark."""
    rows = [record for record in records if "cpu_s" in record]
    unit = rows[0]["unit"]
    lines = [
        f"## `{path.name}`", "", words_of(path), "",
        f"| case | {unit} | time [s] | processor [s] | peak [MB] | ratio to | | note |",
        "| --- | ---: | ---: | ---: | ---: | --- | ---: | --- |",
    ]  # fmt: skip
    # Sizes of a case stand together.
    order = {row["case"]: None for row in rows}
    place = {case: number for number, case in enumerate(order)}
    for _, same in groupby(sorted(rows, key=lambda row: place[row["case"]]), lambda r: r["case"]):
        for row in same:
            ratio = "" if row["ratio"] is None else figures(row["ratio"])
            lines.append(
                f"| {row['case']} | {row['size']:,.0f} | {figures(row['seconds'])} | "
                f"{figures(row['cpu_s'])} | {row['peak_mb']:,.0f} | {row['reference'] or ''} | "
                f"{ratio} | {row['note']} |"
            )
    grown = [f"{r['case']} {r['growth']:.2f}" for r in records if "growth" in r]
    if grown:
        lines += ["", f"Growth of processor time, exponent of {unit}: {'; '.join(grown)}."]
    lines += [f"\n{r['case']} was not run: {r['not_run']}." for r in records if "not_run" in r]
    return "\n".join(lines) + "\n"


def figures(value: float) -> str:
    """Return a number with two figures or more."""
    return f"{value:,.0f}" if abs(value) >= 100 else f"{value:.1f}" if abs(value) >= 10 else (
        f"{value:.2f}" if abs(value) >= 1 else f"{value:.2g}"
    )  # fmt: skip


def processor_s() -> float:
    """Return the processor time of the processes that have ended [s]."""
    times = os.times()
    return times.children_user + times.children_system


def machine() -> str:
    """Describe day and machine in general words."""
    memory_gb = os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES") / 2**30
    libraries = ", ".join(f"{name} {version(name)}" for name in LIBRARIES)
    return (
        f"{datetime.now(tz=UTC).date()}, {platform.system()} on {platform.machine()}, "
        f"{os.cpu_count()} cores, {memory_gb:.0f} GB of memory, Python "
        f"{platform.python_version()}, {libraries}"
    )


def write_page(made: dict[str, str]) -> None:
    """Put the sections made into the page in place of the earlier ones."""
    by_hand, _, measured = PAGE.read_text(encoding="utf-8").partition(MARK)
    earlier = {
        found[1]: text
        for text in re.split(r"(?m)^(?=## `)", measured)
        if (found := re.match(r"## `(\w+)\.py`", text))
    }
    sections = {**earlier, **made}
    kept = [sections[path.stem].strip() for path in scripts() if path.stem in sections]
    PAGE.write_text(by_hand + MARK + "\n" + "\n\n".join(kept) + "\n", encoding="utf-8")


def main() -> None:
    """Run what was asked for and write the page, or at toy size print it."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    known = {path.stem: path for path in scripts()}
    parser.add_argument("names", nargs="*", metavar="NAME", help=f"of {', '.join(known)}")
    parser.add_argument("--tiny", action="store_true", help="toy sizes, printed only")
    given = parser.parse_args()
    if unknown := set(given.names) - set(known):
        parser.error(f"There is no benchmark {', '.join(sorted(unknown))}.")
    for name in given.names or known:
        start, busy, load = time.perf_counter(), processor_s(), os.getloadavg()[0]
        print(f"{name} ...", end=" ", flush=True, file=sys.stderr)
        text = section(known[name], records_of(known[name], tiny=given.tiny))
        took_s, busy_s = time.perf_counter() - start, processor_s() - busy
        print(f"{took_s:.0f} s, {busy_s:.0f} s of processor", file=sys.stderr)
        if given.tiny:
            print(text)
        else:
            taken = f"{took_s:.0f} s in all, {busy_s:.0f} s of processor"
            if load > 1:
                taken += "; other work ran beside it, so that only the ratios count"
            write_page({name: f"{text}\nMeasured {machine()}; {taken}.\n"})


if __name__ == "__main__":
    main()
