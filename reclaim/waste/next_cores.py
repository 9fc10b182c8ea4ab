"""Where to core next, so that the error of a chosen total shrinks most."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from reclaim.geostatistics import next_places
from reclaim.reference import constant

if TYPE_CHECKING:
    from reclaim.waste.blocks import Blocks
    from reclaim.waste.spatial import SpatialStudy

FloatArray = NDArray[np.floating[Any]]

_CANDIDATES = 600


@dataclass(frozen=True, slots=True)
class NextCores:
    """Proposed core positions, the most telling first.

    Attributes
    ----------
    places_m
        East and north [m], shape ``(n, 2)``, inside what may be dug.
    error_left
        Standard error of the site's share of any material once this core and all before it are
        sorted, over what it is now [-], shape ``(n,)``.
    method
        One sentence: how the positions were chosen.
    """

    places_m: FloatArray
    error_left: FloatArray
    method: str


def next_cores(study: SpatialStudy, blocks: Blocks, share: FloatArray | None = None) -> NextCores:
    """Propose positions for more cores.

    Parameters
    ----------
    study
        The cores there are, and the model if there is one.
    blocks
        The dig; candidates are the middles of its blocks, the thinnest left out, so exclusions,
        setback and rim stay free.
    share
        What a block adds to the total that matters, e.g. its fuel [t], shape ``(n_blocks,)``; its
        volume where not given.

    Notes
    -----
    With a model: greedy reduction of the kriging error of the total. Without one each new core
    tells the same wherever it stands, so the largest gaps are filled (farthest point first) and
    the error falls as 1 / sqrt(cores).
    """
    weight = blocks.volume_m3 if share is None else share
    # A core through the thin rim tells of little waste.
    thick = np.flatnonzero(blocks.volume_m3 >= np.median(blocks.volume_m3) / 2)
    candidates = blocks.places_m[thick[:: max(1, thick.size // _CANDIDATES)]]
    count = int(constant("next_cores"))
    if study.model is not None:
        found = next_places(study.places, study.model, candidates, blocks.places_m, weight, count)
        return NextCores(
            found.places_xy,
            found.error_sd,
            "Each position is the one that most reduces the kriging error of the total.",
        )
    chosen = _farthest(study.places, candidates, count)
    cores = len(study.places)
    left = np.sqrt(cores / (cores + 1 + np.arange(len(chosen)))) if cores else np.ones(len(chosen))
    return NextCores(
        candidates[chosen],
        left,
        "Too few cores to model how waste changes with distance; positions fill the largest gaps.",
    )


def _farthest(places: FloatArray, candidates: FloatArray, count: int) -> list[int]:
    """Candidates one by one, each the farthest from all cores and from those chosen before."""
    distance = np.full(len(candidates), np.inf)
    for place in places:
        distance = np.minimum(distance, np.hypot(*(candidates - place).T))
    chosen: list[int] = []
    while len(chosen) < min(count, len(candidates)):
        best = int(distance.argmax())
        if distance[best] <= 0:
            break
        chosen.append(best)
        distance = np.minimum(distance, np.hypot(*(candidates - candidates[best]).T))
    return chosen
