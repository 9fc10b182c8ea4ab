"""The one factor by which the parts of a mix change so that the mix meets a target."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from collections.abc import Callable

FloatArray = NDArray[np.floating[Any]]

_STEPS = 200
_CLOSE = 1e-12
_ROUND_OFF = 8 * np.finfo(float).eps


def factor_reaching(
    mix_and_slope: Callable[[FloatArray], tuple[FloatArray, FloatArray]],
    target: FloatArray,
    least: float,
    most: float,
) -> FloatArray:
    """Return the factor at which a mix meets its target, shape ``(n_draws,)``.

    Parameters
    ----------
    mix_and_slope
        From a factor per draw to the value of the mix and its slope with the factor, each
        ``(n_draws,)``. The value must rise, ever less steeply, with the factor.
    target
        What the mix shall be, shape ``(n_draws,)``.
    least, most
        Limits of the factor, taken where no factor between them meets the target.

    Notes
    -----
    Newton's method. On a rising concave curve a tangent lies above the curve, so that after the
    first step every factor is at or short of the root and grows towards it; no bracket is needed.
    Convergence is quadratic, so that the last step leaves round-off alone. A draw that has settled
    stays, so that no draw depends on those it is taken with.
    """
    factor, settled = np.ones_like(target), np.zeros(target.shape, dtype=bool)
    for _ in range(_STEPS):
        value, slope = mix_and_slope(factor)
        short = target - value
        with np.errstate(divide="ignore", invalid="ignore"):
            # Where nothing rises any more, the limit is as near as the mix can come.
            step = np.where(slope > 0, short / slope, np.sign(short) * np.inf)
        step[settled | np.isnan(step)] = 0.0
        moved = np.clip(factor + step, least, most)
        settled |= (np.abs(moved - factor) <= _CLOSE * moved) | (
            np.abs(short) <= _ROUND_OFF * target
        )
        factor = moved
        if settled.all():
            break
    return factor
