"""The hazards as numbers of the results document, as tables, and as marks on a map."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from reclaim.hazards import register
from reclaim.hazards.register import records_in_words
from reclaim.uncertainty.bands import band

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    import numpy as np
    from numpy.typing import NDArray

    from reclaim.estimate import Estimate
    from reclaim.hazards import HazardAssessment

Document = dict[str, Any]
Row = dict[str, Any]

_METHANE = {"degradable_t": "t", "potential_t": "t", "generated_t_y": "t/y"}
_OPENING = {
    "dug_m3_d": "m3/d",
    "methane_m3_d": "m3/d",
    "stored_m3_d": "m3/d",
    "seeping_m3_d": "m3/d",
    "generated_m3_d": "m3/d",
    "mixed_pct": "% v/v",
    "dilution_air_m3_s": "m3/s",
    "methane_distance_m": "m",
    "odour_distance_m": "m",
    "whole_dig_m3": "m3",
}


def hazards(estimate: Estimate) -> Document:
    """Return what stands behind the cautions, for `estimate.json`."""
    found = estimate.hazards
    return {
        "profile": found.profile,
        "triggers": [asdict(row) for row in found.triggers],
        "gas": [asdict(row) for row in found.gas],
        "trends": [asdict(row) for row in found.trends],
        "residual_methane": _bands(found.methane_best, found.methane_spread, _METHANE),
        "opening": _bands(found.opening_best, found.opening_spread, _OPENING),
        "leachate": _leachate(found),
        "finds": [asdict(row) for row in found.finds],
        "codes": [asdict(row) for row in found.codes],
        "marks": [asdict(row) for row in found.marks],
    }


def hazard_tables(estimate: Estimate) -> dict[str, list[Row]]:
    """Return the tables of the hazards by file name, without its ending."""
    found = estimate.hazards
    return {
        "hazard_register": [asdict(row) for row in register(found.cautions, found.not_assessed)],
        "trigger_levels": [asdict(row) for row in found.triggers],
        "gas_summary": [asdict(row) for row in found.gas],
        "gas_trends": [asdict(row) for row in found.trends],
        "finds": [asdict(row) for row in found.finds],
        "waste_codes": [asdict(row) for row in found.codes],
    }


HAZARD_COLUMNS: Mapping[str, Sequence[str]] = {
    "hazard_register": (
        "number", "key", "topic", "level", "hazard", "raised_by", "records", "rule", "controls",
        "who_decides", "source", "status", "still_unknown",
    ),
    "trigger_levels": ("gas", "label", "unit", "direction", "level", "value"),
    "gas_summary": ("gas", "label", "unit", "zone", "core", "readings"),
    "gas_trends": ("gas", "label", "unit", "along", "rising", "falling"),
    "finds": ("key", "dig", "line", "disposal", "codes", "tests"),
    "waste_codes": ("product", "wet_t", "code", "name", "mirror_code", "tests", "tests_us"),
}  # fmt: skip
"""Header of a table of the hazards that may be without rows."""


def caution_row(caution: Mapping[str, Any]) -> Row:
    """Return a caution of the document as a row of a table: lists in words."""
    row = dict(caution)
    row["records"] = records_in_words(caution["records"])
    row["cores"] = ", ".join(caution["cores"])
    return row


def _bands(best: Any, spread: Any, units: Mapping[str, str]) -> Document | None:
    if best is None or spread is None:
        return None
    return {
        name: None
        if getattr(best, name) is None
        else _banded(getattr(best, name), getattr(spread, name), unit)
        for name, unit in units.items()
    }


def _leachate(found: HazardAssessment) -> Document | None:
    best, spread = found.leachate_best, found.leachate_spread
    if best is None or spread is None:
        return None
    return {
        "cores": list(best.cores),
        "highest_head_m": float(best.head_m.max()),
        "saturated_share": best.saturated_share,
        "to_pump_m3": _banded(best.to_pump_m3, spread.to_pump_m3, "m3"),
    }


def _banded(
    best: NDArray[np.floating[Any]], draws: NDArray[np.floating[Any]], unit: str
) -> Document:
    return asdict(band(best, draws, unit))
