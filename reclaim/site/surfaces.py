"""Surfaces over the common grid, read by window: a constant, or a raster on any grid."""

from __future__ import annotations

from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from reclaim.site.model import FloatArray, Grid, Surface, Window
from reclaim.site.problems import Check, SiteError
from reclaim.site.rasteraccess import opened
from reclaim.site.settings import limits

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path


# GDAL's block cache grows to a share of the machine's memory unless bound; rasterio takes bytes.
_GDAL_CACHE_BYTES = 12 << 20
_WARP_TOLERANCE_CELLS = 0.01  # how far GDAL may bend its straight-line stretches of a warp


@dataclass(frozen=True, slots=True)
class ConstantSurface:
    """The same value [m] everywhere on the grid."""

    value_m: float
    label: str
    grid: Grid

    @contextmanager
    def reader(self) -> Iterator[Callable[[Window], FloatArray]]:
        """Open the surface; see `Surface`. Its arrays repeat one number and cannot be written."""
        value = np.float64(self.value_m)
        yield lambda window: placed(
            self.grid, window, lambda inside: np.broadcast_to(value, (inside.rows, inside.columns))
        )


@dataclass(frozen=True, slots=True)
class RasterSurface:
    """Band 1 of a raster, in metres on the common grid.

    A raster whose cells fall on the grid's cells is read as it is; any other is warped to the
    grid, bilinear between its cell centres.

    Attributes
    ----------
    path, label
        The file, and what to call it.
    grid
        The common grid.
    crs_wkt
        CRS of the raster where its file has none; empty otherwise.
    unit_m
        Length of its vertical unit [m].
    offset
        Row and column of its first cell on the grid, None where it has to be warped.
    remote
        Whether it may come over the network.
    """

    path: Path
    label: str
    grid: Grid
    crs_wkt: str
    unit_m: float
    offset: tuple[int, int] | None
    remote: bool = False

    @contextmanager
    def reader(self) -> Iterator[Callable[[Window], FloatArray]]:
        """Open the surface; see `Surface`. GDAL's block cache is bound to 12 MB meanwhile."""
        from rasterio.errors import RasterioIOError

        try:
            with (
                opened(self.path, remote=self.remote, GDAL_CACHEMAX=_GDAL_CACHE_BYTES) as dataset,
                self.over(dataset) as read,
            ):
                yield read
        except RasterioIOError:
            what = f"The {self.label} is damaged: a part of it cannot be read."
            raise SiteError(
                [Check("error", self.path.name, what, "Copy or export it again.")]
            ) from None

    @contextmanager
    def over(self, dataset: Any) -> Iterator[Callable[[Window], FloatArray]]:
        """Read as `reader` does, through a file that is open already and stays open."""
        if self.offset is not None:
            frame = Window(*self.offset, dataset.height, dataset.width)
            band = _Band.of(dataset, self.unit_m, frame)
            yield lambda window: placed(self.grid, window, band.read, frame)
        else:
            with self._warped(dataset) as warped:
                frame = Window(0, 0, self.grid.rows, self.grid.columns)
                band = _Band.of(warped, self.unit_m, frame)
                yield lambda window: placed(self.grid, window, band.read)

    def _warped(self, dataset: Any) -> Any:
        from rasterio.enums import Resampling
        from rasterio.vrt import WarpedVRT

        return WarpedVRT(
            dataset,
            src_crs=self.crs_wkt or None,
            crs=self.grid.crs_wkt,
            transform=affine_of(self.grid),
            width=self.grid.columns,
            height=self.grid.rows,
            resampling=Resampling.bilinear,
            src_nodata=np.nan if dataset.nodata is None else dataset.nodata,
            nodata=np.nan,
            dtype="float64",
            tolerance=_WARP_TOLERANCE_CELLS,
        )


