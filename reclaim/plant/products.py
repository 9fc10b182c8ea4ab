"""What the plant room hands on: the products of a line, their make-up and their quality."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from reclaim.reference import materials, read_rows

FloatArray = NDArray[np.floating[Any]]


@dataclass(frozen=True, slots=True)
class Stream:
    """One belt of the line: from a machine's outlet to the next machine or a product.

    Attributes
    ----------
    origin, outlet, target
        Names; the feed's origin is ``feed``; the water and gas a dryer sends off have the
        targets ``water_lost`` and ``gas_lost``.
    wet_t
        [t], shape ``(n_draws,)``.
    """

    origin: str
    outlet: str
    target: str
    wet_t: FloatArray


@dataclass(frozen=True, slots=True)
class Drying:
    """What the drying step did, per draw, shape ``(n_draws,)``; zeros where a line has none.

    Attributes
    ----------
    feed_t
        Wet mass that reached the dryer [t].
    moisture_in, moisture_out
        Water over wet mass [-].
    water_removed_t, solids_lost_t
        Water evaporated and dry matter degraded [t].
    heat_needed_mwh, heat_own_mwh, heat_bought_mwh
        Heat to evaporate the water, what the degrading matter gives, and the rest [MWh].
    """

    feed_t: FloatArray
    moisture_in: FloatArray
    moisture_out: FloatArray
    water_removed_t: FloatArray
    solids_lost_t: FloatArray
    heat_needed_mwh: FloatArray
    heat_own_mwh: FloatArray
    heat_bought_mwh: FloatArray


@dataclass(frozen=True, slots=True)
class Balance:
    """Relative closure errors of the line, in against out, the worst draw of each.

    Attributes
    ----------
    mass, water, energy
        |in - out| / in [-]. Energy is the dry calorific value carried by solids, degraded
        matter included.
    elements
        The same for chlorine and mercury, which neither rot nor leave with the vapour.
    """

    mass: float
    water: float
    energy: float
    elements: float


@dataclass(frozen=True, slots=True)
class Products:
    """The products of the line, per draw.

    Attributes
    ----------
    names
        Products in the order they are shown, ``n_products``.
    materials
        Material names, ``n_materials``.
    dry_t, water_t
        Dry matter and water [t], shape ``(n_draws, n_products, n_materials)``.
    ncv_mj_kg, ncv_dry_mj_kg
        Net calorific value as received and dry [MJ/kg], shape ``(n_draws, n_products)``.
    ash, chlorine
        Fractions of dry mass [-], shape ``(n_draws, n_products)``.
    mercury_mg_mj
        Per MJ as received [mg/MJ], shape ``(n_draws, n_products)``; NaN where NCV is not
        positive.
    biogenic_share
        Biogenic share of the carbon [-], shape ``(n_draws, n_products)``.
    water_lost_t, gas_lost_t
        Water evaporated, and dry matter degraded to gas [t], shape ``(n_draws,)``.
    streams
        Every belt, for the flow diagram.
    drying
        What the dryer did.
    machine_t
        Wet mass through each machine [t], by name, shape ``(n_draws,)`` each.
    power_mwh
        Electricity used by the line [MWh], shape ``(n_draws,)``.
    balance
        Closure errors.
    """

    names: tuple[str, ...]
    materials: tuple[str, ...]
    dry_t: FloatArray
    water_t: FloatArray
    ncv_mj_kg: FloatArray
    ncv_dry_mj_kg: FloatArray
    ash: FloatArray
    chlorine: FloatArray
    mercury_mg_mj: FloatArray
    biogenic_share: FloatArray
    water_lost_t: FloatArray
    gas_lost_t: FloatArray
    streams: tuple[Stream, ...]
    drying: Drying
    machine_t: dict[str, FloatArray]
    power_mwh: FloatArray
    balance: Balance

    @property
    def product_dry_t(self) -> FloatArray:
        """Dry mass by product [t], shape ``(n_draws, n_products)``."""
        return np.asarray(self.dry_t.sum(axis=2))

    @property
    def product_wet_t(self) -> FloatArray:
        """Wet mass by product [t], shape ``(n_draws, n_products)``."""
        return np.asarray((self.dry_t + self.water_t).sum(axis=2))

    @property
    def moisture(self) -> FloatArray:
        """Water over wet mass by product [-], 0 where empty, shape ``(n_draws, n_products)``."""
        wet = self.product_wet_t
        return np.asarray(
            np.divide(self.water_t.sum(axis=2), wet, out=np.zeros_like(wet), where=wet > 0)
        )

    def wet_t(self, product: str) -> FloatArray:
        """Wet mass of one product [t], shape ``(n_draws,)``."""
        return np.asarray(self.product_wet_t[:, self.names.index(product)])

    @property
    def purity(self) -> FloatArray:
        """Wet share of what the product is meant to hold, shape ``(n_draws, n_products)``.

        NaN for products without a target (residue) and where nothing is made.
        """
        wanted = np.array(
            [[material in targets(name) for material in self.materials] for name in self.names]
        )
        wet = self.product_wet_t
        good = ((self.dry_t + self.water_t) * wanted).sum(axis=2)
        aimed = (wet > 0) & wanted.any(axis=1)
        return np.asarray(np.divide(good, wet, out=np.full_like(wet, np.nan), where=aimed))


def targets(product: str) -> frozenset[str]:
    """Return the materials that a product is meant to hold."""
    row = next(row for row in read_rows("products.csv") if row["name"] == product)
    wanted = set(row["target"].split())
    return frozenset(item.name for item in materials() if {item.name, item.group} & wanted)
