"""Water of each material, so that the mix has the moisture that was measured."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.floating[Any]]

_HALVINGS = 100


def material_moisture(
    wet_fraction: FloatArray, pattern: FloatArray, mix_moisture: FloatArray
) -> FloatArray:
    """Return each material's moisture, in the proportions of a pattern.

    The water carried per kilogram of dry matter keeps the proportions of `pattern` between
    materials; one factor scales it until the wet-mass mean equals `mix_moisture`.

    Parameters
    ----------
    wet_fraction
        Share of wet mass, shape ``(n_draws, n_materials)``.
    pattern
        Typical moisture of each material in mixed waste [-], shape ``(n_materials,)``.
    mix_moisture
        Moisture of the mix [-], shape ``(n_draws,)``.

    Returns
    -------
    Moisture by material [fraction of wet mass], shape ``(n_draws, n_materials)``.

    Raises
    ------
    ValueError
        Where materials that hold water make up less of the mix than its water.

    Notes
    -----
    Bisection in the logarithm of the factor; the mean moisture rises steadily with it. The water
    balance is exact by definition; that proportions keep is a judgement.
    """
    water_per_dry = pattern / (1 - pattern)
    holding = np.where(pattern > 0, wet_fraction, 0.0).sum(axis=1)
    if np.any(mix_moisture >= holding):
        raise ValueError("The mix is wetter than its water-holding materials can be.")
    low = np.full(mix_moisture.shape, -40.0)
    high = np.full(mix_moisture.shape, 40.0)
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        too_dry = (wet_fraction * _scaled(water_per_dry, middle)).sum(axis=1) < mix_moisture
        low, high = np.where(too_dry, middle, low), np.where(too_dry, high, middle)
    return np.where((mix_moisture > 0)[:, None], _scaled(water_per_dry, (low + high) / 2), 0.0)


def _scaled(water_per_dry: FloatArray, log_factor: FloatArray) -> FloatArray:
    ratio = np.exp(log_factor)[:, None] * water_per_dry
    return np.asarray(ratio / (1 + ratio))
