"""What screening 50,000 sites on 1 m national terrain takes: the arithmetic, from measured sites.

Run: ``python tests/benchmarks/portfolio_plan.py [sites measured] [--tiny] [--json]``

Measures sites of the invented county of ``portfolio.py`` one by one: time by size, bytes read of
the mosaic, bytes stored, memory, what handing out an empty job costs (the reference), and a full
report. Then prints each figure of the plan with its arithmetic. Rows of the plan that are no
measurement have their figure in the note.
"""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import NamedTuple

import measure
import numpy as np
import portfolio

PLANNED, CORES, REPORTS = 50_000, 32, 200
NATION_KM2 = 100_000


class Measured(NamedTuple):
    """What one site takes, on average over the sites measured.

    `own_s` reading it and running the model; `fixed_s` and `per_million_cells_s` the line through
    its times by cells of terrain; `cells` inside its window; `bytes_read` of the compressed mosaic;
    `stored_bytes` its result; `handed_out_s` of the scheduler's process for each job; `report_s` a
    full report; `worker_mb` memory of a worker.
    """

    own_s: float
    fixed_s: float
    per_million_cells_s: float
    cells: float
    bytes_read: float
    stored_bytes: float
    handed_out_s: float
    report_s: float
    worker_mb: float


class Line(NamedTuple):
    """One figure of a plan, with its arithmetic in words."""

    what: str
    value: float
    unit: str
    arithmetic: str


def plan(of: Measured, sites: int, cores: int, reports: int) -> list[Line]:
    """Return the figures of a plan."""
    busy_h = sites * (of.own_s + of.handed_out_s) / 3600
    reports_h = reports * of.report_s / 3600
    read_gb = sites * of.bytes_read / 1e9
    at_most = 1 / of.handed_out_s
    hours = max((busy_h + reports_h) / cores, sites * of.handed_out_s / 3600)
    per_cell = of.bytes_read / of.cells
    nation_tb = NATION_KM2 * 1e6 * per_cell / 1e12
    return [
        Line(
            "core-hours of screening", busy_h, "h",
            f"{sites:,} x ({of.own_s:.3f} s + {of.handed_out_s:.4f} s) / 3600",
        ),
        Line("core-hours of reports", reports_h, "h", f"{reports} x {of.report_s:.1f} s / 3600"),
        Line(
            "bytes read", read_gb, "GB",
            f"{sites:,} x {of.bytes_read / 1e6:.3f} MB, {of.cells:,.0f} cells each",
        ),
        Line(
            "the same terrain read whole", nation_tb, "TB",
            f"{NATION_KM2:,} km2 x 1e6 cells x {per_cell:.2f} bytes",
        ),
        Line(
            "hours on all cores", hours, "h",
            f"({busy_h:.2f} h + {reports_h:.2f} h) / {cores} cores, not below {sites:,} x "
            f"{of.handed_out_s:.4f} s",
        ),
        Line(
            "cores one scheduler keeps busy", at_most * of.own_s, "cores",
            f"{of.own_s:.3f} s / {of.handed_out_s:.4f} s",
        ),
        Line(
            "network", read_gb * 8e3 / (hours * 3600), "Mbit/s",
            f"{read_gb:.1f} GB / {hours:.2f} h",
        ),
        Line(
            "stored results", sites * of.stored_bytes / 1e9, "GB",
            f"{sites:,} x {of.stored_bytes / 1e3:.1f} kB",
        ),
        Line(
            "memory of the workers", cores * of.worker_mb / 1e3, "GB",
            f"{cores} x {of.worker_mb:.0f} MB",
        ),
        Line(
            "share that grows with area", (of.own_s - of.fixed_s) / of.own_s, "of a site's time",
            f"{of.fixed_s:.3f} s + {of.per_million_cells_s:.3f} s for each million cells",
        ),
    ]  # fmt: skip


