"""The site sheet: what stops, what needs controls, trigger levels and gaps, to print and pin up."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from reclaim.hazards import DEFERENCE
from reclaim.report.page import LEVELS, templates
from reclaim.report.wording import as_stated

if TYPE_CHECKING:
    from reclaim.report.results import Document


def site_sheet(document: Document, *, paper: str = "A4") -> str:
    """Return the site sheet as HTML: one file that needs no network, made for printing.

    Parameters
    ----------
    document
        From `results`.
    paper
        ``A4`` or ``letter``.
    """
    cautions = document["cautions"]
    return (
        templates()
        .get_template("site_sheet.html")
        .render(
            paper=paper,
            name=document["site"]["name"],
            made_on=document["run"]["made_on"],
            version=document["run"]["version"],
            profile=document["hazards"]["profile"],
            deference=DEFERENCE,
            levels=LEVELS,
            stops=[caution for caution in cautions if caution["level"] == "stop"],
            acts=[caution for caution in cautions if caution["level"] == "act"],
            watches=[caution for caution in cautions if caution["level"] == "watch"],
            ladders=_ladders(document["hazards"]["triggers"]),
            not_assessed=document["not_assessed"],
        )
    )


def _ladders(triggers: list[dict[str, Any]]) -> list[dict[str, str]]:
    """Return one row per reading and direction, with a cell for each level."""
    ladders: dict[tuple[str, str], dict[str, str]] = {}
    for row in triggers:
        ladder = ladders.setdefault(
            (row["label"], row["direction"]),
            {"label": row["label"], "unit": row["unit"], "side": row["direction"]}
            | dict.fromkeys(("watch", "act", "stop"), ""),
        )
        ladder[row["level"]] = as_stated(row["value"])
    return list(ladders.values())
