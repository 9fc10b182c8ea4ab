"""The dig cut into small blocks of ground, each with its place, its zone and its volume."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from reclaim.reference import constant

if TYPE_CHECKING:
    from reclaim.ground import ThicknessMap
    from reclaim.site import Footprint

FloatArray = NDArray[np.floating[Any]]


@dataclass(frozen=True, slots=True)
class Blocks:
    """What the dig takes, block by block.

    Attributes
    ----------
    places_m
        Middle of the dug ground of each block, east and north [m], shape ``(n_blocks, 2)``.
    zone
        Number of the zone it lies in, shape ``(n_blocks,)``.
    volume_m3
        Dug ground, cover included [m3], shape ``(n_blocks,)``: what a block counts.
    side_m
        Length of a whole block, east and north [m].
    """

    places_m: FloatArray
    zone: NDArray[np.int_]
    volume_m3: FloatArray
    side_m: tuple[float, float]

    def __len__(self) -> int:
        return len(self.volume_m3)


def dug_blocks(footprint: Footprint, thickness: ThicknessMap) -> Blocks:
    """Cut the dig into squares of cells of the thickness map, apart for each zone.

    A zone too small for a cell of its own has one block in its middle.

    Notes
    -----
    The block's middle and volume are those of its cells' dug thickness, so blocks weigh what a
    truck would haul and not the plan area.
    """
    import shapely

    rows, columns = np.nonzero(np.nan_to_num(thickness.thickness_m) > 0)
    east = thickness.west_m + (columns + 0.5) * thickness.cell_x_m
    north = thickness.north_m - (rows + 0.5) * thickness.cell_y_m
    volume = thickness.thickness_m[rows, columns] * thickness.cell_x_m * thickness.cell_y_m
    merged = max(1, int(np.ceil(np.sqrt(rows.size / constant("spatial_blocks")))))
    width = thickness.thickness_m.shape[1] // merged + 1
    square = (rows // merged) * width + columns // merged
    parts = []
    for number, zone in enumerate(footprint.zones):
        shapely.prepare(zone.polygon)
        held = shapely.contains_xy(zone.polygon, east, north)
        if not held.any():
            middle = zone.polygon.representative_point()
            parts.append(np.array([[middle.x, middle.y, number, zone.polygon.area]]))
            continue
        _, member = np.unique(square[held], return_inverse=True)
        total = np.bincount(member, volume[held])
        parts.append(
            np.column_stack(
                [
                    np.bincount(member, volume[held] * east[held]) / total,
                    np.bincount(member, volume[held] * north[held]) / total,
                    np.full(total.size, number),
                    total,
                ]
            )
        )
    table = np.vstack(parts)
    return Blocks(
        places_m=table[:, :2],
        zone=table[:, 2].astype(int),
        volume_m3=table[:, 3],
        side_m=(merged * thickness.cell_x_m, merged * thickness.cell_y_m),
    )
