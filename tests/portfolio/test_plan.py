"""The arithmetic of a plan for very many sites, against the same worked out by hand."""

from __future__ import annotations

import runpy
import sys
from pathlib import Path

import pytest

FOLDER = Path(__file__).parents[1] / "benchmarks"


@pytest.fixture
def script(monkeypatch):
    monkeypatch.syspath_prepend(str(FOLDER))
    before = set(sys.modules)
    yield runpy.run_path(str(FOLDER / "portfolio_plan.py"))
    for name in {"measure", "portfolio"} - before:
        sys.modules.pop(name, None)


def test_a_plan_is_its_inputs_times_the_number_of_sites(script) -> None:
    measured = script["Measured"](
        own_s=0.178, fixed_s=0.1, per_million_cells_s=1.95, cells=40_000, bytes_read=300_000,
        stored_bytes=18_000, handed_out_s=0.002, report_s=9.0, worker_mb=300.0,
    )  # fmt: skip
    found = {line.what: line for line in script["plan"](measured, 50_000, 32, 200)}
    assert found["core-hours of screening"].value == pytest.approx(2.5)  # 50,000 x 0.18 / 3600
    assert found["core-hours of reports"].value == pytest.approx(0.5)
    assert found["bytes read"].value == pytest.approx(15)
    assert found["the same terrain read whole"].value == pytest.approx(0.75)
    assert found["hours on all cores"].value == pytest.approx(3 / 32)
    assert found["cores one scheduler keeps busy"].value == pytest.approx(89)
    assert found["network"].value == pytest.approx(15 * 8e3 / (3 / 32 * 3600))
    assert found["stored results"].value == pytest.approx(0.9)
    assert found["memory of the workers"].value == pytest.approx(9.6)
    assert found["share that grows with area"].value == pytest.approx(0.078 / 0.178)


def test_the_scheduler_bounds_a_plan_on_very_many_cores(script) -> None:
    measured = script["Measured"](0.18, 0.1, 2.0, 40_000, 3e5, 1.8e4, 0.002, 9.0, 300.0)
    found = {line.what: line for line in script["plan"](measured, 50_000, 1000, 0)}
    assert found["hours on all cores"].value == pytest.approx(50_000 * 0.002 / 3600)
