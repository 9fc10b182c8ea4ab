"""How long the report takes beside the estimate it reports, on the demo site.

Run as ``python tests/benchmarks/report.py``. Wall time on a quiet machine; the first report also
pays for the import of the drawing library, so both the first and the second are shown.
"""

from __future__ import annotations

import resource
import tempfile
from pathlib import Path
from time import perf_counter

from reclaim import estimate, read_site
from reclaim.report import write_results

SITE = Path(__file__).parents[2] / "demo_site" / "site.toml"


def main() -> None:
    """Print seconds of the estimate and of two reports, file size and peak memory."""
    begin = perf_counter()
    found = estimate(read_site(SITE))
    estimating_s = perf_counter() - begin
    print(f"estimate, reading included    {estimating_s:6.2f} s")
    with tempfile.TemporaryDirectory() as place:
        out = Path(place) / "results"
        for name in ("first report", "second report"):
            begin = perf_counter()
            write_results(found, out)
            took_s = perf_counter() - begin
            print(f"{name:<29} {took_s:6.2f} s   {took_s / estimating_s:5.2f} of the estimate")
        print(f"report.html                   {(out / 'report.html').stat().st_size / 1e6:6.2f} MB")
    peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"peak memory                   {peak_mb:6.0f} MB")


if __name__ == "__main__":
    main()
