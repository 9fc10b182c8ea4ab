"""How far the waste volume may be off: random, spatially correlated and systematic parts.

Comes in: where the dig reaches, gathered on a coarse raster while the volumes are measured, and
the standard deviations of survey and base. Goes out: `VolumeError`. Errors of survey and base
are independent of each other. The correlated part has a spherical covariance.
"""

from __future__ import annotations

from copy import copy
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from reclaim.ground.excavation import VolumeError
from reclaim.ground.point_values import values_at
from reclaim.reference import read_rows

if TYPE_CHECKING:
    from reclaim.ground.columns import Columns
    from reclaim.site.model import Grid, Surface, Window

FloatArray = NDArray[np.floating[Any]]
IntArray = NDArray[np.integer[Any]]
BoolArray = NDArray[np.bool_]

NEAR_CELLS = 4
"""Up to this lag, in coarse cells, the mean covariance of two cells takes many points."""

NODES = 8
"""Gauss nodes per half cell for that average."""


def ground_default(key: str) -> float:
    """Return a default number of this room by its key in ``ground.csv``."""
    return next(float(row["value"]) for row in read_rows("ground.csv") if row["key"] == key)


class DugArea:
    """Plan area dug, on a coarse raster, and the sum over columns that random errors need.

    Attributes
    ----------
    row, column
        Cell of the grid at the corner of the first coarse cell.
    area_m2
        Area dug in each coarse cell [m2], shape ``(rows, columns)``.
    squares_m4
        Sum of the squared areas of the columns [m4].
    """

    def __init__(self, window: Window, grid: Grid) -> None:
        self.row, self.column = window.row, window.column
        cells = int(ground_default("error_cells_per_side"))
        self._merged = max(1, -(-max(window.rows, window.columns) // cells))
        self._cell_area_m2 = grid.cell_area_m2
        self.cell_x_m = grid.cell_x_m * self._merged
        self.cell_y_m = grid.cell_y_m * self._merged
        self.area_m2 = np.zeros(
            (-(-window.rows // self._merged), -(-window.columns // self._merged))
        )
        self.squares_m4 = 0.0

    @property
    def cell_m(self) -> tuple[float, float]:
        """Size of a coarse cell, west to east and south to north [m]."""
        return self.cell_x_m, self.cell_y_m

    def within(self, window: Window) -> DugArea:
        """Return the coarse cells that meet a window, with nothing dug; for `include`."""
        row, column = self._coarse(window)
        inner = copy(self)
        inner.row += int(row[0]) * self._merged
        inner.column += int(column[0]) * self._merged
        inner.area_m2 = np.zeros((row[-1] - row[0] + 1, column[-1] - column[0] + 1))
        inner.squares_m4 = 0.0
        return inner

    def include(self, inner: DugArea) -> None:
        """Add what was dug in some of the coarse cells."""
        row = (inner.row - self.row) // self._merged
        column = (inner.column - self.column) // self._merged
        rows, columns = inner.area_m2.shape
        self.area_m2[row : row + rows, column : column + columns] += inner.area_m2
        self.squares_m4 += inner.squares_m4

    def _coarse(self, window: Window) -> tuple[IntArray, IntArray]:
        """Return the coarse row of each row of a window, and the coarse column of each column."""
        row = (np.arange(window.rows) + window.row - self.row) // self._merged
        return row, (np.arange(window.columns) + window.column - self.column) // self._merged

    def at_centres(self, surface: Surface, grid: Grid, otherwise: float) -> FloatArray:
        """Return a surface in the middle of each coarse cell, `otherwise` where it is unknown."""
        rows, columns = self.area_m2.shape
        west_m = grid.west_m + self.column * grid.cell_x_m
        north_m = grid.north_m - self.row * grid.cell_y_m
        x_m, y_m = np.meshgrid(
            west_m + (np.arange(columns) + 0.5) * self.cell_x_m,
            north_m - (np.arange(rows) + 0.5) * self.cell_y_m,
        )
        x_m, y_m = x_m.reshape(-1), y_m.reshape(-1)
        values = np.full(x_m.size, np.nan)
        dug = self.area_m2.reshape(-1) > 0
        with surface.reader() as read:
            values[dug] = values_at(read, grid, x_m[dug], y_m[dug])
        return np.where(np.isfinite(values), values, otherwise).reshape(rows, columns)

    def add(self, part: Columns, dug: BoolArray | None = None) -> None:
        """Add the columns that are dug; all of them where `dug` is None."""
        window = part.window
        row, column = self._coarse(window)
        if part.share is not None:
            chosen = slice(None) if dug is None else dug
            place, share = part.cells[chosen], part.share[chosen]
            at = row[place // window.columns], column[place % window.columns]
            np.add.at(self.area_m2, at, share * self._cell_area_m2)
            self.squares_m4 += float(np.sum(share**2)) * self._cell_area_m2**2
            return
        met = np.s_[row[0] : row[-1] + 1, column[0] : column[-1] + 1]
        if dug is None and part.place is None:
            counts = np.multiply.outer(np.bincount(row - row[0]), np.bincount(column - column[0]))
        else:
            inside = np.zeros(window.rows * window.columns, dtype=np.bool_)
            inside[slice(None) if part.place is None else part.place] = True if dug is None else dug
            counts = _counts(inside.reshape(window.rows, window.columns), row, column)
        self.area_m2[met] += counts * self._cell_area_m2
        self.squares_m4 += float(counts.sum()) * self._cell_area_m2**2


def _counts(inside: BoolArray, row: IntArray, column: IntArray) -> IntArray:
    """Return how many cells of each coarse cell are inside, shape ``(coarse rows, columns)``.

    Eight cells side by side are added as the bytes of one word, while no byte can overflow.
    """
    first_row = np.flatnonzero(np.diff(row, prepend=-1))
    first_column = np.flatnonzero(np.diff(column, prepend=-1))
    if np.diff(first_row, append=row.size).max() > np.iinfo(np.uint8).max:
        down = np.add.reduceat(inside, first_row, axis=0, dtype=np.int64)
    else:
        missing = -inside.shape[1] % 8
        words = np.pad(inside, ((0, 0), (0, missing))) if missing else inside
        words = np.add.reduceat(words.view(np.uint64), first_row, axis=0)
        down = words.view(np.uint8)[:, : inside.shape[1]].astype(np.int64)
    return np.asarray(np.add.reduceat(down, first_column, axis=1))


def volume_error(
    dug: DugArea,
    dug_to_base: DugArea,
    *,
    survey_sd_m: float,
    base_sd_m: float | FloatArray,
    error_range_m: float,
) -> VolumeError:
    """Return the standard deviations of the dug volume.

    Parameters
    ----------
    dug, dug_to_base
        Where anything is dug (the survey's error counts), and where the dig ends on the base
        rather than on a slope (the base's error counts).
    survey_sd_m, base_sd_m
        Standard deviation of the spatially correlated error of a point [m]; that of the base may
        differ from coarse cell to coarse cell, as a kriged one does, shape ``(rows, columns)``.
    error_range_m
        Range of the spherical covariance [m]: points further apart are independent.

    Notes
    -----
    With `sd` and areas `a` of cells: random ``sd sqrt(sum a^2)``, systematic ``sd sum a``,
    correlated ``sqrt(sum sd_i sd_j a_i a_j rho_ij)``. Equations 11-16 of Anderson (2019),
    Earth Surface Processes and Landforms 44, 1015-1033, are the first two, and the third for a
    range that is small beside the area.
    """
    surfaces = (
        (dug, survey_sd_m, "survey"),
        (dug_to_base, base_sd_m, "base"),
    )
    random = correlated = systematic = 0.0
    # Survey and base share one area where the whole dig ends on its base.
    of_area: dict[DugArea, float] = {}
    for area, sd_m, name in surfaces:
        random += ground_default(f"{name}_random_sd_m") ** 2 * area.squares_m4
        if isinstance(sd_m, np.ndarray):
            correlated += covariance_integral(sd_m * area.area_m2, *area.cell_m, error_range_m)
        else:
            if area not in of_area:
                of_area[area] = covariance_integral(area.area_m2, *area.cell_m, error_range_m)
            correlated += sd_m**2 * of_area[area]
        systematic += (ground_default(f"{name}_datum_sd_m") * float(area.area_m2.sum())) ** 2
    return VolumeError(float(np.sqrt(random)), float(np.sqrt(correlated)), systematic**0.5)


def covariance_integral(
    area_m2: FloatArray, cell_x_m: float, cell_y_m: float, range_m: float
) -> float:
    """Return the double integral of the spherical correlation over an area [m4].

    Parameters
    ----------
    area_m2
        Area inside each cell of a raster [m2], shape ``(rows, columns)``; times a standard
        deviation [m3] it gives the variance of a volume [m6].
    cell_x_m, cell_y_m, range_m
        Cell size and range [m].

    Notes
    -----
    The sum over all pairs of cells is a sum over lags: the autocorrelation of the raster (by
    FFT) times the correlation at that lag, averaged over the two cells: with many points at
    short lags, so that a range shorter than a cell is not overstated, with four at others.
    """
    if not area_m2.any():
        return 0.0
    rows, columns = area_m2.shape
    reach_rows = min(rows - 1, int(range_m / cell_y_m) + 1)
    reach_columns = min(columns - 1, int(range_m / cell_x_m) + 1)
    shape = _padded(rows + reach_rows), _padded(columns + reach_columns)
    spectrum = np.fft.rfft2(area_m2, s=shape)
    pairs = np.fft.irfft2(spectrum.real**2 + spectrum.imag**2, s=shape)
    down, across = np.arange(reach_rows + 1), np.arange(-reach_columns, reach_columns + 1)
    two_points = np.array([-1, 1]) / np.sqrt(6), np.array([0.5, 0.5])
    right = np.arange(reach_columns + 1)  # rho is the same to the left
    rho = _between_cells(down, right, cell_x_m, cell_y_m, range_m, two_points)
    near = np.s_[: NEAR_CELLS + 1], np.s_[: NEAR_CELLS + 1]
    rho[near] = _between_cells(
        down[near[0]], right[near[1]], cell_x_m, cell_y_m, range_m, _triangle_rule()
    )
    rho = np.concatenate([rho[:, :0:-1], rho], axis=1)
    twice = np.where(down == 0, 1.0, 2.0)[:, None]
    return max(0.0, float(np.sum(twice * rho * pairs[down][:, across])))


def _padded(length: int) -> int:
    """Return the next multiple of 64, so that the FFT never meets a large prime."""
    return -(-length // 64) * 64


def spherical(distance_m: FloatArray, range_m: float) -> FloatArray:
    """Return the spherical correlation at a distance [-]; its integral is pi range^2 / 5."""
    if range_m <= 0:
        return np.where(np.asarray(distance_m) > 0, 0.0, 1.0)
    h = np.minimum(np.asarray(distance_m) / range_m, 1.0)
    return np.asarray(1 - 1.5 * h + 0.5 * h**3)


def _triangle_rule() -> tuple[FloatArray, FloatArray]:
    """Return nodes and weights for a mean over a triangular density from -1 to 1."""
    nodes, weights = np.polynomial.legendre.leggauss(NODES)
    nodes, weights = (nodes + 1) / 2, weights / 2
    half = weights * (1 - nodes)
    return np.concatenate([-nodes[::-1], nodes]), np.concatenate([half[::-1], half])


def _between_cells(
    down: NDArray[np.int64],
    across: NDArray[np.int64],
    cell_x_m: float,
    cell_y_m: float,
    range_m: float,
    rule: tuple[FloatArray, FloatArray],
) -> FloatArray:
    """Return the mean correlation between two cells at each lag, shape ``(down, across)``.

    The difference of two points, one in each cell, has a triangular density about the lag.
    """
    mean = np.zeros((down.size, across.size))
    for up, up_weight in zip(*rule, strict=True):
        for right, right_weight in zip(*rule, strict=True):
            y_m, x_m = (down + up) * cell_y_m, (across + right) * cell_x_m
            distance_m = np.hypot(y_m[:, None], x_m[None, :])
            mean += up_weight * right_weight * spherical(distance_m, range_m)
    return mean
