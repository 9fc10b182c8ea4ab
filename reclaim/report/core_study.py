"""The core study as numbers: for the results document and for tables."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Any

import numpy as np

from reclaim.reference import constant, material_names

if TYPE_CHECKING:
    from collections.abc import Sequence

    import pandas as pd

    from reclaim.site import Cores
    from reclaim.waste import CoreStudy, CoreSummary, LabFit

Row = dict[str, Any]


def core_study_document(study: CoreStudy | None) -> dict[str, Any] | None:
    """Return method, skill, variogram, tests, next cores and notes; None without a study."""
    if study is None:
        return None
    spatial, proposed = study.spatial, study.next_cores
    return {
        "method": "kriging" if spatial.used else "zone mean",
        "why": spatial.why,
        "model": None if spatial.model is None else asdict(spatial.model),
        "model_reason": spatial.fit.reason,
        "skill_one_out": None if spatial.skill is None else spatial.skill.one_out,
        "skill_groups_out": None if spatial.skill is None else spatial.skill.groups_out,
        "variogram": [
            {"distance_m": distance, "semivariance": value, "pairs": int(pairs)}
            for distance, value, pairs in zip(
                spatial.variogram.distance_m.tolist(),
                spatial.variogram.semivariance.tolist(),
                spatial.variogram.pairs,
                strict=True,
            )
        ],
        "zones_pseudo_f": study.zones_pseudo_f,
        "zones_chance": study.zones_chance,
        "precision": _precision(study),
        "trends": [
            {
                "material": str(row["material"]),
                "slope_per_m": float(row["slope_per_m"]),
                "chance": float(row["chance"]),
            }
            for row in study.trends.to_dict("records")
        ],
        "outliers": [str(name) for name in study.outliers["core_id"][study.outliers["unlike"]]],
        "lab": _rows(study.lab),
        "next_cores": [] if proposed is None else next_core_rows(study),
        "notes": list(study.notes),
    }


def core_tables_document(cores: Cores, summary: CoreSummary | None) -> dict[str, Any]:
    """Return how much was logged, sampled and measured in the cores."""
    logged = cores.intervals["to_m"] - cores.intervals["from_m"]
    taken = None if summary is None else summary.per_core
    return {
        "sampled_cores": 0 if taken is None else len(taken),
        "logged_m": float(logged.sum()),
        "logged_waste_m": float(logged[cores.intervals["layer"] == "waste"].sum()),
        "waste_m": 0.0 if taken is None else float(taken["waste_m"].sum()),
        "sampled_m": 0.0 if taken is None else float(taken["sampled_m"].sum()),
        "gas_readings": len(cores.gas),
        "laboratory_samples": len(cores.lab),
    }


def _precision(study: CoreStudy) -> dict[str, Any]:
    """Return how many materials are known well enough, and what enough is."""
    wanted = constant("sampling_precision")
    found = study.precision[study.precision["mean"] > 0]
    enough = found[found["precision"] <= wanted]
    return {
        "wanted": wanted,
        "confidence": constant("sampling_confidence"),
        "materials_found": len(found),
        "materials_known": len(enough),
        "known_share": float(enough["mean"].sum()),
    }


def core_study_tables(study: CoreStudy | None) -> dict[str, list[Row]]:
    """Return the tables of the study by file name; none without one, or without rows."""
    if study is None:
        return {}
    tables = {
        "core_statistics": _rows(study.statistics),
        "core_precision": _rows(study.precision),
        "core_trends": _rows(study.trends),
        "core_outliers": _rows(study.outliers),
        "layer_composites": _rows(study.layers),
        "lift_composites": _rows(study.lifts),
        "lab_summary": _rows(study.lab),
        "material_moisture": _rows(study.moistures),
        "size_distribution": _rows(study.sizes),
        "next_cores": next_core_rows(study),
        "kriged_blocks": block_rows(study),
    }
    return {name: rows for name, rows in tables.items() if rows}


def laboratory_rows(fits: Sequence[LabFit]) -> list[Row]:
    """Return bulk values as measured, as the materials give them, and as used; on dry mass."""
    return [
        {
            "quantity": fit.measured.quantity,
            "measured": fit.measured.mean,
            "standard_error": fit.measured.standard_error,
            "cores": fit.measured.cores,
            "of_materials": fit.of_materials,
            "used": fit.used,
        }
        for fit in fits
    ]


def next_core_rows(study: CoreStudy) -> list[Row]:
    """Return the proposed positions, in order; none without a dig."""
    if study.next_cores is None:
        return []
    return [
        {"order": place + 1, "x_m": float(x), "y_m": float(y), "error_left": float(left)}
        for place, ((x, y), left) in enumerate(
            zip(study.next_cores.places_m, study.next_cores.error_left, strict=True)
        )
    ]


def block_rows(study: CoreStudy) -> list[Row]:
    """Return the blocks with what kriging says of each; none without a model."""
    blocks, found = study.blocks, study.block_estimates
    if blocks is None or found is None:
        return []
    return [
        {
            "x_m": float(blocks.places_m[row, 0]),
            "y_m": float(blocks.places_m[row, 1]),
            "volume_m3": float(blocks.volume_m3[row]),
            "moisture": float(found.moisture[row]),
            "bulk_density_t_m3": float(found.bulk_density_t_m3[row]),
            "kriging_sd": float(found.kriging_sd[row]),
            **{f"lab_{name}": float(column.iloc[row]) for name, column in study.block_lab.items()},
            **dict(zip(material_names(), found.wet_fraction[row].tolist(), strict=True)),
        }
        for row in range(len(blocks))
    ]


def _rows(frame: pd.DataFrame) -> list[Row]:
    """Return a frame's rows with plain numbers and text."""
    return [
        {
            str(name): cell.item() if isinstance(cell, np.generic) else cell
            for name, cell in row.items()
        }
        for row in frame.to_dict("records")
    ]
