"""The laboratory's bulk values: the materials' properties are brought to the mean measured."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from reclaim.assumptions import Assumption
from reclaim.reference import constant
from reclaim.waste.bulk_properties import lab_by_core
from reclaim.waste.factors import factor_reaching
from reclaim.waste.heating_value import mix_value, net_dry
from reclaim.waste.statistics import t_interval

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    import pandas as pd

    from reclaim.assumptions import Draws
    from reclaim.site.model import Cores
    from reclaim.waste.composites import CoreComposites
    from reclaim.waste.feed import Feed

FloatArray = NDArray[np.floating[Any]]
Adjusted = Callable[[FloatArray], tuple[FloatArray, FloatArray]]
"""From a factor to the values of the materials and their slopes with it."""

WEIGHT = "waste.laboratory_weight"
QUANTITIES = ("ash", "ncv_dry_mj_kg", "chlorine", "mercury_mg_kg")
"""Fields of `Properties` that the laboratory measures on bulk samples, in the order adjusted."""
QUANTITY_WORDS = {
    "ash": "ash (share of dry mass)",
    "ncv_dry_mj_kg": "net calorific value (MJ/kg dry)",
    "chlorine": "chlorine (share of dry mass)",
    "mercury_mg_kg": "mercury (mg/kg dry)",
}
_REACH = 1000.0


@dataclass(frozen=True, slots=True)
class LabMean:
    """A bulk value as measured.

    Attributes
    ----------
    quantity
        Field of `Properties`, on dry mass.
    mean, standard_error
        Of the cores, weighted by the length of waste tested [unit of the field].
    cores
        Cores with a test.
    """

    quantity: str
    mean: float
    standard_error: float
    cores: int


@dataclass(frozen=True, slots=True)
class LabFit:
    """A bulk value as measured beside what the materials say, best estimate.

    Attributes
    ----------
    measured
        From the laboratory.
    of_materials
        Mix of the materials' reference values.
    used
        Mix of what the estimate takes.
    """

    measured: LabMean
    of_materials: float
    used: float

    @property
    def misfit(self) -> float:
        """Measured less the materials' value, as a share of the latter [-]."""
        return self.measured.mean / self.of_materials - 1 if self.of_materials else float("inf")


def laboratory_means(cores: Cores, composites: CoreComposites) -> tuple[LabMean, ...]:
    """Return the bulk values that enough cores were tested for.

    Parameters
    ----------
    cores
        The tables; those of the laboratory are used where a test lies in waste.
    composites
        Their moisture turns calorific values as received into dry ones, core by core; cores
        without a moisture are left out of that mean.

    Notes
    -----
    The mean and its standard error are those of `t_interval`. The error is widened to the standard
    deviation of the t distribution, sqrt((n - 1) / (n - 3)), which is known from four cores on.
    """
    if cores.lab.empty:
        return ()
    by_core = lab_by_core(cores)
    ncv = by_core[by_core["quantity"] == "ncv_mj_kg"]
    moisture = dict(zip(composites.core_ids, composites.moisture.tolist(), strict=True))
    water = np.array([moisture.get(name, np.nan) for name in ncv["core_id"]], dtype=float)
    dry = ncv.assign(value=net_dry(ncv["value"].to_numpy(dtype=float), water))
    tables = {name: by_core[by_core["quantity"] == name] for name in QUANTITIES}
    tables["ncv_dry_mj_kg"] = dry[np.isfinite(dry["value"].to_numpy(dtype=float))]
    return tuple(
        _mean_of(name, table)
        for name, table in tables.items()
        if len(table) >= constant("fewest_laboratory_cores")
    )


def _mean_of(name: str, table: pd.DataFrame) -> LabMean:
    values = table["value"].to_numpy(dtype=float)[:, None]
    weights = table["length_m"].to_numpy(dtype=float)
    count = len(table)
    error = float(t_interval(values, weights)[0][0]) * float(np.sqrt((count - 1) / (count - 3)))
    return LabMean(name, float(np.average(values[:, 0], weights=weights)), error, count)


