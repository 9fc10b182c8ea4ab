"""Every benchmark runs, prints the fields that all share, and stands on the page of benchmarks."""

from __future__ import annotations

import json
import runpy
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
FOLDER = ROOT / "tests" / "benchmarks"
SHARED = ("measure", "run")
SCRIPTS = sorted(path.stem for path in FOLDER.glob("*.py") if path.stem not in SHARED)
LONG = ("model", "portfolio", "portfolio_plan", "report")


def test_page_names_every_benchmark() -> None:
    page = (ROOT / "docs" / "benchmarks.md").read_text(encoding="utf-8")
    for name in SCRIPTS:
        assert f"| `{name}.py` |" in page, name


@pytest.mark.filterwarnings("ignore::PendingDeprecationWarning")  # of rasterio, which writes
@pytest.mark.parametrize(
    "name", [pytest.param(n, marks=[pytest.mark.slow] if n in LONG else []) for n in SCRIPTS]
)
def test_benchmark_runs_at_toy_size_and_prints_the_common_fields(name, monkeypatch, capsys) -> None:
    monkeypatch.syspath_prepend(str(FOLDER))
    monkeypatch.setattr(sys, "argv", [name, "--tiny", "--json"])
    monkeypatch.delitem(sys.modules, "measure", raising=False)
    runpy.run_path(str(FOLDER / f"{name}.py"), run_name="__main__")
    fields = sys.modules["measure"].FIELDS
    monkeypatch.delitem(sys.modules, "measure")
    printed = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    rows = [record for record in printed if "cpu_s" in record]
    assert rows
    for row in rows:
        assert tuple(row) == fields
        assert row["benchmark"] == name
        assert row["seconds"] >= 0
        assert row["peak_mb"] > 0
    assert any(row["ratio"] is not None and row["reference"] for row in rows)
    assert any("growth" in record for record in printed) or name == "report"


def test_growth_is_the_exponent() -> None:
    growth = runpy.run_path(str(FOLDER / "measure.py"))["growth"]
    sizes = [10, 20, 80]
    assert growth(sizes, [3 * size**1.5 for size in sizes]) == pytest.approx(1.5)
