"""What lies under a surface between two levels, for all lifts from one look at each column.

Comes in: surfaces over columns of ground, part by part. Goes out: for each part the volume under
the surface in any lift. Only a level that a surface crosses inside a part needs a pass over its
columns; above the surface there is nothing, and below it the lift is full.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from collections.abc import Iterator

    from reclaim.ground.columns import Columns

FloatArray = NDArray[np.floating[Any]]


@dataclass(frozen=True, slots=True)
class Heights:
    """A surface over the columns of one part, and what is known of it without looking again.

    Attributes
    ----------
    part
        The columns.
    height_m
        Height of the surface before it is lowered [m], shape ``(n,)``.
    lowest_m, highest_m
        Its lowest and highest [m], lowered.
    total
        Sum of its heights, lowered, each times its column's share of a cell [m].
    weight
        Sum of the shares [-].
    lowered_m
        By how much the surface lies below `height_m`, the same everywhere [m].
    """

    part: Columns
    height_m: FloatArray
    lowest_m: float
    highest_m: float
    total: float
    weight: float
    lowered_m: float = 0.0

    @classmethod
    def of(cls, part: Columns, height_m: FloatArray) -> Heights:
        """Look at a surface once."""
        return cls(
            part,
            height_m,
            float(height_m.min()),
            float(height_m.max()),
            part.total(height_m),
            height_m.size if part.share is None else float(part.share.sum()),
        )

    def lowered(self, by_m: float) -> Heights:
        """Return the surface that lies `by_m` below this one."""
        return replace(
            self,
            lowest_m=self.lowest_m - by_m,
            highest_m=self.highest_m - by_m,
            total=self.total - by_m * self.weight,
            lowered_m=self.lowered_m + by_m,
        )

    def above(self, level_m: float, room: FloatArray) -> float:
        """Return what lies under the surface and above a level, in cells times metres.

        `room` is memory to work in, used where it is large enough.
        """
        level_m += self.lowered_m
        count = self.height_m.size
        held = np.maximum(self.height_m, level_m, out=room[:count] if count <= room.size else None)
        return self.part.total(held) - level_m * self.weight


class UnderSurface:
    """What lies under one surface of one zone in each lift, part by part."""

    def __init__(self, lift_m: float) -> None:
        self._lift_m = lift_m
        self._rows: list[tuple[float, float, float, float]] = []
        self._crossed: defaultdict[int, list[tuple[int, float]]] = defaultdict(list)

    @property
    def parts(self) -> int:
        """Return how many parts were added."""
        return len(self._rows)

    @property
    def lowest_level(self) -> int:
        """Number of the lift that holds the lowest point; lift 0 stands on 0 m."""
        return int(np.floor(min(lowest for lowest, *_ in self._rows) / self._lift_m))

    @property
    def highest_level(self) -> int:
        """Number of the lift that holds the highest point."""
        return int(np.floor(max(highest for _, highest, *_ in self._rows) / self._lift_m))

    def add(self, surface: Heights, room: FloatArray) -> None:
        """Add a part, and look at the levels its surface crosses; see `Heights.above`."""
        lowest = int(np.floor(surface.lowest_m / self._lift_m))
        highest = int(np.ceil(surface.highest_m / self._lift_m))
        for level in range(lowest, highest + 1):
            level_m = level * self._lift_m
            if surface.lowest_m < level_m < surface.highest_m:
                self._crossed[level].append((self.parts, surface.above(level_m, room)))
        self._rows.append((surface.lowest_m, surface.highest_m, surface.total, surface.weight))

    def include(self, other: UnderSurface) -> None:
        """Add the parts of another, after those that are here."""
        for level, crossed in other._crossed.items():
            self._crossed[level].extend((self.parts + part, above) for part, above in crossed)
        self._rows.extend(other._rows)

    def slabs(self, levels: range) -> Iterator[FloatArray]:
        """Yield what lies under the surface in each lift, the highest lift first.

        Parameters
        ----------
        levels
            Numbers of the lifts, downwards.

        Yields
        ------
        ndarray
            Volume of each part in cells times metres, shape ``(n_parts,)``. Under every surface a
            full lift is the same number, so that it cancels without a rest.
        """
        lowest_m, highest_m, total, weight = np.array(self._rows).T

        def above(level: int) -> FloatArray:
            level_m = level * self._lift_m
            volume = np.where(level_m >= highest_m, 0.0, total - level_m * weight)
            for part, crossed in self._crossed.get(level, ()):
                volume[part] = crossed
            return volume

        over = above(levels[0] + 1)
        for level in levels:
            under = above(level)
            full = (level + 1) * self._lift_m <= lowest_m
            yield np.where(full, weight * self._lift_m, under - over)
            over = under
