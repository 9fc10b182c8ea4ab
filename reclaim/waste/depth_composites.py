"""Composites by depth: one for each logged layer of waste, and one for each lift of the site."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from reclaim.reference import material_names
from reclaim.waste.composites import length_in
from reclaim.waste.moisture import material_moisture, moisture_pattern

if TYPE_CHECKING:
    import pandas as pd

    from reclaim.site.model import Cores

FloatArray = NDArray[np.floating[Any]]

BASES = ("wet", "dry")


def layer_composites(cores: Cores) -> pd.DataFrame:
    """Return one row for each logged interval of waste that a sample lies in.

    Returns
    -------
    DataFrame
        ``core_id``, ``from_m``, ``to_m``, ``note``, ``sampled_m``, ``samples``, ``moisture``,
        ``bulk_density_t_m3``, ``basis`` (wet or dry) and one column per material, fraction of
        that basis. Dry rows stand only where the moisture was measured
        and the materials of the layer can hold it.
    """
    waste = cores.intervals[cores.intervals["layer"] == "waste"]
    samples_of = dict(iter(cores.samples.groupby("core_id")))
    rows, pattern = [], moisture_pattern(cores)
    for place in range(len(waste)):
        interval = waste.iloc[[place]]
        core_id = str(interval["core_id"].iloc[0])
        samples = samples_of.get(core_id)
        if samples is None:
            continue
        lengths = length_in(samples, interval)
        rows += _rows(
            {
                "core_id": core_id,
                "from_m": float(interval["from_m"].iloc[0]),
                "to_m": float(interval["to_m"].iloc[0]),
                "note": str(interval["note"].iloc[0]) if "note" in interval else "",
            },
            samples,
            lengths,
            pattern,
        )
    return _frame(rows, ["core_id", "from_m", "to_m", "note"])


def lift_composites(cores: Cores, lift_m: float) -> pd.DataFrame:
    """Return one row for each lift: slices between multiples of the lift height, highest first.

    Returns
    -------
    DataFrame
        ``top_m``, ``bottom_m`` (elevations), ``cores`` and the columns of `layer_composites` from
        ``sampled_m`` on. Cores count by the length of their samples in the lift.
    """
    import pandas as pd

    collar_m = cores.collars.set_index("core_id")["elevation_m"]
    waste = cores.intervals[cores.intervals["layer"] == "waste"]
    parts = [
        _waste_pieces(samples, waste[waste["core_id"] == core_id], float(collar_m[core_id]))
        for core_id, samples in cores.samples.groupby("core_id")
    ]
    pieces = pd.concat(parts, ignore_index=True) if parts else pd.DataFrame()
    if pieces.empty:
        return _frame([], ["top_m", "bottom_m", "cores"])
    highest = int(np.ceil(pieces["top_m"].max() / lift_m))
    lowest = int(np.floor(pieces["bottom_m"].min() / lift_m))
    rows, pattern = [], moisture_pattern(cores)
    for number in range(highest, lowest, -1):
        top_m, bottom_m = number * lift_m, (number - 1) * lift_m
        upper = np.minimum(pieces["top_m"].to_numpy(dtype=float), top_m)
        lower = np.maximum(pieces["bottom_m"].to_numpy(dtype=float), bottom_m)
        lengths = np.clip(upper - lower, 0, None)
        rows += _rows(
            {
                "top_m": top_m,
                "bottom_m": bottom_m,
                "cores": int(pieces.loc[lengths > 0, "core_id"].nunique()),
            },
            pieces,
            lengths,
            pattern,
        )
    return _frame(rows, ["top_m", "bottom_m", "cores"])


def _waste_pieces(samples: pd.DataFrame, intervals: pd.DataFrame, collar_m: float) -> pd.DataFrame:
    """Return the samples cut to the waste intervals, with elevations of top and bottom."""
    import pandas as pd

    parts = []
    for start_m, end_m in zip(intervals["from_m"], intervals["to_m"], strict=True):
        top = np.maximum(samples["from_m"], start_m)
        bottom = np.minimum(samples["to_m"], end_m)
        piece = samples.assign(top_m=collar_m - top, bottom_m=collar_m - bottom)
        parts.append(piece[bottom > top])
    return pd.concat(parts) if parts else samples.iloc[:0].assign(top_m=0.0, bottom_m=0.0)


def _rows(
    head: dict[str, Any], samples: pd.DataFrame, lengths: FloatArray, pattern: FloatArray
) -> list[dict[str, Any]]:
    """One row for the wet composite and, where moisture is known, one for the dry."""
    if lengths.sum() <= 0:
        return []
    masses = samples[list(material_names())].to_numpy(dtype=float)
    density = samples["bulk_density_t_m3"].to_numpy(dtype=float)
    moisture = samples["moisture"].to_numpy(dtype=float)
    mean_density = _known_mean(density, lengths)
    filled = np.where(np.isfinite(density), density, mean_density)
    weight = lengths * filled if np.isfinite(mean_density) else lengths
    wet = weight @ (masses / masses.sum(axis=1, keepdims=True)) / weight.sum()
    mix = _known_mean(moisture, weight)
    shares = {"wet": wet}
    if np.isfinite(mix) and mix < wet[pattern > 0].sum():
        water = material_moisture(wet[None], pattern, np.array([mix]))[0]
        shares["dry"] = wet * (1 - water) / (1 - mix)
    return [
        {
            **head,
            "sampled_m": float(lengths.sum()),
            "samples": int((lengths > 0).sum()),
            "moisture": mix,
            "bulk_density_t_m3": mean_density,
            "basis": basis,
            **dict(zip(material_names(), share, strict=True)),
        }
        for basis, share in shares.items()
    ]


def _known_mean(values: FloatArray, weights: FloatArray) -> float:
    known = np.isfinite(values) & (weights > 0)
    if not known.any():
        return float("nan")
    return float(np.average(values[known], weights=weights[known]))


def _frame(rows: list[dict[str, Any]], head: list[str]) -> pd.DataFrame:
    import pandas as pd

    columns = [*head, "sampled_m", "samples", "moisture", "bulk_density_t_m3", "basis"]
    return pd.DataFrame(rows, columns=[*columns, *material_names()])