def to_laboratory(
    feed: Feed, means: Sequence[LabMean], assumptions: Mapping[str, Assumption], draws: Draws
) -> Feed:
    """Return a feed whose mix has the bulk values that the laboratory measured.

    Parameters
    ----------
    feed
        With the properties of the reference tables.
    means
        From `laboratory_means`; what is not among them keeps the reference values.
    assumptions
        ``waste.laboratory_weight``: 1 meets the measured mean, 0 leaves the reference values, a
        number between goes that part of the way.
    draws
        Each mean is drawn from a normal distribution with its standard error.

    Notes
    -----
    One factor for all materials: calorific value, chlorine and mercury are multiplied by it, for
    ash it multiplies the odds a / (1 - a), so that ash stays between 0 and 1 and inert matter
    inert. No material burns better than ``ash_free_ncv_most_mj_kg`` of its ash-free matter, none
    loses the room for its carbon and for what rots. That one factor fits all is a judgement: a
    bulk test cannot say which material differs. Newton's method; where the limits keep the mix
    from the value, it comes as near as they let it.
    """
    properties = feed.properties
    share = feed.dry_t / feed.dry_t.sum(axis=1, keepdims=True)
    weight = draws.of(assumptions[WEIGHT])
    by_quantity = {mean.quantity: mean for mean in means}
    for quantity in QUANTITIES:
        if quantity not in by_quantity:
            continue
        value = getattr(properties, quantity)
        room = np.maximum(1 - properties.ash - properties.carbon, properties.chlorine)
        adjusted: dict[str, Adjusted] = {
            "ash": _odds(
                properties.ash,
                np.maximum(1 - np.maximum(properties.degradable, properties.carbon), value),
            ),
            "ncv_dry_mj_kg": _times(
                value, constant("ash_free_ncv_most_mj_kg") * (1 - properties.ash)
            ),
            "chlorine": _times(value, room),
            "mercury_mg_kg": _times(value, np.full_like(value, np.inf)),
        }
        found = mix_value(share, value)
        target = found + weight * (draws.of(_drawn(by_quantity[quantity])) - found)
        properties = replace(
            properties, **{quantity: _brought_to(adjusted[quantity], share, target)}
        )
    return replace(feed, properties=properties)


def laboratory_fits(before: Feed, after: Feed, means: Sequence[LabMean]) -> tuple[LabFit, ...]:
    """Set each measured mean beside the mix of reference values and beside what is used.

    Parameters
    ----------
    before, after
        The best estimate without and with `to_laboratory`.
    means
        From `laboratory_means`.
    """
    share = before.dry_t / before.dry_t.sum(axis=1, keepdims=True)

    def mix(feed: Feed, quantity: str) -> float:
        return float(mix_value(share, getattr(feed.properties, quantity))[0])

    return tuple(
        LabFit(mean, mix(before, mean.quantity), mix(after, mean.quantity)) for mean in means
    )


def _drawn(mean: LabMean) -> Assumption:
    """Return a measured mean as an uncertain number."""
    return Assumption(
        key=f"waste.laboratory {mean.quantity}",
        kind="normal",
        numbers=(mean.mean, mean.standard_error),
        unit="",
        label=f"Laboratory mean of {mean.quantity}",
        source="site file",
        status="given",
        minimum=0.0,
        maximum=1.0 if mean.quantity in ("ash", "chlorine") else float("inf"),
        given=True,
    )


def _times(value: FloatArray, most: FloatArray) -> Adjusted:
    def adjusted(factor: FloatArray) -> tuple[FloatArray, FloatArray]:
        changed = value * factor
        free = changed < most
        return np.where(free, changed, most), np.where(free, value, 0.0)

    return adjusted


def _odds(value: FloatArray, most: FloatArray) -> Adjusted:
    def adjusted(factor: FloatArray) -> tuple[FloatArray, FloatArray]:
        whole = 1 - value + value * factor
        changed = value * factor / whole
        free = changed < most
        return np.where(free, changed, most), np.where(free, value * (1 - value) / whole**2, 0.0)

    return adjusted


def _brought_to(adjusted: Adjusted, share: FloatArray, target: FloatArray) -> FloatArray:
    """Return the values whose mix is the target, or as near to it as the limits let it come."""

    def mix_and_slope(factor: FloatArray) -> tuple[FloatArray, FloatArray]:
        value, slope = adjusted(factor[:, None])
        return mix_value(share, value), mix_value(share, slope)

    return adjusted(factor_reaching(mix_and_slope, target, 1 / _REACH, _REACH)[:, None])[0]
