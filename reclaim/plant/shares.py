"""What each machine sends where: drawn shares of each material, adding to one."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from reclaim.assumptions import Draws, quantity_assumption
from reclaim.reference import machine_shares, material_names, read_rows

if TYPE_CHECKING:
    from reclaim.site.plantfile import LineFile, MachineSpec

FloatArray = NDArray[np.floating[Any]]


@dataclass(frozen=True, slots=True)
class Outlet:
    """One outlet of a machine, where it leads, and its shares ``(n_draws, n_materials)``."""

    machine: str
    outlet: str
    target: str
    share: FloatArray


def line_outlets(line: LineFile, draws: Draws) -> list[Outlet]:
    """Return every outlet of the line with its drawn shares.

    The first outlet of a machine kind takes what the others leave. All materials of an outlet
    share one stream of probabilities: a screen that lets more fines through lets more of
    everything through. Where drawn shares add to more than one they are scaled to one.
    """
    return [outlet for machine in line.machines for outlet in _machine_outlets(machine, draws)]


def outlets_of_kind(kind: str) -> list[str]:
    """Return the outlets of a machine kind, the one that takes the rest first."""
    return next(row["outlets"].split() for row in read_rows("machines.csv") if row["kind"] == kind)


def _machine_outlets(machine: MachineSpec, draws: Draws) -> list[Outlet]:
    rest, *named = outlets_of_kind(machine.kind)
    drawn = [_drawn_shares(machine, outlet, draws) for outlet in named]
    total = np.sum(drawn, axis=0) if drawn else np.zeros((draws.n_draws, len(material_names())))
    scale = np.maximum(total, 1.0)
    shares = [share / scale for share in drawn]
    shares.insert(0, np.maximum(1 - total / scale, 0.0))
    return [
        Outlet(machine.name, outlet, machine.outlets[outlet], share)
        for outlet, share in zip([rest, *named], shares, strict=True)
    ]


def _drawn_shares(machine: MachineSpec, outlet: str, draws: Draws) -> FloatArray:
    stream = f"share {machine.name} {outlet}"
    table = machine_shares()
    columns = []
    for material in material_names():
        assumption = machine.shares.get((outlet, material))
        if assumption is None and (machine.kind, outlet, material) in table:
            quantity = table[machine.kind, outlet, material]
            assumption = quantity_assumption(stream, quantity, 0.0, 1.0)
        columns.append(
            np.zeros(draws.n_draws) if assumption is None else draws.of(assumption, stream)
        )
    return np.stack(columns, axis=1)
