"""The profile of a side slope: how far it has come down at a distance from the rim.

Comes in: the faces and benches of the site file. Goes out: the drop at any distance. The profile
is geometry. Whether a face of that height stands, and how wide a bench must be, is for a licensed
engineer and the local code.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.floating[Any]]

UPRIGHT = 1e-6
"""A face flatter than this, horizontal to vertical, is as good as upright."""

DEEPEST_M = 500.0
"""Benches are laid out down to this depth below the rim [m]; deeper the last face goes on."""


@dataclass(frozen=True)
class SideSlope:
    """Faces and benches from the rim downwards.

    Attributes
    ----------
    face
        Horizontal over vertical of the faces [-]; 0 for upright ones.
    bench_height_m
        Height of the face above each bench [m]; 0 for no benches.
    bench_width_m
        Width of each bench [m]; 0 for no benches.
    upper_face
        Horizontal over vertical of the faces in the upper ground, down to `upper_depth_m` [-].
    upper_depth_m
        Depth below the rim of the upper ground, such as the cover [m]; 0 for none.
    """

    face: float
    bench_height_m: float = 0.0
    bench_width_m: float = 0.0
    upper_face: float = 0.0
    upper_depth_m: float = 0.0

    def __post_init__(self) -> None:
        """Refuse numbers that make no slope.

        Raises
        ------
        ValueError
            Where one is negative, or a bench has a width and no height.
        """
        numbers = (self.face, self.bench_height_m, self.bench_width_m, self.upper_face)
        if min(*numbers, self.upper_depth_m) < 0:
            raise ValueError("side_slope and the sizes of benches must be at least 0.")
        if self.bench_width_m > 0 and self.bench_height_m == 0:
            raise ValueError("A bench_width_m needs a bench_height_m.")

    @classmethod
    def of(cls, side_slope: float | SideSlope) -> SideSlope:
        """Return the profile; a number is the one face of a plain slope."""
        return side_slope if isinstance(side_slope, SideSlope) else cls(side_slope)

    @property
    def has_benches(self) -> bool:
        """Tell whether flat steps interrupt the face."""
        return self.bench_width_m > 0

    @property
    def upright(self) -> bool:
        """Tell whether the dig goes straight down from the rim."""
        return self.face == 0 and not self.has_benches and not self._has_upper

    @property
    def plain(self) -> bool:
        """Tell whether one face goes down all the way."""
        return not self.has_benches and not self._has_upper

    @property
    def _has_upper(self) -> bool:
        return self.upper_depth_m > 0 and self.upper_face != self.face

    @property
    def steepness(self) -> float:
        """Fall of the main face [m/m]."""
        return 1 / max(self.face, UPRIGHT)

    @cached_property
    def falls(self) -> tuple[float, ...]:
        """Falls of the faces [m/m], each once."""
        upper = (1 / max(self.upper_face, UPRIGHT),) if self._has_upper else ()
        return tuple(dict.fromkeys((self.steepness, *upper)))

    @cached_property
    def knots(self) -> tuple[FloatArray, FloatArray]:
        """Distance from the rim and drop where the profile bends, the rim first [m]."""
        upper_m = self.upper_depth_m if self._has_upper else 0.0
        benches: FloatArray = np.empty(0)
        if self.has_benches:
            benches = np.arange(1, int(DEEPEST_M / self.bench_height_m) + 1) * self.bench_height_m
        depths = np.unique(np.concatenate([[0.0, upper_m], benches, [DEEPEST_M]]))
        distance_m, drop_m = [0.0], [0.0]
        for above, below in pairwise(depths):
            face = max(self.upper_face if below <= upper_m else self.face, UPRIGHT)
            distance_m.append(distance_m[-1] + (below - above) * face)
            drop_m.append(below)
            if below in benches:
                distance_m.append(distance_m[-1] + self.bench_width_m)
                drop_m.append(below)
        return np.array(distance_m), np.array(drop_m)

    @cached_property
    def edges(self) -> FloatArray:
        """Distances where the profile turns steeper, as at the outer edge of a bench [m]."""
        distance_m, drop_m = self.knots
        fall = np.diff(drop_m) / np.diff(distance_m)
        return np.asarray(distance_m[1:-1][np.diff(fall) > 0])

    def drop(self, distance_m: FloatArray) -> FloatArray:
        """Return how far the slope has come down [m] at distances from its start [m]."""
        if self.plain:
            return distance_m * self.steepness
        knot_m, drop_m = self.knots
        beyond = np.maximum(distance_m - knot_m[-1], 0) * self.steepness
        return np.asarray(np.interp(distance_m, knot_m, drop_m) + beyond)

    def reach_m(self, depth_m: float) -> float:
        """Return how far from the rim the toe of a dig of some depth lies [m]."""
        knot_m, drop_m = self.knots
        last = int(np.searchsorted(drop_m, depth_m, side="left"))
        if last == drop_m.size:
            return float(knot_m[-1] + (depth_m - drop_m[-1]) / self.steepness)
        if last == 0:
            return 0.0
        share = (depth_m - drop_m[last - 1]) / (drop_m[last] - drop_m[last - 1])
        return float(knot_m[last - 1] + share * (knot_m[last] - knot_m[last - 1]))
