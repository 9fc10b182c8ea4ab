"""What the ground room hands on: the dig, measured once, by zone and by lift."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.floating[Any]]
LiftsBy = Literal["elevation", "depth"]


@dataclass(frozen=True, slots=True)
class VolumeError:
    """Standard deviations of the waste volume [m3], by part.

    Attributes
    ----------
    random_m3
        Independent from cell to cell.
    correlated_m3
        Spatially correlated, from the double integral of the covariance over the dug area.
    systematic_m3
        A shift of one whole surface (datum).
    """

    random_m3: float
    correlated_m3: float
    systematic_m3: float

    @property
    def total_m3(self) -> float:
        """All parts together, in quadrature [m3]."""
        return float(np.sqrt(self.random_m3**2 + self.correlated_m3**2 + self.systematic_m3**2))


@dataclass(frozen=True, slots=True)
class ThicknessMap:
    """Dug thickness for figures, coarsened so that it always fits in memory.

    Attributes
    ----------
    west_m, north_m, cell_x_m, cell_y_m
        Corner and cell size of the map [m].
    thickness_m, survey_m, dig_m
        Mean over the cells merged [m], NaN outside the footprint; shape ``(rows, columns)``.
        `dig_m` is the elevation of the dig surface (before over-dig).
    """

    west_m: float
    north_m: float
    cell_x_m: float
    cell_y_m: float
    thickness_m: FloatArray
    survey_m: FloatArray
    dig_m: FloatArray

    @property
    def extent(self) -> tuple[float, float, float, float]:
        """West, east, south, north [m], as matplotlib wants it."""
        rows, columns = self.thickness_m.shape
        return (
            self.west_m,
            self.west_m + columns * self.cell_x_m,
            self.north_m - rows * self.cell_y_m,
            self.north_m,
        )


@dataclass(frozen=True, slots=True)
class Section:
    """A vertical cut through the site along a straight line.

    Attributes
    ----------
    start, end
        Ends in plan, (x, y) [m].
    distance_m, survey_m, cover_base_m, base_m, dig_m
        Shape ``(n,)``; NaN where unknown. `cover_base_m` is the underside of the cover, `dig_m`
        the bottom of the dig without over-dig, NaN where nothing is dug.
    """

    start: tuple[float, float]
    end: tuple[float, float]
    distance_m: FloatArray
    survey_m: FloatArray
    cover_base_m: FloatArray
    base_m: FloatArray
    dig_m: FloatArray


@dataclass(frozen=True, slots=True)
class Excavation:
    """How much is in the ground and how much of it the dig takes.

    Attributes
    ----------
    zones
        Zone names, ``n_zones``.
    lift_top_m, lift_bottom_m
        Elevations of the lifts, highest first [m], shape ``(n_lifts,)``; where lifts go by depth,
        heights above today's ground, so 0 and below.
    area_m2
        Plan area inside the footprint by zone [m2], shape ``(n_zones,)``.
    cover_m3, waste_m3
        Dug cover and dug waste in place [m3], shape ``(n_zones, n_lifts)``; over-dig apart.
    overdig_m3
        Soil taken below the base [m3], shape ``(n_zones,)``.
    left_in_slopes_m3
        Cover and waste that stay under the side slopes [m3], shape ``(n_zones,)``.
    unknown_area_m2
        Area inside the footprint where survey, base or cover is unknown [m2]; it adds no volume.
    inverted_area_m2
        Area inside the footprint where the base lies above the survey [m2]; counted as nothing.
    deepest_m
        Greatest dug thickness [m].
    error
        Standard deviation of the waste volume.
    lifts_by
        ``elevation`` for level lifts, ``depth`` for lifts that follow today's ground.
    """

    zones: tuple[str, ...]
    lift_top_m: FloatArray
    lift_bottom_m: FloatArray
    area_m2: FloatArray
    cover_m3: FloatArray
    waste_m3: FloatArray
    overdig_m3: FloatArray
    left_in_slopes_m3: FloatArray
    unknown_area_m2: float
    inverted_area_m2: float
    deepest_m: float
    error: VolumeError
    lifts_by: LiftsBy = "elevation"

    @property
    def gross_m3(self) -> float:
        """Cover and waste inside the footprint above the base, slopes included [m3]."""
        return float(self.cover_m3.sum() + self.waste_m3.sum() + self.left_in_slopes_m3.sum())

    @property
    def mean_depth_m(self) -> float:
        """Dug cover and waste over footprint area [m]."""
        return float((self.cover_m3.sum() + self.waste_m3.sum()) / self.area_m2.sum())


@dataclass(frozen=True, slots=True)
class DugVolumes:
    """The dug volumes of each draw.

    Attributes
    ----------
    cover_m3, waste_m3, overdig_m3
        In place [m3], shape ``(n_draws,)``.
    zone_waste_m3
        Waste by zone [m3], shape ``(n_draws, n_zones)``; its rows add to `waste_m3`.
    """

    cover_m3: FloatArray
    waste_m3: FloatArray
    overdig_m3: FloatArray
    zone_waste_m3: FloatArray
