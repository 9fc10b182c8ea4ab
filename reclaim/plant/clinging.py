"""Damp waste is sticky: fines cling to other pieces, and machines let more go the wrong way."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from reclaim.reference import material_names, material_properties

if TYPE_CHECKING:
    from collections.abc import Mapping

    from reclaim.assumptions import Assumption
    from reclaim.plant.rows import RowDraws

FloatArray = NDArray[np.floating[Any]]

_LEAST_SPAN = 0.01


@dataclass(frozen=True, slots=True)
class Stickiness:
    """How damp waste sticks, per row; every array has shape ``(n_rows,)``.

    Attributes
    ----------
    switch
        1 where clinging counts, 0 where the user turned it off [-].
    dry_moisture, wet_moisture
        Moisture up to which, and from which on, it no longer changes [-].
    clung_dry, clung_wet
        Share of the fines that cling at these moistures [-].
    damp_loss
        Share of what a machine takes when dry that it misses when wet [-].
    """

    switch: FloatArray
    dry_moisture: FloatArray
    wet_moisture: FloatArray
    clung_dry: FloatArray
    clung_wet: FloatArray
    damp_loss: FloatArray

    @classmethod
    def drawn(cls, assumptions: Mapping[str, Assumption], rows: RowDraws) -> Stickiness:
        """Return the stickiness of a site's assumptions in some rows."""
        return cls(
            switch=rows.of(assumptions["plant.clinging"]),
            dry_moisture=rows.of(assumptions["plant.sticky_from_moisture"]),
            wet_moisture=rows.of(assumptions["plant.sticky_up_to_moisture"]),
            clung_dry=rows.of(assumptions["plant.clung_fines_dry"]),
            clung_wet=rows.of(assumptions["plant.clung_fines_wet"]),
            damp_loss=rows.of(assumptions["plant.damp_loss"]),
        )

    def dampness(self, moisture: FloatArray) -> FloatArray:
        """Return how far from dry to wet a stream is, 0 to 1, in a straight line between."""
        span = np.maximum(self.wet_moisture - self.dry_moisture, _LEAST_SPAN)
        return np.asarray(np.clip((moisture - self.dry_moisture) / span, 0.0, 1.0))

    def clung(self, moisture: FloatArray) -> FloatArray:
        """Return the share of the fines that cling to other pieces [-]; rises with moisture."""
        more = np.maximum(self.clung_wet - self.clung_dry, 0.0)
        return np.asarray(self.switch * (self.clung_dry + more * self.dampness(moisture)))

    def caught(self, moisture: FloatArray) -> FloatArray:
        """Return the share of its dry catch that a machine keeps [-], ``(n_rows, n_materials)``.

        Fines keep all of it here: what dampness does to them is that they cling.
        """
        missed = self.switch * self.damp_loss * self.dampness(moisture)
        is_piece = np.array([name != "fines" for name in material_names()])
        return np.asarray(1 - missed[:, None] * is_piece)


def with_clung_fines(share: FloatArray, dry_t: FloatArray, clung: FloatArray) -> FloatArray:
    """Return an outlet's shares where part of the fines goes with the pieces they cling to.

    Parameters
    ----------
    share
        Of each material to the outlet [-], broadcasting to the shape of `dry_t`.
    dry_t
        What reaches the machine [t], shape ``(n_sizes, n_rows, n_materials)``.
    clung
        Share of the fines that cling [-], shape ``(n_rows,)``.

    Notes
    -----
    Fines cling to materials in proportion to their mass and their ``soil_uptake``. At every
    machine they cling anew: falls and blows shake some off. Where nothing can carry fines none
    cling. The sum over all outlets stays one.
    """
    fines = material_names().index("fines")
    uptake = _uptake()
    carried = np.asarray(dry_t.sum(axis=0) @ uptake)
    to_outlet = (dry_t * share).sum(axis=0) @ uptake
    mean = np.divide(to_outlet, carried, out=np.zeros_like(carried), where=carried > 0)
    part = np.where(carried > 0, clung, 0.0)
    mixed = share.copy()
    mixed[..., fines] = (1 - part) * share[..., fines] + part * mean
    return mixed


def _uptake() -> FloatArray:
    """How much soil each material takes up, relative to plastic film, ``(n_materials,)``."""
    table = material_properties()
    return np.array([table[name, "soil_uptake"].mode for name in material_names()])
