"""The bill of quantities: what a dig moves and makes, in the few sums that money and carbon need.

Every quantity is a plain sum, so part of a dig is a share of it and two parts add up.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from reclaim.waste.decay import decay_class_of_materials
from reclaim.waste.properties import CARBON_IN_CELLULOSE

if TYPE_CHECKING:
    from collections.abc import Callable

    from reclaim.ground import DugVolumes
    from reclaim.plant import Products
    from reclaim.waste import Feed

FloatArray = NDArray[np.floating[Any]]

DECAY_CLASSES = tuple(dict.fromkeys(name for name in decay_class_of_materials() if name))


@dataclass(frozen=True, slots=True)
class Quantities:
    """What a dig moves and makes, per draw; arrays are ``(n_draws,)`` unless stated.

    Attributes
    ----------
    area_m2
        Plan area dug [m2].
    cover_m3, waste_m3, overdig_m3
        Dug, in place [m3].
    waste_t, cover_t, overdig_t
        The same as wet mass [t].
    product_t
        Wet mass by product [t].
    target_t
        Wet mass by product of what it is meant to hold [t].
    fuel_gj, fuel_dry_t, fuel_chlorine_t
        Net heat of the fuel as received [GJ], its dry mass and its chlorine [t].
    fuel_fossil_c_t, fuel_biogenic_c_t
        Carbon in the fuel [t].
    aluminium_t, other_nonferrous_t
        Metal in the non-ferrous product [t].
    dried_t, power_mwh, heat_mwh
        Wet mass to the dryer [t], electricity, and heat bought for drying and for treating the
        exhaust air [MWh].
    rotting_c_t
        Carbon in the ground that still rots, by decay class [t], ``(n_draws, n_classes)``.
    rotting_residue_c_t, rotting_soil_c_t
        The same in residue and in soil-like product [t].
    carbon_t
        All carbon in the waste [t].
    """

    area_m2: FloatArray
    cover_m3: FloatArray
    waste_m3: FloatArray
    overdig_m3: FloatArray
    waste_t: FloatArray
    cover_t: FloatArray
    overdig_t: FloatArray
    product_t: dict[str, FloatArray]
    target_t: dict[str, FloatArray]
    fuel_gj: FloatArray
    fuel_dry_t: FloatArray
    fuel_chlorine_t: FloatArray
    fuel_fossil_c_t: FloatArray
    fuel_biogenic_c_t: FloatArray
    aluminium_t: FloatArray
    other_nonferrous_t: FloatArray
    dried_t: FloatArray
    power_mwh: FloatArray
    heat_mwh: FloatArray
    rotting_c_t: FloatArray
    rotting_residue_c_t: FloatArray
    rotting_soil_c_t: FloatArray
    carbon_t: FloatArray

    @property
    def n_draws(self) -> int:
        """Number of draws."""
        return int(self.waste_t.size)

    @property
    def dug_m3(self) -> FloatArray:
        """Cover, waste and over-dig in place [m3]."""
        return np.asarray(self.cover_m3 + self.waste_m3 + self.overdig_m3)

    def product(self, name: str) -> FloatArray:
        """Wet mass of a product, zeros where the line does not make it [t]."""
        return self.product_t.get(name, np.zeros(self.n_draws))

    def purity(self, name: str) -> FloatArray:
        """Share of a product that is what it is named after [-]; 0 where nothing is made."""
        made = self.product(name)
        wanted = self.target_t.get(name, np.zeros(self.n_draws))
        return np.asarray(np.divide(wanted, made, out=np.zeros_like(made), where=made > 0))

    def times(self, share: FloatArray | float) -> Quantities:
        """Return a share of every quantity; `share` is a number or ``(n_draws,)``."""
        factor = np.asarray(share, dtype=float)

        def scaled(array: FloatArray) -> FloatArray:
            wide = factor if factor.ndim == 0 else factor[(...,) + (None,) * (array.ndim - 1)]
            return np.asarray(array * wide)

        return self._each(scaled)

    def plus(self, other: Quantities) -> Quantities:
        """Return the sum of two digs."""
        return self._each(lambda mine, theirs: np.asarray(mine + theirs), other)

    def rows(self, part: slice) -> Quantities:
        """Return some of the draws."""
        return self._each(lambda array: array[part])

    def _each(self, act: Callable[..., FloatArray], *others: Quantities) -> Quantities:
        made: dict[str, Any] = {}
        for item in fields(self):
            mine = getattr(self, item.name)
            theirs = [getattr(other, item.name) for other in others]
            made[item.name] = (
                {key: act(mine[key], *(their[key] for their in theirs)) for key in mine}
                if isinstance(mine, dict)
                else act(mine, *theirs)
            )
        return Quantities(**made)


def quantities_of(
    volumes: DugVolumes, feed: Feed, products: Products, area_m2: float
) -> Quantities:
    """Return the bill of quantities of a dig.

    Parameters
    ----------
    volumes, feed, products
        With the same number of draws.
    area_m2
        Plan area of the dig [m2].
    """
    wet = products.dry_t + products.water_t
    made = {name: wet[:, place].sum(axis=1) for place, name in enumerate(products.names)}
    purity = products.purity
    wanted = {
        name: np.nan_to_num(purity[:, place]) * made[name]
        for place, name in enumerate(products.names)
    }
    fuel, fuel_gj, chlorine = _product_dry(products, "fuel"), 0.0 * feed.total_wet_t, 0.0
    if "fuel" in products.names:
        place = products.names.index("fuel")
        fuel_gj = made["fuel"] * np.nan_to_num(products.ncv_mj_kg[:, place])
        chlorine = fuel.sum(axis=1) * np.nan_to_num(products.chlorine[:, place])
    nonferrous = _product_dry(products, "nonferrous")
    at = {name: column for column, name in enumerate(products.materials)}
    carbon, biogenic = feed.properties.carbon, feed.properties.biogenic_carbon
    rotting = feed.properties.degradable * CARBON_IN_CELLULOSE
    return Quantities(
        area_m2=np.full(feed.total_wet_t.shape, float(area_m2)),
        cover_m3=volumes.cover_m3,
        waste_m3=volumes.waste_m3,
        overdig_m3=volumes.overdig_m3,
        waste_t=feed.total_wet_t,
        cover_t=feed.cover_t,
        overdig_t=feed.overdig_t,
        product_t=made,
        target_t=wanted,
        fuel_gj=fuel_gj,
        fuel_dry_t=fuel.sum(axis=1),
        fuel_chlorine_t=chlorine + np.zeros_like(fuel_gj),
        fuel_fossil_c_t=(fuel * carbon * (1 - biogenic)).sum(axis=1),
        fuel_biogenic_c_t=(fuel * carbon * biogenic).sum(axis=1),
        aluminium_t=nonferrous[:, at["aluminium"]],
        other_nonferrous_t=nonferrous[:, at["other_nonferrous"]],
        dried_t=products.drying.feed_t,
        power_mwh=products.power_mwh,
        heat_mwh=products.drying.heat_bought_mwh + products.drying.air_treatment_mwh,
        rotting_c_t=_by_class(feed.dry_t * rotting),
        rotting_residue_c_t=_by_class(_product_dry(products, "residue") * rotting),
        rotting_soil_c_t=_by_class(_product_dry(products, "soil") * rotting),
        carbon_t=(feed.dry_t * carbon).sum(axis=1),
    )


def _product_dry(products: Products, name: str) -> FloatArray:
    """Dry mass of a product by material [t], zeros where the line does not make it."""
    if name in products.names:
        return products.dry_t[:, products.names.index(name)]
    return np.zeros((products.dry_t.shape[0], products.dry_t.shape[2]))


def _by_class(carbon_t: FloatArray) -> FloatArray:
    """Add materials up by decay class, shape ``(n_draws, n_classes)``."""
    classes = decay_class_of_materials()
    member = np.array([[name == wanted for wanted in DECAY_CLASSES] for name in classes])
    return np.asarray(carbon_t @ member.astype(float))
