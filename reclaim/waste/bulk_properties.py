"""What the laboratory says of the bulk waste, how much it varies, and what the materials say."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from reclaim.waste.composites import length_in
from reclaim.waste.heating_value import mix_value, net_as_received
from reclaim.waste.statistics import bca_interval, t_interval, weighted_mean

if TYPE_CHECKING:
    import pandas as pd

    from reclaim.assumptions import Draws
    from reclaim.site.model import Cores
    from reclaim.waste.feed import Feed

FloatArray = NDArray[np.floating[Any]]

_HEAD = ("core_id", "from_m", "to_m", "row")


def lab_by_core(cores: Cores) -> pd.DataFrame:
    """Return the laboratory's values of each core, weighted by length in waste.

    Returns
    -------
    DataFrame
        ``core_id``, ``quantity``, ``value``, ``tests`` and ``length_m`` (of waste tested). Only
        numbers of the table count, whatever they are called; lengths outside waste do not.
    """
    import pandas as pd

    waste = cores.intervals[cores.intervals["layer"] == "waste"]
    quantities = [
        name
        for name in cores.lab.columns
        if name not in _HEAD and pd.api.types.is_numeric_dtype(cores.lab[name])
    ]
    rows = []
    for core_id, tests in cores.lab.groupby("core_id") if len(cores.lab) else ():
        lengths = length_in(tests, waste[waste["core_id"] == core_id])
        for name in quantities:
            values = tests[name].to_numpy(dtype=float)
            known = np.isfinite(values) & (lengths > 0)
            if known.any():
                mean = float(np.average(values[known], weights=lengths[known]))
                rows.append((str(core_id), name, mean, int(known.sum()), lengths[known].sum()))
    return pd.DataFrame(rows, columns=["core_id", "quantity", "value", "tests", "length_m"])


def lab_summary(cores: Cores, draws: Draws) -> pd.DataFrame:
    """Return one row per quantity measured on the bulk waste of the site.

    Returns
    -------
    DataFrame
        ``quantity``, ``cores``, ``tests``, ``mean`` (weighted by length tested), ``t_low``,
        ``t_high``, ``bca_low``, ``bca_high`` (P10 and P90 of the mean), ``least``, ``most`` and
        ``variation`` (standard deviation between cores over the mean: how uneven the waste is).
    """
    import pandas as pd

    by_core = lab_by_core(cores)
    rows = []
    for name, group in by_core.groupby("quantity", sort=False):
        values = group["value"].to_numpy(dtype=float)[:, None]
        weights = group["length_m"].to_numpy(dtype=float)
        mean = float(weighted_mean(values, weights)[0])
        _, t_low, t_high = t_interval(values, weights)
        bca_low, bca_high = bca_interval(values, weights, draws)
        spread = float(values.std(ddof=1)) if len(values) > 1 else float("nan")
        rows.append(
            {
                "quantity": str(name),
                "cores": len(group),
                "tests": int(group["tests"].sum()),
                "mean": mean,
                "t_low": t_low[0],
                "t_high": t_high[0],
                "bca_low": bca_low[0],
                "bca_high": bca_high[0],
                "least": values.min(),
                "most": values.max(),
                "variation": spread / abs(mean) if mean != 0 else float("nan"),
            }
        )
    columns = ["quantity", "cores", "tests", "mean", "t_low", "t_high", "bca_low", "bca_high"]
    return pd.DataFrame(rows, columns=[*columns, "least", "most", "variation"])


def bulk_of_materials(feed: Feed) -> dict[str, FloatArray]:
    """Return the bulk properties that the materials' reference values give, to hold beside a lab.

    Returns
    -------
    dict
        ``ncv_mj_kg`` (as received), ``ash``, ``chlorine`` and ``mercury_mg_kg`` (of dry mass),
        each ``(n_draws,)``.
    """
    dry_share = feed.dry_t / feed.dry_t.sum(axis=1, keepdims=True)
    properties = feed.properties
    dry_value = mix_value(dry_share, properties.ncv_dry_mj_kg)
    return {
        "ncv_mj_kg": net_as_received(dry_value, feed.moisture),
        "ash": mix_value(dry_share, properties.ash),
        "chlorine": mix_value(dry_share, properties.chlorine),
        "mercury_mg_kg": mix_value(dry_share, properties.mercury_mg_kg),
    }
