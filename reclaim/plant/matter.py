"""What travels on the belts: three parts of each material, in groups of particle size."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from reclaim.waste import Feed

FloatArray = NDArray[np.floating[Any]]

# First axis of every array of matter: dry matter that cannot rot, dry matter that can, water.
# The whole shape is (3, n_sizes, n_rows, n_materials), in tonnes.
STABLE, ROTTING, WATER = 0, 1, 2


def matter_of(feed: Feed, size_shares: FloatArray) -> FloatArray:
    """Return a feed as matter [t], shape ``(3, n_sizes, n_rows, n_materials)``.

    Parameters
    ----------
    feed
        Tonnes and properties by material.
    size_shares
        Share of each size group in a material [-], shape ``(n_sizes,)``.
    """
    rotting = feed.dry_t * feed.properties.degradable
    parts = np.stack([feed.dry_t - rotting, rotting, feed.water_t])
    return np.asarray(parts[:, None] * size_shares[:, None, None])


def wet_t(matter: FloatArray) -> FloatArray:
    """Return wet mass by row [t], shape ``(n_rows,)``."""
    return np.asarray(matter.sum(axis=(0, 1)).sum(axis=1))


def dry_t(matter: FloatArray) -> FloatArray:
    """Return dry mass by material and size group [t], shape ``(n_sizes, n_rows, n_materials)``."""
    return np.asarray(matter[STABLE] + matter[ROTTING])


def moisture(matter: FloatArray) -> FloatArray:
    """Return water over wet mass by row [-], 0 where nothing flows, shape ``(n_rows,)``."""
    wet = wet_t(matter)
    water = matter[WATER].sum(axis=0).sum(axis=1)
    return np.asarray(np.divide(water, wet, out=np.zeros_like(wet), where=wet > 0))