def one_by_one(folder: Path, count: int):
    """Return the work of screening sites in this process; it answers with a row for each."""
    from reclaim.portfolio import default_plan, portfolio_of_layer
    from reclaim.portfolio.screen import screen_site

    layer, shared = folder / "sites.gpkg", folder / "shared.toml"
    jobs, _ = portfolio_of_layer(layer, str(folder / "terrain.vrt"), None, shared, {}, None)
    chosen = default_plan(None, None)
    screen_site(jobs[0], chosen, "")

    def work():
        found = [(screen_site(job, chosen, ""), job) for job in jobs[:count]]
        assert not any(result.failed for result, _ in found)
        return [(r.own_seconds, float(len(r.stored.encode()))) for r, _ in found]

    return work


def windows_read(folder: Path, count: int):
    """Return the work of reading only the terrain of sites; answers cells and bytes of all."""
    from shapely import from_wkb

    from reclaim.portfolio import portfolio_of_layer
    from reclaim.portfolio.mosaic import read_window, shared_survey
    from reclaim.portfolio.regional import portfolio_default
    from reclaim.portfolio.terrain import window_around

    layer, shared = folder / "sites.gpkg", folder / "shared.toml"
    terrain = str(folder / "terrain.vrt")
    jobs, _ = portfolio_of_layer(layer, terrain, None, shared, {}, None)
    survey = shared_survey(terrain, None, 1.0)

    def work():
        before, cells = _bytes_read(), []
        for job in jobs[:count]:
            reach_m = portfolio_default("rim_offset_m")
            window = window_around(survey.grid, from_wkb(job.shape), reach_m)
            cells.append(float(read_window(survey.surface, window).size))
        return cells, _bytes_read() - before

    return work


def _bytes_read() -> int:
    lines = Path("/proc/self/io").read_text(encoding="ascii").splitlines()
    return int(lines[0].split()[1])


def a_report(folder: Path):
    """Return the work of one full report."""
    from reclaim.portfolio import default_plan, portfolio_of_layer
    from reclaim.portfolio.reports import make_report

    layer, shared = folder / "sites.gpkg", folder / "shared.toml"
    jobs, _ = portfolio_of_layer(layer, str(folder / "terrain.vrt"), None, shared, {}, None)
    return lambda: make_report(default_plan(None, None), jobs[0]).problem


def main() -> None:
    given = measure.given(__doc__, sizes=(50, 100, 200), tiny=(2, 4, 8))
    with (
        tempfile.TemporaryDirectory() as scratch,
        measure.Table("portfolio_plan", "sites", given) as table,
    ):
        folder = given.folder or Path(scratch)
        if not (folder / "shared.toml").exists():
            portfolio.make_county(folder, max(given.sizes))
        few, many = (50, 150) if given.tiny else (200, 1200)
        empty = [measure.alone(portfolio.handed_out, count, threads=1) for count in (few, many)]
        each_s = max(1e-4, (empty[1].cpu_s - empty[0].cpu_s) / (many - few))
        handed = measure.Run(each_s, each_s, empty[1].peak_mb, 0.0, None)
        table.row("handing out one empty job", 1, handed, grows=False)
        for count in given.sizes:
            alone = measure.alone(one_by_one, folder, count, threads=1)
            table.row("sites one by one", count, alone, of=("handing out", handed.times(count)))
        reading = measure.alone(windows_read, folder, count, threads=1)
        table.row("their terrain, read only", count, reading, of=("sites one by one", alone))
        report = measure.alone(a_report, folder, threads=1)
        table.row("a full report", 1, report, of=("a site", alone.times(1 / count)), grows=False)
        cells, read = reading.answer
        times, stored = np.array(alone.answer).T
        times = times / times.sum() * alone.cpu_s  # other work on the machine counts less
        slope, fixed = np.polyfit(np.array(cells) / 1e6, times, 1)
        found = Measured(
            float(times.mean()), float(fixed), float(slope), float(np.mean(cells)), read / count,
            float(stored.mean()), each_s, report.cpu_s, alone.peak_mb,
        )  # fmt: skip
        for line in plan(found, PLANNED, CORES, REPORTS):
            note = f"{line.value:,.3g} {line.unit} = {line.arithmetic}"
            table.row(f"plan: {line.what}", PLANNED, measure.clocked(int), note=note, grows=False)


if __name__ == "__main__":
    main()
