"""A line as a linear system: what reaches each machine when every machine sends shares onward."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.floating[Any]]
Transfers = Mapping[tuple[str, str], FloatArray]

_LEAST_WAY_OUT = 1e-12


def solve_flows(feed: Mapping[str, FloatArray], transfers: Transfers) -> dict[str, FloatArray]:
    """Return what reaches each machine, recycles included.

    Parameters
    ----------
    feed
        What enters from outside by machine, any shape, e.g. ``(n_draws, n_materials)``. Its keys
        name every machine of the line; arrays of zeros for those that take no fresh feed.
    transfers
        Share that a machine sends to another, same shape, by (from, to).

    Raises
    ------
    ValueError
        Where a loop has no way out.

    Examples
    --------
    One machine that returns half of what it takes to itself:

    >>> flows = solve_flows({"mill": np.ones(1)}, {("mill", "mill"): np.full(1, 0.5)})
    >>> float(flows["mill"][0])
    2.0

    Notes
    -----
    Gaussian elimination of ``x_j = f_j + sum_i a_ij x_i``, machine by machine, on whole arrays.
    For shares that add to at most one the matrix is an M-matrix and needs no pivoting (Golub and
    Van Loan 2013, Matrix Computations, section 4.1). Without recycles and in the order of the
    line it is one pass from the feed to the end.
    """
    order = feed_to_end(list(feed), transfers)
    inflow = {name: np.array(feed[name], dtype=float) for name in order}
    share = dict(transfers)
    for position, machine in enumerate(order):
        own = share.pop((machine, machine), None)
        if own is not None:
            if np.any(own > 1 - _LEAST_WAY_OUT):
                raise ValueError(f"The loop through {machine!r} has no way out.")
            inflow[machine] = inflow[machine] / (1 - own)
        later = order[position + 1 :]
        upstream = {name: share[name, machine] for name in later if (name, machine) in share}
        if own is not None:
            upstream = {name: part / (1 - own) for name, part in upstream.items()}
            share.update({(name, machine): part for name, part in upstream.items()})
        for target in later:
            onward = share.get((machine, target))
            if onward is None:
                continue
            inflow[target] = inflow[target] + onward * inflow[machine]
            for name, part in upstream.items():
                share[name, target] = share.get((name, target), 0.0) + part * onward
    for position in range(len(order) - 1, -1, -1):
        machine = order[position]
        for name in order[position + 1 :]:
            if (name, machine) in share:
                inflow[machine] = inflow[machine] + share[name, machine] * inflow[name]
    return {name: inflow[name] for name in feed}


def circuits(machines: list[str], links: Iterable[tuple[str, str]]) -> list[list[str]]:
    """Return the machines from feed to end, those that feed one another as one circuit.

    Parameters
    ----------
    machines
        Names.
    links
        Pairs (from, to).

    Examples
    --------
    >>> circuits(["mill", "screen", "belt"], [("mill", "screen"), ("screen", "mill"),
    ...     ("screen", "belt")])
    [['mill', 'screen'], ['belt']]

    Notes
    -----
    Strongly connected components by two depth-first searches (Kosaraju; Sharir 1981, Computers
    and Mathematics with Applications 7, 67-72), which come out in the order of the flow.
    """
    pairs = list(links)
    upstream: dict[str, list[str]] = {name: [] for name in machines}
    for origin, target in pairs:
        upstream[target].append(origin)
    order = feed_to_end(machines, pairs)
    place = {name: position for position, name in enumerate(order)}
    found: list[list[str]] = []
    seen: set[str] = set()
    for start in order:
        if start in seen:
            continue
        seen.add(start)
        circuit, waiting = [], [start]
        while waiting:
            name = waiting.pop()
            circuit.append(name)
            new = [origin for origin in upstream[name] if origin not in seen]
            seen.update(new)
            waiting.extend(dict.fromkeys(new))
        found.append(sorted(circuit, key=place.__getitem__))
    return found


def feed_to_end(machines: list[str], links: Iterable[tuple[str, str]]) -> list[str]:
    """Order the machines so that, recycles apart, each comes after those that feed it."""
    onward: dict[str, list[str]] = {name: [] for name in machines}
    for origin, target in links:
        onward[origin].append(target)
    finished: list[str] = []
    seen: set[str] = set()
    for start in machines:
        stack = [(start, iter(onward[start]))] if start not in seen else []
        seen.add(start)
        while stack:
            name, targets = stack[-1]
            following = next((target for target in targets if target not in seen), None)
            if following is None:
                finished.append(name)
                stack.pop()
            else:
                seen.add(following)
                stack.append((following, iter(onward[following])))
    return finished[::-1]
