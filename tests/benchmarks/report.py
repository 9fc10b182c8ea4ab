"""The report of the demo site beside the estimate it reports, by number of draws.

The first report of a process also pays for the import of the drawing library; the second does not.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import measure

SITE = Path(__file__).parents[2] / "demo_site" / "site.toml"


def estimating(draws):
    from reclaim import estimate, read_site

    def work():
        estimate(replace(read_site(SITE), draws=draws))

    return work


def reporting(draws, place, *, before):
    from reclaim import estimate, read_site
    from reclaim.report import write_results

    found = estimate(replace(read_site(SITE), draws=draws))
    if before:
        write_results(found, place / f"before_{draws}")

    def work():
        out = place / f"results_{draws}_{before}"
        write_results(found, out)
        return (out / "report.html").stat().st_size

    return work


def main() -> None:
    """Measure the estimate, the first report and the second."""
    given = measure.given(__doc__, sizes=(500, 1000, 2000), tiny=(4,))
    with measure.Table("report", "draws", given) as table, measure.folder(given) as place:
        for draws in given.sizes:
            estimate = measure.alone(estimating, draws)
            table.row("estimate, reading included", draws, estimate)
            of = ("the estimate", estimate)
            for words, before in (("first report", False), ("second report", True)):
                if before and given.tiny:
                    continue
                run = measure.alone(_one_report, draws, place, before)
                note = f"report.html of {run.answer / 1e6:.2f} MB"
                table.row(words, draws, run, of=of, note=note)


def _one_report(draws, place, before):
    return reporting(draws, place, before=before)


if __name__ == "__main__":
    main()