@dataclass(frozen=True, slots=True)
class _Band:
    """An open raster's first band, and all that turns its numbers into metres.

    `nodata` is None where it lies outside the limits anyway, `has_mask` tells of a mask apart.
    """

    dataset: Any
    frame: Window
    nodata: float | None
    has_mask: bool
    scale_m: float
    offset_m: float
    limits_m: tuple[float, float]

    @classmethod
    def of(cls, dataset: Any, unit_m: float, frame: Window) -> _Band:
        """Look up once what every window needs."""
        from rasterio.enums import MaskFlags

        scale_m, offset_m = dataset.scales[0] * unit_m, dataset.offsets[0] * unit_m
        limits_m = limits("elevation_m")
        flags = dataset.mask_flag_enums[0]
        nodata = dataset.nodata if flags == [MaskFlags.nodata] else None
        if nodata is not None and not limits_m[0] <= nodata * scale_m + offset_m <= limits_m[1]:
            nodata = None
        has_mask = flags not in ([MaskFlags.nodata], [MaskFlags.all_valid])
        return cls(dataset, frame, nodata, has_mask, scale_m, offset_m, limits_m)

    def read(self, inside: Window) -> FloatArray:
        """Read a window that lies inside both grid and raster, in metres.

        Numbers beyond the limits are voids that nothing marks, such as -9999.
        """
        from rasterio.windows import Window as FileWindow

        row, column = inside.row - self.frame.row, inside.column - self.frame.column
        window = FileWindow(column, row, inside.columns, inside.rows)
        values: FloatArray = self.dataset.read(1, window=window)
        if values.dtype.kind != "f":
            values = values.astype(np.float64)
        if self.nodata is not None:
            values[values == self.nodata] = np.nan
        if self.has_mask:
            values[self.dataset.read_masks(1, window=window) == 0] = np.nan
        if (self.scale_m, self.offset_m) != (1.0, 0.0):
            values = values.astype(np.float64) * self.scale_m + self.offset_m
        lowest, highest = self.limits_m
        # False too where a cell is unknown already.
        if not (values.min() >= lowest and values.max() <= highest):
            values[(values < lowest) | (values > highest)] = np.nan
        return values


def placed(
    grid: Grid,
    window: Window,
    read: Callable[[Window], FloatArray],
    frame: Window | None = None,
) -> FloatArray:
    """Read the part of a window inside grid and frame, and put NaN around it.

    Parameters
    ----------
    grid
        The common grid.
    window
        What is asked for; it may reach outside the grid.
    read
        Gives the values of a window inside the grid.
    frame
        Part of the grid that has values; the whole grid by default.

    Returns
    -------
    ndarray
        Shape ``(window.rows, window.columns)``.
    """
    frame = frame or Window(0, 0, grid.rows, grid.columns)
    first_row, first_column = max(window.row, frame.row, 0), max(window.column, frame.column, 0)
    last_row = min(window.row + window.rows, frame.row + frame.rows, grid.rows)
    last_column = min(window.column + window.columns, frame.column + frame.columns, grid.columns)
    inside = Window(first_row, first_column, last_row - first_row, last_column - first_column)
    if inside == window:
        return read(inside)
    values = np.full((window.rows, window.columns), np.nan)
    if inside.rows > 0 and inside.columns > 0:
        row, column = inside.row - window.row, inside.column - window.column
        values[row : row + inside.rows, column : column + inside.columns] = read(inside)
    return values


def sample(surface: Surface, grid: Grid, x_m: FloatArray, y_m: FloatArray) -> FloatArray:
    """Return a surface at points [m], bilinear between the four cell centres around each.

    Unknown cells are left out and the weights of the others scaled up; NaN where all four are
    unknown. Points [m] and the result have shape ``(n_points,)``.
    """
    columns = (x_m - grid.west_m) / grid.cell_x_m - 0.5
    rows = (grid.north_m - y_m) / grid.cell_y_m - 0.5
    values = np.full(len(x_m), np.nan)
    with surface.reader() as read:
        for index, (row, column) in enumerate(zip(rows, columns, strict=True)):
            top, left = int(np.floor(row)), int(np.floor(column))
            near_grid = -1 <= top < grid.rows and -1 <= left < grid.columns
            if not near_grid:
                continue
            cells = read(Window(top, left, 2, 2))
            down, right = row - top, column - left
            weights = np.outer([1 - down, down], [1 - right, right])
            weights[np.isnan(cells)] = 0
            if weights.sum() > 0:
                values[index] = np.nansum(weights * cells) / weights.sum()
    return values


def affine_of(grid: Grid) -> Any:
    """Return the affine transform of the grid in CRS units."""
    from affine import Affine

    unit = grid.crs_unit_m
    west, north = grid.west_m / unit, grid.north_m / unit
    return Affine(grid.cell_x_m / unit, 0, west, 0, -grid.cell_y_m / unit, north)
