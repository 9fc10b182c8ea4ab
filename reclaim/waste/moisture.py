"""Water of each material, so that the mix has the moisture that was measured."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from reclaim.reference import material_names, material_properties
from reclaim.waste.factors import factor_reaching

if TYPE_CHECKING:
    import pandas as pd

    from reclaim.site.model import Cores

FloatArray = NDArray[np.floating[Any]]

_REACH = (1e-17, 1e17)


def moisture_pattern(cores: Cores | None = None) -> FloatArray:
    """Return a moisture of each material of which only the proportions count, ``(n_materials,)``.

    Materials whose moisture was measured on samples have it; the others have the reference's
    typical moisture in mixed waste, their water per dry matter scaled by the one factor that the
    measured materials show. Without measurements all are the reference's.

    Notes
    -----
    That the other materials are wetter or drier by the same factor is a judgement.
    """
    table = material_properties()
    typical = np.array([table[name, "moisture_pattern"].mode for name in material_names()])
    measured = None if cores is None else measured_moistures(cores)
    if measured is None or measured.empty:
        return typical
    known = np.array([material_names().index(name) for name in measured["material"]])
    dry_kg = measured["wet_mass_kg"].to_numpy() * (1 - measured["moisture"].to_numpy())
    water_kg = measured["wet_mass_kg"].to_numpy() - dry_kg
    typical_kg = float(dry_kg @ (typical / (1 - typical))[known])
    pattern = typical
    if typical_kg > 0 and water_kg.sum() > 0:
        pattern = _scaled(typical / (1 - typical), (water_kg.sum() / typical_kg)[None])[0]
    pattern[known] = measured["moisture"].to_numpy()
    return pattern


def measured_moistures(cores: Cores) -> pd.DataFrame:
    """Return the moisture of the materials that were dried one by one.

    Returns
    -------
    DataFrame
        ``material``, ``samples``, ``wet_mass_kg`` and ``moisture`` (weighted by wet mass), in
        reference order; no rows where samples were dried whole.
    """
    import pandas as pd

    columns = ["material", "samples", "wet_mass_kg", "moisture"]
    table = cores.material_moisture
    if table.empty:
        return pd.DataFrame(columns=columns)
    table = table[table["wet_mass_kg"] > 0]
    rows = [
        (
            name,
            len(group),
            float(group["wet_mass_kg"].sum()),
            float(np.average(group["moisture"], weights=group["wet_mass_kg"])),
        )
        for name, group in table.groupby("material")
    ]
    frame = pd.DataFrame(rows, columns=columns)
    order = frame["material"].map(material_names().index)
    return frame.iloc[np.argsort(order.to_numpy())].reset_index(drop=True)


def material_moisture(
    wet_fraction: FloatArray, pattern: FloatArray, mix_moisture: FloatArray
) -> FloatArray:
    """Return each material's moisture, in the proportions of a pattern.

    The water carried per kilogram of dry matter keeps the proportions of `pattern` between
    materials; one factor scales it until the wet-mass mean equals `mix_moisture`.

    Parameters
    ----------
    wet_fraction
        Share of wet mass, shape ``(n_draws, n_materials)``.
    pattern
        Typical moisture of each material in mixed waste [-], shape ``(n_materials,)``.
    mix_moisture
        Moisture of the mix [-], shape ``(n_draws,)``.

    Returns
    -------
    Moisture by material [fraction of wet mass], shape ``(n_draws, n_materials)``.

    Raises
    ------
    ValueError
        Where materials that hold water make up less of the mix than its water.

    Notes
    -----
    Newton's method; the mean moisture rises with the factor, ever less steeply. The water balance
    is exact by definition; that proportions keep is a judgement.
    """
    water_per_dry = pattern / (1 - pattern)
    holding = np.where(pattern > 0, wet_fraction, 0.0).sum(axis=1)
    if np.any(mix_moisture >= holding):
        raise ValueError("The mix is wetter than its water-holding materials can be.")

    def mix_and_slope(factor: FloatArray) -> tuple[FloatArray, FloatArray]:
        moisture = _scaled(water_per_dry, factor)
        held = wet_fraction * moisture
        return held.sum(axis=1), (held * (1 - moisture)).sum(axis=1) / factor

    factor = factor_reaching(mix_and_slope, mix_moisture, *_REACH)
    return np.where((mix_moisture > 0)[:, None], _scaled(water_per_dry, factor), 0.0)


def _scaled(water_per_dry: FloatArray, factor: FloatArray) -> FloatArray:
    ratio = factor[:, None] * water_per_dry
    return np.asarray(ratio / (1 + ratio))
