"""Particle size: how big the pieces of a material are, what a screen lets through, what is cut."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from reclaim.assumptions import quantity_assumption
from reclaim.reference import material_names, materials, quantity_of, read_rows

if TYPE_CHECKING:
    from reclaim.plant.rows import RowDraws
    from reclaim.site.plantfile import LineFile

FloatArray = NDArray[np.floating[Any]]

N_SIZES = 8
_NODES, _WEIGHTS = np.polynomial.hermite_e.hermegauss(N_SIZES)

# Share of each size group in a material [-], the same for every material.
SIZE_SHARES: FloatArray = _WEIGHTS / _WEIGHTS.sum()


def group_sizes(rows: RowDraws) -> FloatArray:
    """Return the size of each group of each material [mm], ``(n_sizes, n_rows, n_materials)``.

    Notes
    -----
    Sizes of a material are lognormal; its groups are the nodes of Gauss-Hermite quadrature
    (Abramowitz and Stegun 1964, 25.4.46), so few groups give the whole distribution. Medians of
    all materials are drawn together: waste that was ground finer was ground finer throughout.
    """
    table = {
        (row["material"], row["property"]): quantity_of(row)
        for row in read_rows("particle_sizes.csv")
    }
    median = np.stack(
        [
            rows.of(quantity_assumption("plant.particle_size", table[name, "median_mm"]))
            for name in material_names()
        ],
        axis=1,
    )
    spread = np.array([table[name, "spread"].mode for name in material_names()])
    return np.asarray(median * spread ** _NODES[:, None, None])


def undersize_share(size_mm: FloatArray, cut_mm: FloatArray, sharpness: FloatArray) -> FloatArray:
    """Return the share that passes a screen.

    Parameters
    ----------
    size_mm
        Any shape.
    cut_mm
        Size of which half passes [mm], broadcasting.
    sharpness
        Exponent of the curve [-]; infinite for a perfect screen.

    Examples
    --------
    >>> float(undersize_share(np.array(20.0), np.array(20.0), np.array(4.0)))
    0.5

    Notes
    -----
    Plitt (1971), CIM Bulletin 64, 42-47: to the oversize go 1 - exp(-ln 2 (size / cut)^sharpness).
    Karra (1979), CIM Bulletin 72, found 5.846 for a vibrating screen on rock.
    """
    with np.errstate(over="ignore"):
        return np.asarray(np.exp(-np.log(2) * (size_mm / cut_mm) ** sharpness))


def shredded_size(size_mm: FloatArray, top_size_mm: FloatArray) -> FloatArray:
    """Return the size of pieces that went through a shredder [mm].

    Small pieces hardly change, large ones come out just under the top size:
    1 / size after = 1 / size before + 1 / top size. Only combustible materials are cut; metal and
    stone pass whole. The form is a judgement.

    Parameters
    ----------
    size_mm
        Shape ``(n_sizes, n_rows, n_materials)``.
    top_size_mm
        Shape ``(n_rows,)``; infinite where nothing was shredded.
    """
    is_cut = np.array([item.group == "combustible" for item in materials()])
    top = top_size_mm[:, None]
    with np.errstate(invalid="ignore"):
        cut = size_mm / (1 + size_mm / top)
    return np.where(is_cut, cut, size_mm)


def top_sizes(line: LineFile, rows: RowDraws) -> dict[str, FloatArray]:
    """Return the top size of combustible pieces that reach each machine [mm], ``(n_rows,)``.

    The last shredder on the way sets it. Where ways meet, the coarsest counts, so a machine that
    unshredded waste can reach has no top size.
    """
    whole = np.full(rows.n_rows, np.inf)
    nothing = np.zeros(rows.n_rows)
    top: dict[str, FloatArray] = {machine.name: nothing for machine in line.machines}
    top[line.feed] = whole
    for _ in line.machines:
        before = dict(top)
        for machine in line.machines:
            leaving = top[machine.name]
            if "top_size_mm" in machine.settings:
                leaving = np.minimum(leaving, rows.of(machine.settings["top_size_mm"]))
            for target in machine.outlets.values():
                if target in top:
                    top[target] = np.maximum(top[target], leaving)
        if all(np.array_equal(top[name], before[name]) for name in top):
            break
    return top
