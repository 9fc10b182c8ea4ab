"""Where the boxes and ribbons of a flow diagram go: columns by rank, order by fewest crossings.

A layered drawing after Sugiyama, Tagawa and Toda (1981), IEEE Transactions on Systems, Man, and
Cybernetics 11(2), 109-125: longest-path columns, way points on long ribbons, barycentre sweeps.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

SWEEPS = 12


@dataclass(slots=True)
class Node:
    """A box, or a way point (`is_way_point`) of a ribbon that passes a column.

    `top` and `height` are in tonnes, downwards from the top of the drawing.
    """

    name: str
    column: int
    height: float
    is_way_point: bool = False
    top: float = 0.0


@dataclass(frozen=True, slots=True)
class Ribbon:
    """One stream from box to box: its mass [t] and the way points between."""

    origin: str
    target: str
    wet_t: float
    via: tuple[str, ...]


@dataclass(slots=True)
class Layout:
    """The finished drawing: nodes by name, ribbons forward, and loops that run back."""

    nodes: dict[str, Node]
    ribbons: list[Ribbon]
    loops: list[Ribbon]
    height: float = 0.0
    columns: list[list[str]] = field(default_factory=list)


def lay_out(streams: Sequence[tuple[str, str, float]], ends: Sequence[str], gap: float) -> Layout:
    """Place every box of a line.

    Parameters
    ----------
    streams
        Origin, target and wet mass [t] of each; the first origin is the start of the line.
    ends
        Boxes to put in the last column, in the order they should tend to (products, losses).
    gap
        Room between boxes of a column [t].
    """
    forward, back = _split_loops(streams)
    column = _columns(forward, ends)
    nodes = {name: Node(name, place, _through(name, streams)) for name, place in column.items()}
    ribbons = []
    for origin, target, mass in forward:
        via = []
        for place in range(column[origin] + 1, column[target]):
            name = f"{origin}>{target}@{place}"
            nodes[name] = Node(name, place, mass, is_way_point=True)
            via.append(name)
        ribbons.append(Ribbon(origin, target, mass, tuple(via)))
    loops = [Ribbon(origin, target, mass, ()) for origin, target, mass in back]
    layout = Layout(nodes, ribbons, loops)
    layout.columns = _ordered(layout, ends)
    _stack(layout, gap)
    return layout


def _split_loops(
    streams: Sequence[tuple[str, str, float]],
) -> tuple[list[tuple[str, str, float]], list[tuple[str, str, float]]]:
    """Merge streams between the same boxes and part those that lead back to an earlier box."""
    merged: dict[tuple[str, str], float] = {}
    for origin, target, mass in streams:
        merged[origin, target] = merged.get((origin, target), 0.0) + mass
    onward: dict[str, list[str]] = {}
    for origin, target in merged:
        onward.setdefault(origin, []).append(target)
    back: set[tuple[str, str]] = set()
    finished: set[str] = set()
    for start in dict.fromkeys(origin for origin, _ in merged):
        path: list[str] = []
        stack = [(start, iter(onward.get(start, ())))]
        if start in finished:
            continue
        path.append(start)
        while stack:
            name, targets = stack[-1]
            following = next(targets, None)
            if following is None:
                finished.add(name)
                path.pop()
                stack.pop()
            elif following in path:
                back.add((name, following))
            elif following not in finished:
                path.append(following)
                stack.append((following, iter(onward.get(following, ()))))
    forward = [(*pair, mass) for pair, mass in merged.items() if pair not in back]
    return forward, [(*pair, merged[pair]) for pair in merged if pair in back]


def _columns(forward: list[tuple[str, str, float]], ends: Sequence[str]) -> dict[str, int]:
    """Return the column of each box: the longest way to it, ends in the last column."""
    column = {name: 0 for stream in forward for name in stream[:2]}
    for _ in column:
        for origin, target, _mass in forward:
            column[target] = max(column[target], column[origin] + 1)
    last = max(column.values(), default=0)
    return {name: last if name in ends else place for name, place in column.items()}


def _through(name: str, streams: Sequence[tuple[str, str, float]]) -> float:
    """Return the larger of what enters a box and what leaves it [t]."""
    enters = sum(mass for _, target, mass in streams if target == name)
    leaves = sum(mass for origin, _, mass in streams if origin == name)
    return max(enters, leaves)


def _ordered(layout: Layout, ends: Sequence[str]) -> list[list[str]]:
    """Return node names by column, top to bottom, after barycentre sweeps to and fro."""
    last = max(node.column for node in layout.nodes.values())
    columns: list[list[str]] = [[] for _ in range(last + 1)]
    for node in layout.nodes.values():
        columns[node.column].append(node.name)
    columns[last].sort(key=lambda name: ends.index(name) if name in ends else -1)
    before: dict[str, list[tuple[str, float]]] = {name: [] for name in layout.nodes}
    after: dict[str, list[tuple[str, float]]] = {name: [] for name in layout.nodes}
    for ribbon in layout.ribbons:
        way = (ribbon.origin, *ribbon.via, ribbon.target)
        for origin, target in itertools.pairwise(way):
            after[origin].append((target, ribbon.wet_t))
            before[target].append((origin, ribbon.wet_t))
    best, fewest = columns, _crossings(columns, after)
    for sweep in range(SWEEPS):
        leftward = sweep % 2 == 1
        order = range(last - 1, -1, -1) if leftward else range(1, last + 1)
        columns = [list(names) for names in columns]
        for place in order:
            beside = columns[place + 1 if leftward else place - 1]
            links = after if leftward else before
            rank = {name: (index + 0.5) / len(beside) for index, name in enumerate(beside)}
            columns[place].sort(key=lambda name: _barycentre(links[name], rank))
        crossings = _crossings(columns, after)
        if crossings < fewest:
            best, fewest = columns, crossings
    return best


def _barycentre(links: list[tuple[str, float]], rank: dict[str, float]) -> float:
    """Return the mean place of a node's neighbours, thin ribbons counting as much as thick."""
    places = [rank[name] for name, _ in links if name in rank]
    return sum(places) / len(places) if places else 0.5


