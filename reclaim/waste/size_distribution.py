"""How coarse the waste is: what passes each sieve, per core and over the site."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from reclaim.waste.composites import length_in

if TYPE_CHECKING:
    import pandas as pd

    from reclaim.site.model import Cores

FloatArray = NDArray[np.floating[Any]]

_SITE = "site"


def size_distribution(cores: Cores) -> pd.DataFrame:
    """Return the share of dry mass that passes each sieve, for every core and for the site.

    Returns
    -------
    DataFrame
        ``core_id`` (``site`` for all together), ``size_mm``, ``passing`` [-] and ``samples``
        (sieved so that this size is known). No rows where nothing in waste was sieved.

    Notes
    -----
    Samples weigh by their length in waste. Between the sieves of a sample the share is
    interpolated in the logarithm of the size, as it is drawn (common practice, no source); outside
    its sieves it is not guessed, so a size counts only the samples whose sieves enclose it.
    """
    import pandas as pd

    columns = ["core_id", "size_mm", "passing", "samples"]
    if not len(cores.sizes):
        return pd.DataFrame(columns=columns)
    waste = cores.intervals[cores.intervals["layer"] == "waste"]
    sizes = np.unique(cores.sizes["size_mm"].to_numpy(dtype=float))
    names, lengths, curves = [], [], []
    for (core_id, top, bottom), sieves in cores.sizes.groupby(["core_id", "from_m", "to_m"]):
        place = pd.DataFrame({"from_m": [top], "to_m": [bottom]})
        names.append(str(core_id))
        lengths.append(float(length_in(place, waste[waste["core_id"] == core_id])[0]))
        curves.append(_curve(sieves, sizes))
    core, length, curve = np.array(names), np.array(lengths), np.stack(curves)
    rows = []
    for name in (*dict.fromkeys(names), _SITE):
        weight = np.where((core == name) | (name == _SITE), length, 0.0)[:, None]
        known = np.where(np.isfinite(curve), weight, 0.0)
        for column, size in enumerate(sizes):
            total = known[:, column].sum()
            if total > 0:
                passing = float(known[:, column] @ np.nan_to_num(curve[:, column]) / total)
                rows.append((name, float(size), passing, int((known[:, column] > 0).sum())))
    return pd.DataFrame(rows, columns=columns)


def size_passing(sizes_mm: FloatArray, passing: FloatArray, share: float) -> float:
    """Return the size that a share of the mass passes [mm], NaN where the sieves do not enclose it.

    Parameters
    ----------
    sizes_mm, passing
        One curve, finest first, shape ``(n,)``.
    share
        For example 0.5 for the median size.
    """
    if not passing[0] <= share <= passing[-1]:
        return float("nan")
    rising = np.concatenate([[True], np.diff(passing) > 0])
    return float(np.exp(np.interp(share, passing[rising], np.log(sizes_mm[rising]))))


def _curve(sieves: pd.DataFrame, sizes: FloatArray) -> FloatArray:
    """Return what passes of one sample at the sizes of all; NaN outside its own sieves."""
    ordered = sieves.sort_values("size_mm")
    own = ordered["size_mm"].to_numpy(dtype=float)
    passing = ordered["passing"].to_numpy(dtype=float)
    found = np.interp(np.log(sizes), np.log(own), passing, left=np.nan, right=np.nan)
    if passing[-1] >= 1:
        found[sizes > own[-1]] = 1.0
    return np.asarray(found)
