"""Shares of each material that a machine sends to its outlets when dry: drawn, at most one."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from reclaim.assumptions import Assumption, quantity_assumption
from reclaim.reference import machine_shares, material_names

if TYPE_CHECKING:
    from collections.abc import Mapping

    from reclaim.plant.machines import Kind
    from reclaim.plant.rows import RowDraws
    from reclaim.site.plantfile import MachineSpec

FloatArray = NDArray[np.floating[Any]]


def drawn_shares(
    machine: MachineSpec, kind: Kind, rows: RowDraws, computed: Mapping[str, FloatArray]
) -> dict[str, FloatArray]:
    """Return the shares of every outlet but the first, which takes what they leave [-].

    Parameters
    ----------
    machine, kind
        From the plant file and ``machines.csv``.
    rows
        Source of the draws. All materials of an outlet share one stream of probabilities: a
        machine that catches more of one material catches more of everything.
    computed
        Shares by outlet that physics gives (a screen), shape ``(n_sizes, n_rows, n_materials)``;
        a share stated in the plant file replaces them.

    Returns
    -------
    By outlet, shape ``(n_rows, n_materials)``, with a first axis of sizes where computed. Where
    drawn shares add to more than one they are scaled to one.
    """
    _, *named = kind.outlets
    shares = {}
    for outlet in named:
        share = computed[outlet].copy() if outlet in computed else _reference(machine, outlet, rows)
        for column, material in enumerate(material_names()):
            stated = machine.shares.get((outlet, material))
            if stated is not None:
                share[..., column] = rows.of(stated, f"share {machine.name} {outlet}")
        shares[outlet] = share
    total = np.maximum(np.sum(list(shares.values()), axis=0), 1.0) if shares else 1.0
    return {outlet: share / total for outlet, share in shares.items()}


def _reference(machine: MachineSpec, outlet: str, rows: RowDraws) -> FloatArray:
    stream = f"share {machine.name} {outlet}"
    table = machine_shares()
    share = np.zeros((rows.n_rows, len(material_names())))
    for column, material in enumerate(material_names()):
        quantity = table.get((machine.kind, outlet, material))
        if quantity is not None:
            share[:, column] = rows.of(_assumption(stream, quantity))
    return share


def _assumption(stream: str, quantity: Any) -> Assumption:
    return quantity_assumption(stream, quantity, 0.0, 1.0)
