"""The maps: thickness and kriged blocks as GeoTIFF, and the vectors as a GeoPackage.

All are in the survey's own CRS and units, whatever the estimate was computed in.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from reclaim.report.core_study import block_rows, next_core_rows

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

    import geopandas as gpd
    from numpy.typing import NDArray

    from reclaim.estimate import Estimate
    from reclaim.ground import ChanceMap
    from reclaim.report.results import Document
    from reclaim.site.model import Grid, Window

CACHE_BYTES = 64 << 20
"""Upper bound of GDAL's block cache, so that memory does not grow with the map."""

_TILE = 512
_LAYERS = ("zones", "footprint", "exclusions", "cores", "hazards")
_POINTS = ("cores", "hazards")


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
    with rasterio.Env(GDAL_CACHEMAX=CACHE_BYTES):
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


def write_chance(path: Path, grid: Grid, drawn: ChanceMap) -> None:
    """Write the chance that the waste is thicker than some depth as a GeoTIFF.

    Parameters
    ----------
    path
        Where to.
    grid
        The site's grid; its CRS unit scales corner and cells.
    drawn
        From the ground study; its cells may be merged cells of the grid.
    """
    import rasterio

    unit = grid.crs_unit_m
    transform = rasterio.Affine(
        drawn.cell_x_m / unit, 0.0, drawn.west_m / unit,
        0.0, -drawn.cell_y_m / unit, drawn.north_m / unit,
    )  # fmt: skip
    rows, columns = drawn.chance.shape
    with rasterio.open(
        path, "w", driver="GTiff", width=columns, height=rows, count=1, dtype="float32",
        nodata=float("nan"), crs=grid.crs_wkt or None, transform=transform, compress="deflate",
    ) as raster:  # fmt: skip
        words = f"Chance that the waste is thicker than {drawn.thicker_than_m:g} m [-]"
        raster.set_band_description(1, words)
        raster.write(drawn.chance.astype(np.float32), 1)


def write_blocks(path: Path, estimate: Estimate) -> None:
    """Write the kriged blocks as a GeoTIFF, one band for each column of ``kriged_blocks.csv``.

    Parameters
    ----------
    path
        Where to; nothing is written without a model of the pattern in space.
    estimate
        Read for the blocks and the map that they were cut from.

    Notes
    -----
    Where two zones share a square, it has their mean by volume, and the sum of their volumes.
    """
    import rasterio

    study, picture, grid = estimate.core_study, estimate.thickness_map, estimate.site.grid
    rows = [] if study is None else block_rows(study)
    if study is None or study.blocks is None or not rows:
        return
    places, (side_x, side_y) = study.blocks.places_m, study.blocks.side_m
    column = np.floor((places[:, 0] - picture.west_m) / side_x).astype(int)
    row = np.floor((picture.north_m - places[:, 1]) / side_y).astype(int)
    shape = (int(row.max()) + 1, int(column.max()) + 1)
    volume = np.zeros(shape)
    np.add.at(volume, (row, column), study.blocks.volume_m3)
    bands = {"volume_m3": np.where(volume > 0, volume, np.nan)}
    for name in rows[0]:
        if name not in {"x_m", "y_m", "volume_m3"}:
            total = np.zeros(shape)
            values = np.array([block[name] for block in rows])
            np.add.at(total, (row, column), study.blocks.volume_m3 * values)
            bands[name] = np.divide(total, volume, out=np.full(shape, np.nan), where=volume > 0)
    unit = grid.crs_unit_m
    transform = rasterio.Affine(
        side_x / unit, 0.0, picture.west_m / unit, 0.0, -side_y / unit, picture.north_m / unit
    )
    with rasterio.open(
        path, "w", driver="GTiff", width=shape[1], height=shape[0], count=len(bands),
        dtype="float32", nodata=float("nan"), crs=grid.crs_wkt or None, transform=transform,
        compress="deflate",
    ) as raster:  # fmt: skip
        for number, (name, band) in enumerate(bands.items(), start=1):
            raster.set_band_description(number, name)
            raster.write(band.astype(np.float32), number)


def write_vectors(path: Path, estimate: Estimate, document: Document) -> None:
    """Write zones, footprint, exclusions, cores and hazards, each a layer with what was found.

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
        "hazards": _hazards(estimate),
    }
    for layer in _LAYERS:
        geometry = "Point" if layer in _POINTS else "MultiPolygon"
        frames[layer].to_file(
            path, driver="GPKG", layer=layer, engine="pyogrio", geometry_type=geometry
        )
    for layer, frame in _study_points(estimate).items():
        frame.to_file(path, driver="GPKG", layer=layer, engine="pyogrio", geometry_type="Point")


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


def _hazards(estimate: Estimate) -> gpd.GeoDataFrame:
    """Return one point per core that a caution names, with the most urgent level."""
    from shapely import points

    marks = estimate.hazards.marks
    unit = estimate.site.grid.crs_unit_m
    columns = {
        "core_id": [mark.name for mark in marks],
        "level": [mark.level for mark in marks],
        "cautions": [", ".join(mark.keys) for mark in marks],
    }
    xy = np.array([(mark.x_m, mark.y_m) for mark in marks], dtype=float).reshape(-1, 2) / unit
    return _frame(estimate, columns, list(points(xy)) if len(xy) else [])


def _study_points(estimate: Estimate) -> dict[str, gpd.GeoDataFrame]:
    """Return where to core next and the kriged blocks, as far as the core study has them."""
    import pandas as pd
    from shapely import points

    study = estimate.core_study
    if study is None:
        return {}
    unit = estimate.site.grid.crs_unit_m
    frames = {}
    for layer, rows in (
        ("next_cores", next_core_rows(study)),
        ("kriged_blocks", block_rows(study)),
    ):
        if rows:
            table = pd.DataFrame(rows)
            xy = table[["x_m", "y_m"]].to_numpy(dtype=float) / unit
            frames[layer] = _frame(estimate, table.drop(columns=["x_m", "y_m"]), list(points(xy)))
    return frames
