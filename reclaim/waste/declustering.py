"""Weights that undo clustering: a core alone in a corner speaks for more ground."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

FloatArray = NDArray[np.floating[Any]]


def area_weights(places_m: FloatArray, outline: BaseGeometry) -> FloatArray:
    """Return the share of an outline that lies nearer to each place than to any other.

    Parameters
    ----------
    places_m
        East and north [m], shape ``(n, 2)``; places may coincide, and may lie outside.
    outline
        Polygon or polygons to share out.

    Returns
    -------
    ndarray
        Adds to 1, shape ``(n,)``. Places that coincide divide their area evenly.

    Raises
    ------
    ValueError
        No place, or an outline without area.

    Notes
    -----
    Polygons of influence (Thiessen, Voronoi), clipped to the outline: Isaaks and Srivastava
    (1989), An Introduction to Applied Geostatistics, chapter 10.
    """
    import shapely

    if len(places_m) == 0 or not outline.area > 0:
        raise ValueError("Areas of influence need a place and an outline with an area.")
    own, member = np.unique(places_m, axis=0, return_inverse=True)
    member = member.reshape(-1)
    cells = shapely.get_parts(
        shapely.voronoi_polygons(
            shapely.MultiPoint(own), extend_to=shapely.box(*_wide(own, outline)), ordered=True
        )
        if len(own) > 1
        else outline
    )
    areas = shapely.area(shapely.intersection(cells, outline)) if len(own) > 1 else np.ones(1)
    shared = areas[member] / np.bincount(member)[member]
    return np.asarray(shared / shared.sum())


def cell_weights(places_m: FloatArray, cell_m: float, origins: int = 8) -> FloatArray:
    """Return weights that give every occupied square of a net the same sum.

    Parameters
    ----------
    places_m
        East and north [m], shape ``(n, 2)``.
    cell_m
        Side of a square [m].
    origins
        The net is shifted this many times along its diagonal and the weights added up.

    Returns
    -------
    ndarray
        Adds to 1, shape ``(n,)``.

    Raises
    ------
    ValueError
        Unless the side is positive.

    Notes
    -----
    Cell declustering: Isaaks and Srivastava (1989), chapter 10; shifts of the origin as in
    Deutsch and Journel (1998), GSLIB, section VI.2.
    """
    if not cell_m > 0:
        raise ValueError("The side of a cell must be positive.")
    weights = np.zeros(len(places_m))
    start = places_m.min(axis=0) - 0.005 * cell_m
    for shift in range(origins):
        cell = np.floor((places_m - start + cell_m * shift / origins) / cell_m)
        _, member = np.unique(cell, axis=0, return_inverse=True)
        member = member.reshape(-1)
        weights += 1 / np.bincount(member)[member]
    return np.asarray(weights / weights.sum())


def usual_cell_m(places_m: FloatArray, area_m2: float) -> float:
    """Return the side of a square as large as the ground there is for each place [m]."""
    return float(np.sqrt(area_m2 / len(places_m)))


def _wide(places_m: FloatArray, outline: BaseGeometry) -> tuple[float, float, float, float]:
    """Return a box around all, so wide that every clipped cell is whole."""
    west, south, east, north = outline.bounds
    lows = np.minimum(places_m.min(axis=0), [west, south])
    highs = np.maximum(places_m.max(axis=0), [east, north])
    margin = float((highs - lows).max()) + 1.0
    return (lows[0] - margin, lows[1] - margin, highs[0] + margin, highs[1] + margin)
