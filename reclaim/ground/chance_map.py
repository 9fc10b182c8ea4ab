"""Where the waste is thicker than some depth, and how sure that is.

Comes in: footprint, grid, surfaces and their standard deviations. Goes out: `ChanceMap`.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import fsum
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from reclaim.ground.columns import Layout, Progress, columns
from reclaim.ground.thickness import CoarseMap
from reclaim.ground.volume_error import ground_default

if TYPE_CHECKING:
    from reclaim.site.model import Footprint, Grid, Surface

FloatArray = NDArray[np.floating[Any]]


@dataclass(frozen=True, slots=True)
class ChanceMap:
    """The chance that the waste is thicker than some depth, coarsened to fit in memory.

    Attributes
    ----------
    thicker_than_m
        The depth asked about [m], cover not counted.
    west_m, north_m, cell_x_m, cell_y_m
        Corner and cell size of the map [m].
    chance
        Mean over the cells merged [-], NaN outside the footprint and where the ground is unknown;
        shape ``(rows, columns)``.
    expected_area_m2
        Area where the waste is thicker, by expectation [m2].
    """

    thicker_than_m: float
    west_m: float
    north_m: float
    cell_x_m: float
    cell_y_m: float
    chance: FloatArray
    expected_area_m2: float

    @property
    def extent(self) -> tuple[float, float, float, float]:
        """West, east, south, north [m], as matplotlib wants it."""
        rows, columns_ = self.chance.shape
        east_m = self.west_m + columns_ * self.cell_x_m
        return (self.west_m, east_m, self.north_m - rows * self.cell_y_m, self.north_m)


def chance_map(
    footprint: Footprint,
    grid: Grid,
    survey: Surface,
    base: Surface,
    cover: Surface,
    *,
    thicker_than_m: float,
    survey_sd_m: float,
    base_sd_m: float,
    base_sd: Surface | None = None,
    most_cells: int = 400_000,
    progress: Progress | None = None,
) -> ChanceMap:
    """Return the chance, place by place, that the waste is thicker than a depth.

    Parameters
    ----------
    footprint, grid, survey, base, cover
        From the site.
    thicker_than_m
        The depth asked about [m].
    survey_sd_m, base_sd_m
        Standard deviation of the correlated error of each surface [m].
    base_sd
        That of the base where it differs from place to place, as a kriged one does [m].
    most_cells
        Most cells the map may have.
    progress
        Called with windows done and windows in all.

    Raises
    ------
    ValueError
        Where the footprint is empty.

    Notes
    -----
    A normal error about survey - cover - base, its variance the sum of the random, correlated and
    systematic variances of both surfaces (propagation of error in a difference of elevation
    models: Lane, Westaway and Hicks 2003, Earth Surface Processes and Landforms 28, 249-271; the
    chance as in Wheaton et al. 2010, the same journal 35, 136-156). The cover's own error is not
    in it. Slopes of the dig play no part: this is about what is there.
    """
    from scipy.special import ndtr

    always = survey_sd_m**2
    for part_of_error in ("random", "datum"):
        for surface in ("survey", "base"):
            always += ground_default(f"{surface}_{part_of_error}_sd_m") ** 2
    layout = Layout(footprint, grid)
    coarse = CoarseMap(layout, most_cells)
    extra = () if base_sd is None else (base_sd,)
    area: list[float] = []
    for part in columns(layout, survey, base, cover, *extra, side_slope=0.0, progress=progress):
        cover_m, sd_m = part.others_m[0], base_sd_m if base_sd is None else part.others_m[1]
        survey_m = part.survey_m.astype(np.float64)
        waste_m = survey_m - np.maximum(cover_m, 0) - part.base_m
        spread_m = np.sqrt(always + np.where(np.isfinite(sd_m), sd_m, base_sd_m) ** 2)
        thicker = ndtr((waste_m - thicker_than_m) / spread_m)
        known = np.isfinite(thicker)
        coarse.add(part.window, part.cells[known], part.shares[known], thicker[known])
        area.append(float(np.sum(part.shares[known] * thicker[known])))
    (chance,) = coarse.means()
    return ChanceMap(
        thicker_than_m=thicker_than_m,
        west_m=coarse.west_m,
        north_m=coarse.north_m,
        cell_x_m=coarse.cell_x_m,
        cell_y_m=coarse.cell_y_m,
        chance=chance,
        expected_area_m2=fsum(area) * grid.cell_area_m2,
    )
