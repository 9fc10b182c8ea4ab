"""The maps: thickness as a cloud-optimised GeoTIFF, and the vectors as a GeoPackage.

Both are in the survey's own CRS and units, whatever the estimate was computed in.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

    import geopandas as gpd
    from numpy.typing import NDArray

    from reclaim.estimate import Estimate
    from reclaim.report.results import Document
    from reclaim.site.model import Grid, Window

CACHE_MB = 64
"""Upper bound of GDAL's block cache, so that memory does not grow with the map."""

_TILE = 512
_LAYERS = ("zones", "footprint", "exclusions", "cores")


def write_thickness(
    path: Path, grid: Grid, blocks: Iterable[tuple[Window, NDArray[np.floating[Any]]]]
) -> None:
    """Write dug thickness [m] as a cloud-optimised GeoTIFF, block by block.

    Parameters
    ----------
    path
        Where to; a plain GeoTIFF stands beside it while it is written.
    grid
        The site's grid; its CRS unit scales the corner and the cells.
    blocks
        Windows of the grid with their thickness, NaN where nothing is dug; cells in no block are
        NaN.
    """
    import rasterio
    from rasterio.shutil import copy
    from rasterio.windows import Window as RasterWindow

    unit = grid.crs_unit_m
    draft = path.with_suffix(".draft.tif")
    profile = {
        "driver": "GTiff",
        "width": grid.columns,
        "height": grid.rows,
        "count": 1,
        "dtype": "float32",
        "nodata": float("nan"),
        "crs": grid.crs_wkt or None,
        "transform": rasterio.Affine(
            grid.cell_x_m / unit, 0.0, grid.west_m / unit,
            0.0, -grid.cell_y_m / unit, grid.north_m / unit,
        ),
        "tiled": True,
        "blockxsize": _TILE,
        "blockysize": _TILE,
        "compress": "deflate",
        "sparse_ok": True,
        "bigtiff": "if_safer",
    }  # fmt: skip
    with rasterio.Env(GDAL_CACHEMAX=CACHE_MB):
        with rasterio.open(draft, "w", **profile) as raster:
            raster.set_band_description(1, "Dug thickness, cover and waste [m]")
            for window, thickness in blocks:
                raster.write(
                    thickness.astype(np.float32, copy=False),
                    1,
                    window=RasterWindow(window.column, window.row, window.columns, window.rows),
                )
        copy(
            draft, path, driver="COG", compress="deflate", predictor="yes", overviews="auto",
            resampling="average", bigtiff="if_safer",
        )  # fmt: skip
    draft.unlink()


def write_vectors(path: Path, estimate: Estimate, document: Document) -> None:
    """Write zones, footprint, exclusions and cores, each a layer, with what was found there.

    Parameters
    ----------
    path
        Of the GeoPackage.
    estimate
        Read for shapes, collars and core composites.
    document
        From `results`, for the numbers of each zone.
    """
    frames = {
        "zones": _zones(estimate, document),
        "footprint": _shapes(estimate, estimate.site.footprint.as_given),
        "exclusions": _shapes(estimate, estimate.site.footprint.exclusions),
        "cores": _cores(estimate),
    }
    for layer in _LAYERS:
        geometry = "Point" if layer == "cores" else "MultiPolygon"
        frames[layer].to_file(
            path, driver="GPKG", layer=layer, engine="pyogrio", geometry_type=geometry
        )


def _in_crs(estimate: Estimate, shape: Any) -> Any:
    """Return a shape in CRS units."""
    from shapely import transform

    unit = estimate.site.grid.crs_unit_m
    return transform(shape, lambda points: points / unit)


def _frame(estimate: Estimate, columns: Any, shapes: list[Any]) -> gpd.GeoDataFrame:
    import geopandas as gpd

    return gpd.GeoDataFrame(columns, geometry=shapes, crs=estimate.site.grid.crs_wkt or None)


def _zones(estimate: Estimate, document: Document) -> gpd.GeoDataFrame:
    rows = {row["name"]: row for row in document["excavation"]["zones"]}
    zones = estimate.site.footprint.zones
    columns: dict[str, Any] = {
        "name": [zone.name for zone in zones],
        "area_m2": [rows[zone.name]["area_m2"] for zone in zones],
        "cover_m3": [rows[zone.name]["cover_m3"] for zone in zones],
        "waste_m3": [rows[zone.name]["waste_m3"]["value"] for zone in zones],
        "waste_m3_p10": [rows[zone.name]["waste_m3"]["low"] for zone in zones],
        "waste_m3_p90": [rows[zone.name]["waste_m3"]["high"] for zone in zones],
        "overdig_m3": [rows[zone.name]["overdig_m3"] for zone in zones],
        "left_in_slopes_m3": [rows[zone.name]["left_in_slopes_m3"] for zone in zones],
    }
    return _frame(estimate, columns, [_in_crs(estimate, zone.polygon) for zone in zones])


def _shapes(estimate: Estimate, shape: Any) -> gpd.GeoDataFrame:
    """Return one row, or none where the shape is empty."""
    shapes = [] if shape.is_empty else [_in_crs(estimate, shape)]
    return _frame(
        estimate, {"area_m2": np.array([shape.area] if shapes else [], dtype=float)}, shapes
    )


def _cores(estimate: Estimate) -> gpd.GeoDataFrame:
    from shapely import points

    collars = estimate.site.cores.collars
    unit = estimate.site.grid.crs_unit_m
    columns = collars.drop(columns=["x_m", "y_m"]).reset_index(drop=True)
    if estimate.core_summary is not None:
        found = estimate.core_summary.per_core.drop(columns=["zone"])
        columns = columns.merge(found, on="core_id", how="left")
    xy = collars[["x_m", "y_m"]].to_numpy(float) / unit
    return _frame(estimate, columns, list(points(xy)) if len(xy) else [])
