"""What the shape of the dig says: depth, slope, water in the cut, and what stands near its edge."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from reclaim.hazards.rules import Rule, RuleBook, rule_book
from reclaim.reference import constant

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray
    from shapely.geometry.base import BaseGeometry

    from reclaim.ground.excavation import ThicknessMap
    from reclaim.hazards.caution import Caution

_BLOCK = 8  # cells along the side of the blocks that are sorted out by their distance first
SOIL_TYPE = (
    "Waste is taken as the weakest class of soil (type C, or loose and soft ground); it is no soil "
    "class, and only tests of this waste tell its strength."
)


@dataclass(frozen=True, slots=True)
class EdgeDistance:
    """How near the dig comes to something, and how deep it is there.

    Attributes
    ----------
    name
        What it is, as the sentence begins.
    distance_m
        Shortest distance in plan from the dug ground [m].
    depth_m, depth_distance_m
        Largest drop from the ground at the thing to the floor of the dig within two such drops,
        and how far away that is [m]; zero where the dig is too far or too shallow to be felt.
    reach_m
        How far that line, 1.5 horizontal to 1 vertical up from the floor of the dig, goes beyond
        the thing's nearest edge [m]; negative where it stays short of it.
    """

    name: str
    distance_m: float
    depth_m: float
    depth_distance_m: float
    reach_m: float


def dig_cautions(
    *,
    deepest_m: float,
    overdig_m: float,
    side_slope: float,
    left_in_slopes_m3: float = 0.0,
    edges: Sequence[tuple[str, EdgeDistance]] = (),
    receptors_given: bool = False,
    book: RuleBook | None = None,
) -> tuple[tuple[Caution, ...], tuple[str, ...]]:
    """Raise the cautions on the excavation.

    Parameters
    ----------
    deepest_m, overdig_m
        Greatest dug thickness, and what is dug below the base [m].
    side_slope
        Horizontal to 1 vertical [-]; 0 for vertical faces.
    left_in_slopes_m3
        Waste and cover that stay beside the dig [m3].
    edges
        Key of the rule, and distance, for every exclusion, boundary and receptor looked at.
    receptors_given
        Whether the user named a layer of receptors.
    book
        Rules that hold.

    Returns
    -------
    cautions, not_assessed
        A sentence for each thing the site file says nothing about.
    """
    book = book or rule_book()
    not_assessed = [
        (
            "Stability of the faces was not calculated: strength of the waste, water in it and "
            f"loads at the edge are not known. {SOIL_TYPE}"
        ),
        (
            "Services, power lines and roads were not assessed: they are in no file."
            if receptors_given
            else "Distances to buildings, roads, services, power lines and the property boundary "
            "were not assessed: no layer of receptors is given."
        ),
        "How far the waste that stays will settle or slide was not calculated.",
    ]
    depth_m = deepest_m + overdig_m
    if not math.isfinite(depth_m) or deepest_m <= 0:
        return (), (*not_assessed, "Depth and slope were not assessed: nothing is dug.")
    cautions = [
        *depth_cautions(depth_m, book),
        *slope_cautions(side_slope, depth_m, book),
        *remaining_fill(left_in_slopes_m3, deepest_m, book),
    ]
    for undercut_key, edge in edges:
        cautions += edge_cautions(edge, undercut_key, book)
    return tuple(cautions), tuple(not_assessed)


def depth_cautions(depth_m: float, book: RuleBook | None = None) -> tuple[Caution, ...]:
    """Raise what the depth of the cut alone calls for; `depth_m` [m]."""
    book = book or rule_book()
    cut = f"The dig is up to {depth_m:.1f} m deep, over-dig included"
    cautions = []
    reached = (
        (("protective_system", "protective_system_din"), depth_m.__ge__),
        (("atmosphere_test",), depth_m.__ge__),
        (("engineer_designs", "engineer_designs_din"), depth_m.__gt__),
    )
    for keys, passes in reached:
        passed = [rule for rule in _strictest_first(book, *keys) if passes(rule.number)]
        if passed:
            cautions.append(passed[0].raised_by(f"{cut}; the limit is {_limits(passed)}."))
    setbacks = sorted(
        book.of_profile("edge_setback", "edge_setback_din"), key=lambda rule: -rule.number
    )
    cautions.append(setbacks[0].raised_by(f"{cut}; keep back {_limits(setbacks)}."))
    for rule in book.of_profile("plant_setback"):
        cautions.append(
            rule.raised_by(f"{cut}; keep heavy plant back {rule.limit}, and on waste farther.")
        )
    return tuple(cautions)


def slope_cautions(
    side_slope: float, depth_m: float, book: RuleBook | None = None
) -> tuple[Caution, ...]:
    """Raise a caution on a slope steeper than the weakest soil class allows.

    Parameters
    ----------
    side_slope
        Horizontal to 1 vertical [-].
    depth_m
        Of the cut [m]; no slope is asked for where no protective system is.
    book
        Rules that hold.
    """
    book = book or rule_book()
    shallowest = _strictest_first(book, "protective_system", "protective_system_din")[0]
    flattest_first = sorted(
        book.of_profile("slope_too_steep", "slope_too_steep_din"), key=lambda rule: -rule.number
    )
    passed = [rule for rule in flattest_first if side_slope < rule.number]
    if depth_m < shallowest.number or not passed:
        return ()
    if side_slope <= book["vertical_faces"].number:
        why = f"The side slope in the site file is {side_slope:g}, over {depth_m:.1f} m of depth."
        return (book["vertical_faces"].raised_by(why),)
    why = (
        f"The side slope in the site file is {side_slope:g} H : 1 V "
        f"({slope_degrees(side_slope):.0f} degrees), over {depth_m:.1f} m of depth; the limit is "
        f"{_limits(passed)}. {SOIL_TYPE}"
    )
    return (passed[0].raised_by(why),)


def remaining_fill(
    left_m3: float, deepest_m: float, book: RuleBook | None = None
) -> tuple[Caution, ...]:
    """Raise a caution on fill that stays beside the dig [m3], up to `deepest_m` high [m]."""
    rule = (book or rule_book())["remaining_fill"]
    if left_m3 <= 0:
        return ()
    settles_m = rule.number * deepest_m
    why = (
        f"{left_m3:,.0f} m3 stay under the side slopes, beside faces up to {deepest_m:.1f} m high; "
        f"intact fill settles by {rule.limit}, here {settles_m:.1f} m or more where it is highest."
    )
    return (rule.raised_by(why),)


def edge_cautions(
    edge: EdgeDistance | None, undercut_key: str = "undercut", book: RuleBook | None = None
) -> tuple[Caution, ...]:
    """Raise a caution where the cut comes near something.

    Parameters
    ----------
    edge
        From `edge_distance`; None where there is no such thing.
    undercut_key
        The rule for an undercut: ``undercut`` for exclusions, ``boundary_undercut`` or
        ``structure_undercut``.
    book
        Rules that hold.
    """
    book = book or rule_book()
    if edge is None:
        return ()
    there = (
        f"{edge.name} lies {edge.distance_m:.1f} m from the dug ground; the dig goes "
        f"{edge.depth_m:.1f} m below its ground {edge.depth_distance_m:.1f} m away"
    )
    undercut = book[undercut_key]
    if edge.reach_m > 0:
        why = f"{there}, and the {undercut.limit} comes out {edge.reach_m:.1f} m inside it."
        return (undercut.raised_by(why),)
    near = book["edge_near_exclusion"]
    if undercut_key != "boundary_undercut" and edge.distance_m < near.number * edge.depth_m:
        return (near.raised_by(f"{there}; the limit is {near.limit}."),)
    return ()


def edge_distance(
    name: str,
    shape: BaseGeometry,
    dug: ThicknessMap,
    overdig_m: float,
    undercut_slope: float,
) -> EdgeDistance | None:
    """Measure how near the dig comes to a shape, and how far below its ground it goes there.

    Parameters
    ----------
    name, shape
        What it is, and its plan in metres; a polygon stands for the ground inside it.
    dug
        Dug thickness, today's ground and the floor of the dig.
    overdig_m
        Dug below that floor [m].
    undercut_slope
        Horizontal to 1 vertical of the line that tells an undercut [-].

    Returns
    -------
    EdgeDistance or None
        None where the shape is empty or nothing is dug.

    Notes
    -----
    From the floor of every dug cell a line goes up at `undercut_slope` towards the nearest point
    of the shape. The ground there is that of the nearest cell of the map, which reaches no farther
    than the footprint. Cells stand for their centres, so a reach of less than half a cell is not
    told.
    """
    from scipy.spatial import cKDTree
    from shapely import get_coordinates, points, shortest_line

    thickness_m = np.nan_to_num(dug.thickness_m)
    if shape.is_empty or not (thickness_m > 0).any():
        return None
    known_xy = _centres(dug, np.isfinite(dug.survey_m))
    ground_m = dug.survey_m[np.isfinite(dug.survey_m)]
    is_dug = (thickness_m > 0) & np.isfinite(dug.survey_m) & np.isfinite(dug.dig_m)
    highest_drop_m = float(ground_m.max() - dug.dig_m[is_dug].min()) + overdig_m
    depths = constant("influence_depths")
    furthest_m = max(undercut_slope, depths) * highest_drop_m
    is_dug &= _may_be_near(dug, is_dug, shape, furthest_m)
    floor_m = dug.dig_m[is_dug] - overdig_m
    lines = get_coordinates(shortest_line(points(_centres(dug, is_dug)), shape)).reshape(-1, 2, 2)
    feet = lines[:, 1]
    away_m = np.hypot(*(feet - lines[:, 0]).T)
    near = away_m <= max(furthest_m, float(away_m.min()))
    _, nearest = cKDTree(known_xy).query(feet[near])
    drop_m = ground_m[nearest] - floor_m[near]
    away_m = away_m[near]
    half_cell_m = 0.5 * math.hypot(dug.cell_x_m, dug.cell_y_m)
    felt_m = np.where(away_m <= depths * drop_m, drop_m, 0.0)
    return EdgeDistance(
        name=name,
        distance_m=max(0.0, float(away_m.min()) - half_cell_m),
        depth_m=float(felt_m.max()),
        depth_distance_m=float(away_m[int(felt_m.argmax())]),
        reach_m=float((undercut_slope * drop_m - away_m).max())
        - half_cell_m * max(1.0, undercut_slope),
    )


def _may_be_near(
    dug: ThicknessMap, is_dug: NDArray[np.bool_], shape: BaseGeometry, furthest_m: float
) -> NDArray[np.bool_]:
    """Mark the cells of blocks that may hold a dug cell so near to a shape, or the nearest one."""
    from shapely import distance, points

    row, column = (np.arange(size) // _BLOCK for size in is_dug.shape)
    held = np.zeros((row[-1] + 1, column[-1] + 1), dtype=bool)
    rows, columns = np.nonzero(is_dug)
    held[rows // _BLOCK, columns // _BLOCK] = True
    rows, columns = np.nonzero(held)
    x_m = dug.west_m + (columns + 0.5) * _BLOCK * dug.cell_x_m
    y_m = dug.north_m - (rows + 0.5) * _BLOCK * dug.cell_y_m
    away_m = distance(points(x_m, y_m), shape)
    half_block_m = 0.5 * _BLOCK * math.hypot(dug.cell_x_m, dug.cell_y_m)
    held[rows, columns] = away_m <= max(furthest_m, away_m.min() + half_block_m) + half_block_m
    return np.asarray(held[row[:, None], column])


def _centres(dug: ThicknessMap, chosen: NDArray[np.bool_]) -> NDArray[np.float64]:
    """Return x and y of the cells chosen [m], shape ``(n, 2)``."""
    rows, columns = np.nonzero(chosen)
    x_m = dug.west_m + (columns + 0.5) * dug.cell_x_m
    y_m = dug.north_m - (rows + 0.5) * dug.cell_y_m
    return np.column_stack([x_m, y_m])


def slope_degrees(side_slope: float) -> float:
    """Return the angle from the horizontal [degrees] of a slope, horizontal to 1 vertical.

    Examples
    --------
    >>> round(slope_degrees(1.5), 2)
    33.69
    """
    return math.degrees(math.atan2(1.0, side_slope))


def _strictest_first(book: RuleBook, *keys: str) -> list[Rule]:
    return sorted(book.of_profile(*keys), key=lambda rule: rule.number)


def _limits(rules: Sequence[Rule]) -> str:
    return "; also ".join(f"{rule.limit} ({rule.place})" for rule in rules)
