"""Calorific value on its bases: gross and net, dry and as received, and of a mix."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from reclaim.reference import constant

FloatArray = NDArray[np.floating[Any]]


def net_as_received(ncv_dry_mj_kg: FloatArray, moisture: FloatArray) -> FloatArray:
    """Return the net calorific value as received [MJ/kg wet].

    Parameters
    ----------
    ncv_dry_mj_kg
        Net calorific value of the dry fuel [MJ/kg].
    moisture
        Water over wet mass [-], same shape.

    Examples
    --------
    >>> round(float(net_as_received(np.array(25.0), np.array(0.25))), 3)
    18.139

    Notes
    -----
    ISO 21654:2021 (same form as EN 15400:2011): q_net,ar = q_net,d (1 - M) - 2.443 M.
    """
    return np.asarray(ncv_dry_mj_kg * (1 - moisture) - constant("evaporation_mj_per_kg") * moisture)


def net_dry(ncv_mj_kg: FloatArray, moisture: FloatArray) -> FloatArray:
    """Return the dry net calorific value [MJ/kg dry]; the inverse of `net_as_received`."""
    return np.asarray((ncv_mj_kg + constant("evaporation_mj_per_kg") * moisture) / (1 - moisture))


def net_dry_from_gross(
    gross_dry_mj_kg: FloatArray, hydrogen: FloatArray, oxygen_and_nitrogen: FloatArray
) -> FloatArray:
    """Return the dry net calorific value at constant pressure [MJ/kg dry].

    Parameters
    ----------
    gross_dry_mj_kg
        Gross calorific value at constant volume, dry [MJ/kg].
    hydrogen, oxygen_and_nitrogen
        Fractions of dry mass [-].

    Notes
    -----
    ISO 21654:2021 (EN 15400:2011): 212 J/g per per cent of hydrogen, 0.8 of oxygen and nitrogen.
    """
    return np.asarray(
        gross_dry_mj_kg
        - constant("hydrogen_correction_mj_per_kg") * hydrogen
        - constant("oxygen_nitrogen_correction_mj_per_kg") * oxygen_and_nitrogen
    )


def mix_value(share: FloatArray, value: FloatArray) -> FloatArray:
    """Return the value of a mix from the values of its parts, weighted by share.

    Shares add to 1 along the last axis and are on the basis (wet or dry) of the values.
    """
    return np.asarray((share * value).sum(axis=-1))
