"""What the core tables say about each other: logs without holes, samples within them."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from reclaim.site.coretables import ROW
from reclaim.site.settings import limit

if TYPE_CHECKING:
    import pandas as pd

    from reclaim.site.cores import CoreFiles
    from reclaim.site.model import Cores
    from reclaim.site.problems import Findings


def check_logs(cores: Cores, files: CoreFiles, findings: Findings) -> None:
    """Check intervals, samples and readings of every core against each other (depths in m)."""
    logs = dict(tuple(cores.intervals.groupby("core_id")))
    for row, core, depth in zip(
        cores.collars[ROW], cores.collars["core_id"], cores.collars["depth_m"], strict=True
    ):
        log = logs.get(core)
        if log is None:
            findings.warn(
                f"{files.name('collars')} row {row}",
                f"The core '{core}' has no intervals.",
                "Add its log; until then it tells nothing about cover, waste and base.",
            )
            continue
        _check_log(str(core), log, float(depth), files.name("intervals"), findings)
    sieved = cores.sizes.drop_duplicates(["core_id", "from_m", "to_m"])
    for kind, frame in (("samples", cores.samples), ("lab", cores.lab), ("sizes", sieved)):
        for core, samples in frame.groupby("core_id"):
            log = logs.get(core)
            if log is not None:
                _check_samples(str(core), samples, log, files.name(kind), findings)
    _note_twins(cores, files.name("collars"), findings)
    for core, samples in cores.samples.groupby("core_id"):
        _check_sample_overlap(str(core), samples, files.name("samples"), findings)
    depths = dict(zip(cores.collars["core_id"], cores.collars["depth_m"], strict=True))
    kind, levels = ("water", cores.water) if len(cores.water) else ("collars", cores.collars)
    for row, core, level in zip(levels[ROW], levels["core_id"], levels["water_m"], strict=True):
        if level > depths.get(core, np.nan) + limit("depth_gap_m"):
            findings.warn(
                f"{files.name(kind)} row {row}",
                f"The water level at {level:g} m lies below the hole '{core}' "
                f"({depths.get(core, np.nan):g} m).",
                "Correct one of the depths, or take the level out of a dry hole.",
            )
    for row, core, depth in zip(
        cores.gas[ROW], cores.gas["core_id"], cores.gas["depth_m"], strict=True
    ):
        if depth > depths.get(core, np.nan) + limit("depth_gap_m"):
            findings.warn(
                f"{files.name('gas')} row {row}",
                f"The gas reading at {depth:g} m lies below the hole '{core}' "
                f"({depths.get(core, np.nan):g} m).",
                "Correct one of the depths.",
            )


def _check_log(
    core: str, log: pd.DataFrame, depth_m: float, written: str, findings: Findings
) -> None:
    """Check one log, sorted by depth: overlaps, gaps, depth, order of layers."""
    slack = limit("depth_gap_m")
    tops, bottoms = log["from_m"].to_numpy(), log["to_m"].to_numpy()
    rows, layers = log[ROW].to_numpy(), log["layer"].to_numpy()
    if tops[0] > slack:
        findings.warn(
            f"{written} row {rows[0]}",
            f"The log of core '{core}' starts at {tops[0]:g} m, not at the ground.",
            "Log the top part too.",
        )
    for upper in range(len(log) - 1):
        step = tops[upper + 1] - bottoms[upper]
        pair = f"{written} rows {rows[upper]} and {rows[upper + 1]}"
        if step < -slack:
            findings.error(
                pair,
                f"Intervals of core '{core}' overlap from {tops[upper + 1]:g} to "
                f"{min(bottoms[upper], bottoms[upper + 1]):g} m.",
                "Correct the depths so that each depth has one layer.",
            )
        elif step > slack:
            findings.warn(
                pair,
                f"The log of core '{core}' has a gap from {bottoms[upper]:g} to "
                f"{tops[upper + 1]:g} m.",
                "Log the gap; nothing is counted there.",
            )
    beyond = bottoms.max() - depth_m
    if beyond > slack:
        tell = findings.error if beyond > limit("depth_error_m") else findings.warn
        tell(
            f"{written} row {rows[bottoms.argmax()]}",
            f"The log of core '{core}' goes to {bottoms.max():g} m, the hole to {depth_m:g} m.",
            "Correct the log, or the depth of the hole in the collars.",
        )
    natural = np.flatnonzero(layers == "natural")
    waste = np.flatnonzero(layers == "waste")
    if len(natural) and len(waste) and natural[0] < waste[-1]:
        findings.warn(
            f"{written} row {rows[waste[-1]]}",
            f"Core '{core}' has waste below natural ground.",
            "Check the layers; soil between layers of waste is cover.",
        )


def _check_samples(
    core: str, samples: pd.DataFrame, log: pd.DataFrame, written: str, findings: Findings
) -> None:
    """Check that samples lie within logged waste."""
    slack = limit("depth_gap_m")
    tops, bottoms = (samples[name].to_numpy(float) for name in ("from_m", "to_m"))
    shared_m = np.clip(
        np.minimum(bottoms[:, None], log["to_m"].to_numpy(float))
        - np.maximum(tops[:, None], log["from_m"].to_numpy(float)),
        0,
        None,
    )
    logged_m = np.nansum(shared_m, axis=1)
    other_m = np.nansum(shared_m[:, log["layer"] != "waste"], axis=1)
    suspect = (bottoms - tops - logged_m > slack) | (other_m > slack)
    for row, top, bottom in zip(
        samples[ROW][suspect], tops[suspect], bottoms[suspect], strict=True
    ):
        where = f"{written} row {row}"
        shared = np.minimum(log["to_m"], bottom) - np.maximum(log["from_m"], top)
        by_layer = shared.clip(lower=0).groupby(log["layer"]).sum()
        logged = float(by_layer.sum())
        in_waste = float(by_layer.get("waste", 0.0))
        if bottom - top - logged > slack:
            findings.error(
                where,
                f"The sample at {top:g} to {bottom:g} m of core '{core}' lies "
                f"{'partly ' if logged > slack else ''}outside the logged intervals.",
                "Correct the depths of the sample, or complete the log.",
            )
        elif logged - in_waste > slack:
            others = " and ".join(
                str(layer) for layer in by_layer.index if layer != "waste" and by_layer[layer] > 0
            )
            findings.warn(
                where,
                f"The sample at {top:g} to {bottom:g} m of core '{core}' holds "
                f"{logged - in_waste:.2g} m of {others}"
                + (f" and {in_waste:.2g} m of waste." if in_waste > slack else ", no waste."),
                "Check the depths; a sample should come from one layer.",
            )


def _check_sample_overlap(
    core: str, samples: pd.DataFrame, written: str, findings: Findings
) -> None:
    slack = limit("depth_gap_m")
    ordered = samples.sort_values(["from_m", "to_m"], kind="stable")
    rows, tops, bottoms = (ordered[name].to_numpy() for name in (ROW, "from_m", "to_m"))
    for upper in range(len(ordered) - 1):
        if bottoms[upper] - tops[upper + 1] > slack:
            findings.warn(
                f"{written} rows {rows[upper]} and {rows[upper + 1]}",
                f"Samples of core '{core}' overlap in depth.",
                "Replicates are fine; otherwise correct the depths.",
            )


def _note_twins(cores: Cores, written: str, findings: Findings) -> None:
    """Say which cores stand in one place; surfaces and kriging take their mean there."""
    for _, twins in cores.collars.groupby(["x_m", "y_m"]):
        if len(twins) > 1:
            findings.note(
                f"{written} rows {', '.join(str(row) for row in twins[ROW])}",
                f"Cores {', '.join(twins['core_id'])} stand in one place; between cores their "
                "mean counts there.",
            )
