"""The result of core tables alone: numbers and tables for the geologist, without a volume."""

from __future__ import annotations

from dataclasses import asdict
from datetime import UTC, datetime
from typing import TYPE_CHECKING

from reclaim import __version__
from reclaim.report.core_study import core_study_document, core_study_tables, core_tables_document
from reclaim.report.results import Document, composites_of, finite
from reclaim.report.tables import core_rows, records, zone_rows

if TYPE_CHECKING:
    from reclaim.report.tables import Row
    from reclaim.site import CoreSite
    from reclaim.waste import CoreSummary


def core_document(site: CoreSite, summary: CoreSummary) -> Document:
    """Return the composites, the inputs and what was noticed about them, ready for `as_json`.

    Parameters
    ----------
    site, summary
        From `reclaim.estimate.summarise_site_cores`.
    """
    return dict(
        finite(
        {
            "site": {"name": site.name, "opened": site.opened, "closed": site.closed,
                     "cores": len(site.cores.collars), "samples": len(site.cores.samples)},
            "core_composites": composites_of(summary),
            "cores": records(summary.per_core),
            "core_tables": core_tables_document(site.cores, summary),
            "core_study": core_study_document(summary.study),
            "inputs": [asdict(file) for file in site.inputs],
            "checks": [asdict(check) for check in site.checks],
            "run": {
                "version": __version__,
                "seed": site.seed,
                "draws": site.draws,
                "made_on": datetime.now(tz=UTC).date().isoformat(),
            },
        })
    )  # fmt: skip


def core_tables(site: CoreSite, summary: CoreSummary) -> dict[str, list[Row]]:
    """Return the tables of the cores by file name, without its ending."""
    return {
        "core_composites": core_rows(summary),
        "zone_composites": zone_rows(composites_of(summary)),
        **core_study_tables(summary.study),
        "gas_readings": records(site.cores.gas),
        "checks": [asdict(check) for check in site.checks],
    }
