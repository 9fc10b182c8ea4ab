"""Composites by depth: one for each logged layer of waste, and one for each lift of the site."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from reclaim.reference import material_names
from reclaim.waste.moisture import material_moisture, moisture_pattern

if TYPE_CHECKING:
    import pandas as pd

    from reclaim.site.model import Cores

FloatArray = NDArray[np.floating[Any]]

BASES = ("wet", "dry")


class _Measured(NamedTuple):
    """Samples as arrays: sorted shares of wet mass, density [t/m3], moisture [-]."""

    shares: FloatArray
    density: FloatArray
    moisture: FloatArray

    @classmethod
    def of(cls, samples: pd.DataFrame) -> _Measured:
        masses = samples[list(material_names())].to_numpy(dtype=float)
        return cls(
            masses / masses.sum(axis=1, keepdims=True),
            samples["bulk_density_t_m3"].to_numpy(dtype=float),
            samples["moisture"].to_numpy(dtype=float),
        )


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
    samples_of = {
        core_id: (samples["from_m"].to_numpy(float), samples["to_m"].to_numpy(float),
                  _Measured.of(samples))
        for core_id, samples in cores.samples.groupby("core_id")
    }  # fmt: skip
    notes = waste["note"] if "note" in waste else [""] * len(waste)
    rows, pattern = [], moisture_pattern(cores)
    for core_id, from_m, to_m, note in zip(
        waste["core_id"], waste["from_m"], waste["to_m"], notes, strict=True
    ):
        if core_id not in samples_of:
            continue
        top_m, bottom_m, measured = samples_of[core_id]
        lengths = np.clip(np.minimum(bottom_m, to_m) - np.maximum(top_m, from_m), 0, None)
        head = {
            "core_id": str(core_id), "from_m": float(from_m), "to_m": float(to_m), "note": str(note)
        }  # fmt: skip
        rows += _rows(head, measured, lengths, pattern)
    return _frame(rows, ["core_id", "from_m", "to_m", "note"])


def lift_composites(cores: Cores, lift_m: float) -> pd.DataFrame:
    """Return one row for each lift: slices between multiples of the lift height, highest first.

    Returns
    -------
    DataFrame
        ``top_m``, ``bottom_m`` (elevations), ``cores`` and the columns of `layer_composites` from
        ``sampled_m`` on. Cores count by the length of their samples in the lift.
    """
    pieces, top_m, bottom_m = _waste_pieces(cores)
    if pieces.empty:
        return _frame([], ["top_m", "bottom_m", "cores"])
    highest = int(np.ceil(top_m.max() / lift_m))
    lowest = int(np.floor(bottom_m.min() / lift_m))
    rows, pattern = [], moisture_pattern(cores)
    measured = _Measured.of(pieces)
    for number in range(highest, lowest, -1):
        upper = np.minimum(top_m, number * lift_m)
        lower = np.maximum(bottom_m, (number - 1) * lift_m)
        lengths = np.clip(upper - lower, 0, None)
        rows += _rows(
            {
                "top_m": number * lift_m,
                "bottom_m": (number - 1) * lift_m,
                "cores": int(pieces.loc[lengths > 0, "core_id"].nunique()),
            },
            measured,
            lengths,
            pattern,
        )
    return _frame(rows, ["top_m", "bottom_m", "cores"])


def _waste_pieces(cores: Cores) -> tuple[pd.DataFrame, FloatArray, FloatArray]:
    """Return the samples cut to the waste intervals, and the elevations of top and bottom [m]."""
    samples = cores.samples
    collar_m = dict(zip(cores.collars["core_id"], cores.collars["elevation_m"], strict=True))
    waste = cores.intervals[cores.intervals["layer"] == "waste"]
    logged: dict[Any, pd.DataFrame] = dict(iter(waste.groupby("core_id")))
    starts, ends = samples["from_m"].to_numpy(dtype=float), samples["to_m"].to_numpy(dtype=float)
    places, tops, bottoms = [], [], []
    for core_id, rows in samples.groupby("core_id").indices.items():
        if core_id not in logged:
            continue
        top = np.maximum(starts[rows], logged[core_id]["from_m"].to_numpy(dtype=float)[:, None])
        bottom = np.minimum(ends[rows], logged[core_id]["to_m"].to_numpy(dtype=float)[:, None])
        interval, sample = np.nonzero(bottom > top)
        places.append(rows[sample])
        tops.append(float(collar_m[core_id]) - top[interval, sample])
        bottoms.append(float(collar_m[core_id]) - bottom[interval, sample])
    if not places:
        return samples.iloc[:0], np.empty(0), np.empty(0)
    return samples.iloc[np.concatenate(places)], np.concatenate(tops), np.concatenate(bottoms)


def _rows(
    head: dict[str, Any], samples: _Measured, lengths: FloatArray, pattern: FloatArray
) -> list[dict[str, Any]]:
    """One row for the wet composite and, where moisture is known, one for the dry."""
    if lengths.sum() <= 0:
        return []
    shares, density, moisture = samples
    mean_density = _known_mean(density, lengths)
    filled = np.where(np.isfinite(density), density, mean_density)
    weight = lengths * filled if np.isfinite(mean_density) else lengths
    wet = weight @ shares / weight.sum()
    mix = _known_mean(moisture, weight)
    by_basis = {"wet": wet}
    if np.isfinite(mix) and mix < wet[pattern > 0].sum():
        water = material_moisture(wet[None], pattern, np.array([mix]))[0]
        by_basis["dry"] = wet * (1 - water) / (1 - mix)
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
        for basis, share in by_basis.items()
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
