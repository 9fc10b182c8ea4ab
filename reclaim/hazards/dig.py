"""What the shape of the dig says: depth, slope, and what stands near its edge."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from reclaim.hazards.rules import caution_rules

if TYPE_CHECKING:
    from reclaim.hazards.caution import Caution
    from reclaim.site.model import Footprint


def dig_cautions(
    *,
    deepest_m: float,
    overdig_m: float,
    side_slope: float,
    exclusion_distance_m: float | None,
) -> tuple[tuple[Caution, ...], tuple[str, ...]]:
    """Raise the cautions on the excavation.

    Parameters
    ----------
    deepest_m, overdig_m
        Greatest dug thickness, and what is dug below the base [m].
    side_slope
        Horizontal to 1 vertical [-]; 0 for vertical faces.
    exclusion_distance_m
        Shortest distance in plan from the edge of the dig to an excluded area [m]; None where
        there is no excluded area.

    Returns
    -------
    cautions, not_assessed
        A sentence for each thing the site file says nothing about.
    """
    not_assessed = (
        (
            "Stability of the faces was not calculated: strength of the waste, water in it and "
            "loads at the edge are not known."
        ),
        (
            "Distances to buildings, roads, services, power lines and the property boundary were "
            "not assessed: only excluded areas are given."
        ),
        "Settlement and sliding of the waste that stays were not assessed.",
    )
    depth_m = deepest_m + overdig_m
    if not math.isfinite(depth_m) or deepest_m <= 0:
        return (), (*not_assessed, "Depth and slope were not assessed: nothing is dug.")
    return (
        *depth_cautions(depth_m),
        *slope_cautions(side_slope, depth_m),
        *edge_cautions(exclusion_distance_m, side_slope, depth_m),
    ), not_assessed


def depth_cautions(depth_m: float) -> tuple[Caution, ...]:
    """Raise what the depth of the cut alone calls for; `depth_m` [m]."""
    table = caution_rules()
    cut = f"The dig is up to {depth_m:.1f} m deep, over-dig included"
    cautions = []
    for key in ("protective_system", "atmosphere_test"):
        if depth_m >= table[key].number:
            cautions.append(table[key].raised_by(f"{cut}; the limit is {table[key].limit}."))
    engineer = table["engineer_designs"]
    if depth_m > engineer.number:
        cautions.append(engineer.raised_by(f"{cut}; the limit is {engineer.limit}."))
    cautions.append(
        table["edge_setback"].raised_by(f"{cut}; keep back {table['edge_setback'].limit}.")
    )
    return tuple(cautions)


def slope_cautions(side_slope: float, depth_m: float) -> tuple[Caution, ...]:
    """Raise a caution on a slope steeper than the weakest soil class allows.

    Parameters
    ----------
    side_slope
        Horizontal to 1 vertical [-].
    depth_m
        Of the cut [m]; no slope is asked for where no protective system is.
    """
    table = caution_rules()
    steepest = table["slope_too_steep"]
    if depth_m < table["protective_system"].number or side_slope >= steepest.number:
        return ()
    if side_slope <= table["vertical_faces"].number:
        why = f"The side slope in the site file is {side_slope:g}, over {depth_m:.1f} m of depth."
        return (table["vertical_faces"].raised_by(why),)
    why = (
        f"The side slope in the site file is {side_slope:g} H : 1 V "
        f"({slope_degrees(side_slope):.0f} degrees), over {depth_m:.1f} m of depth; the limit is "
        f"{steepest.limit}."
    )
    return (steepest.raised_by(why),)


def edge_cautions(
    distance_m: float | None, side_slope: float, depth_m: float
) -> tuple[Caution, ...]:
    """Raise a caution where the cut comes near an excluded area.

    Parameters
    ----------
    distance_m
        From the edge of the dig to the nearest excluded area [m], or None.
    side_slope
        Horizontal to 1 vertical [-].
    depth_m
        Of the deepest cut [m], taken to stand at the nearest edge, on the safe side.

    Notes
    -----
    The toe of the cut lies ``distance + side_slope * depth`` from the excluded area. The ground
    there is undercut where a line of 1.5 H : 1 V up from the toe comes out inside it.
    """
    if distance_m is None:
        return ()
    table = caution_rules()
    toe_m = distance_m + side_slope * depth_m
    where = (
        f"An excluded area lies {distance_m:.1f} m from the edge of the dig, which is up to "
        f"{depth_m:.1f} m deep somewhere"
    )
    if toe_m < table["undercut"].number * depth_m:
        why = f"{where}; its toe is {toe_m:.1f} m away, inside the {table['undercut'].limit}."
        return (table["undercut"].raised_by(why),)
    near = table["edge_near_exclusion"]
    if distance_m < near.number * depth_m:
        return (near.raised_by(f"{where}; the limit is {near.limit}."),)
    return ()


def exclusion_distance(footprint: Footprint) -> float | None:
    """Return the shortest distance from the dig to an excluded area [m], None without one."""
    if footprint.exclusions.is_empty or footprint.outline.is_empty:
        return None
    return float(footprint.outline.distance(footprint.exclusions))


def slope_degrees(side_slope: float) -> float:
    """Return the angle from the horizontal [degrees] of a slope, horizontal to 1 vertical.

    Examples
    --------
    >>> round(slope_degrees(1.5), 2)
    33.69
    """
    return math.degrees(math.atan2(1.0, side_slope))