def _crossings(columns: list[list[str]], after: dict[str, list[tuple[str, float]]]) -> float:
    """Return the crossings between neighbouring columns, and a little for their width."""
    total = 0.0
    thickest = max((mass for links in after.values() for _, mass in links), default=1.0)
    for names, following in itertools.pairwise(columns):
        place = {name: index for index, name in enumerate(following)}
        links = [
            (index, place[target], mass)
            for index, name in enumerate(names)
            for target, mass in after[name]
        ]
        for first in range(len(links)):
            for second in range(first):
                a, b = links[first], links[second]
                if (a[0] - b[0]) * (a[1] - b[1]) < 0:
                    total += 1 + min(a[2], b[2]) / thickest
    return total


def _stack(layout: Layout, gap: float) -> None:
    """Give every node its height above the others: near its neighbours, never overlapping."""
    for names in layout.columns:
        at = 0.0
        for name in names:
            node = layout.nodes[name]
            node.top = at
            at += node.height + gap
        layout.height = max(layout.height, at - gap)
    links: dict[str, list[str]] = {name: [] for name in layout.nodes}
    for ribbon in layout.ribbons:
        way = (ribbon.origin, *ribbon.via, ribbon.target)
        for origin, target in itertools.pairwise(way):
            links[target].append(origin)
            links[origin].append(target)
    for _ in range(SWEEPS):
        for names in layout.columns:
            wished = []
            for name in names:
                node = layout.nodes[name]
                beside = [layout.nodes[other] for other in links[name]]
                weight = sum(other.height for other in beside) or 1.0
                middle = sum((n.top + n.height / 2) * n.height for n in beside) / weight
                wished.append(middle - node.height / 2)
            _settle(layout, names, wished, gap)


def _settle(layout: Layout, names: list[str], wished: list[float], gap: float) -> None:
    """Move a column's nodes towards their wishes, in order, inside the drawing."""
    at = 0.0
    for name, wish in zip(names, wished, strict=True):
        node = layout.nodes[name]
        node.top = max(wish, at)
        at = node.top + node.height + gap
    below = layout.height
    for name in reversed(names):
        node = layout.nodes[name]
        node.top = min(node.top, below - node.height)
        below = node.top - gap
