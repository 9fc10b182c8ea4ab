"""What narrow bores read wrong, and how much of it is taken off the composition and density."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from reclaim.assumptions import quantity_assumption
from reclaim.reference import material_names, quantity_of, read_rows
from reclaim.waste.composition import cores_of_zone

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from reclaim.assumptions import Assumption, Draws
    from reclaim.waste.composites import CoreComposites
    from reclaim.waste.composition import Composition

FloatArray = NDArray[np.floating[Any]]

CORRECTION = "waste.narrow_bore_correction"


def without_bore_bias(
    composition: Composition,
    composites: CoreComposites,
    assumptions: Mapping[str, Assumption],
    draws: Draws,
) -> Composition:
    """Return a composition with part of the bias of its narrow bores taken off.

    Parameters
    ----------
    composition
        As the cores read it, with as many draws as `draws`.
    composites
        One composite per core.
    assumptions
        ``waste.narrow_bore_correction`` is the part taken off: 0 in the best estimate unless the
        site file says otherwise, 0 to 1 in the draws.
    draws
        Source of the draws of the biases.
    """
    narrow, unknown = bore_shares(composites, composition.zones)
    fractions, density = take_off_bias(
        composition.wet_fraction, composition.bulk_density_t_m3, narrow, unknown, assumptions, draws
    )
    return replace(composition, wet_fraction=fractions, bulk_density_t_m3=density)


def bore_shares(composites: CoreComposites, zones: Sequence[str]) -> tuple[FloatArray, FloatArray]:
    """Return how much of each zone's waste narrow bores, and cores of unknown width, stand for.

    Returns
    -------
    narrow, unknown
        Shares of the weight of the zone's cores [-], each ``(n_zones,)``.
    """
    shares = []
    for zone in zones:
        chosen = cores_of_zone(composites, zone)
        weight = composites.weight[chosen] / composites.weight[chosen].sum()
        shares.append(
            (weight @ composites.narrow[chosen], weight @ composites.of_unknown_width[chosen])
        )
    narrow, unknown = np.array(shares, dtype=float).reshape(-1, 2).T
    return narrow, unknown


def take_off_bias(
    wet_fraction: FloatArray,
    bulk_density_t_m3: FloatArray,
    narrow: FloatArray,
    unknown: FloatArray,
    assumptions: Mapping[str, Assumption],
    draws: Draws,
) -> tuple[FloatArray, FloatArray]:
    """Return composition and density with part of the bias taken off, same shapes.

    Parameters
    ----------
    wet_fraction
        Shape ``(n_draws, n_zones, n_materials)``.
    bulk_density_t_m3
        Shape ``(n_draws, n_zones)``.
    narrow, unknown
        From `bore_shares`.
    assumptions, draws
        As for `without_bore_bias`.

    Notes
    -----
    A zone of which narrow bores hold the share s reads a material by the factor 1 + s b, with b
    the relative bias of ``narrow_bores.csv``. Shares are divided by it and closed to 1, density
    is divided by its own. Cores of unknown width carry between none and all of the bias.
    """
    if not narrow.any() and not unknown.any():
        return wet_fraction, bulk_density_t_m3
    rows = {row["key"]: row for row in read_rows("narrow_bores.csv")}

    def drawn(key: str) -> FloatArray:
        return draws.of(quantity_assumption(f"waste.narrow_bores {key}", quantity_of(rows[key])))

    part = draws.of(assumptions[CORRECTION])[:, None] * narrow
    if unknown.any():
        part = part + drawn("unknown_width")[:, None] * unknown
    bias = np.repeat(-drawn("coarse_low")[:, None], len(material_names()), axis=1)
    for key in ("fines_high", "light_high"):
        for name in rows[key]["materials"].split():
            bias[:, material_names().index(name)] = drawn(key)
    true = wet_fraction / (1 + part[:, :, None] * bias[:, None, :])
    return (
        np.asarray(true / true.sum(axis=2, keepdims=True)),
        bulk_density_t_m3 / (1 + part * drawn("density_high")[:, None]),
    )


def bore_notes(
    composites: CoreComposites, assumptions: Mapping[str, Assumption]
) -> tuple[str, ...]:
    """Say how narrow bores and cores of unknown width were treated; nothing where all are wide."""
    notes = []
    narrow, unknown = int(composites.narrow.sum()), int(composites.of_unknown_width.sum())
    correction = assumptions[CORRECTION]
    if narrow and correction.central > 0:
        notes.append(
            f"Composition and density are corrected for {narrow} narrow bore(s) of "
            f"{len(composites)} sampled cores: {correction.central:.0%} of the reported bias is "
            "taken off. The tables of statistics are as read."
        )
    elif narrow:
        notes.append(
            f"Of {len(composites)} sampled cores {narrow} are narrow bores. The best estimate is "
            "as read; the range goes to what it is with the reported bias taken off."
        )
    if unknown:
        notes.append(
            f"Of {len(composites)} sampled cores {unknown} have no width recorded. They may be "
            "narrow, so the range of composition and density is wider; the best estimate is as "
            "read."
        )
    return tuple(notes)
