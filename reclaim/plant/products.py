"""What the plant room hands on: the products of a line, their make-up and their quality."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
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
        targets ``water_lost`` and ``gas_lost``; water a washer takes up has the origin
        ``water_added``.
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
        Heat to reach the target (air and losses included), what the degrading matter gives, and
        what is bought [MWh].
    days_of_air
        Days that the fans alone need to carry off the water that heat evaporates.
    air_m3, exhaust_m3
        Outdoor air blown in and moist air coming out [m3].
    condensate_t
        Water that condenses where the exhaust is cooled [t].
    fan_mwh
        Electricity of the fans [MWh].
    air_treatment_mwh
        Heat to treat the exhaust hot, after recovery [MWh]; not part of ``heat_bought_mwh``.
    """

    feed_t: FloatArray
    moisture_in: FloatArray
    moisture_out: FloatArray
    water_removed_t: FloatArray
    solids_lost_t: FloatArray
    heat_needed_mwh: FloatArray
    heat_own_mwh: FloatArray
    heat_bought_mwh: FloatArray
    days_of_air: FloatArray
    air_m3: FloatArray
    exhaust_m3: FloatArray
    condensate_t: FloatArray
    fan_mwh: FloatArray
    air_treatment_mwh: FloatArray


@dataclass(frozen=True, slots=True)
class Balance:
    """Relative closure errors of the line, in against out, the worst draw of each.

    Attributes
    ----------
    mass, water, energy
        |in - out| / in [-]. Energy is the dry calorific value carried by solids, degraded
        matter included; process water counts as coming in.
    elements
        The worst of ash, chlorine, mercury and the heavy metals, which neither rot nor leave with
        the vapour.
    metals
        The worst of the materials that are metal.
    carbon
        Carbon of solids and of the gas from what rotted.
    """

    mass: float
    water: float
    energy: float
    elements: float
    metals: float
    carbon: float


@dataclass(frozen=True, slots=True)
class Products:
    """The products of the line, per draw.

    Where one run takes several feeds (zones, blocks) ``n_draws`` stands for the rows of the run:
    the feeds of the first draw, then those of the second.

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
    ash, chlorine, carbon
        Fractions of dry mass [-], shape ``(n_draws, n_products)``.
    mercury_mg_mj, mercury_median_mg_mj, mercury_p80_mg_mj
        Mean of all lots, and median and 80th percentile between lots, per MJ as received
        [mg/MJ], shape ``(n_draws, n_products)``; NaN where NCV is not positive.
    heavy_metals_mg_kg
        Of dry mass [mg/kg], in the order of `reclaim.reference.heavy_metals`, shape
        ``(n_draws, n_products, n_metals)``; 0 where nothing is made.
    biogenic_share, biogenic_energy, biogenic_mass
        Biogenic share of the carbon, of the dry calorific value and of the dry ash-free mass
        [-], shape ``(n_draws, n_products)``.
    bulk_density_t_m3
        Loose, or pressed where every way to the product ends in a press, wet [t/m3], shape
        ``(n_draws, n_products)``; NaN where nothing is made.
    recovery
        Share of the feed's dry target material that ends in the product [-], shape
        ``(n_draws, n_products)``; NaN for products without a target.
    water_lost_t, gas_lost_t, water_added_t
        Water evaporated, dry matter degraded to gas, and process water taken up [t], shape
        ``(n_draws,)``.
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
    carbon: FloatArray
    mercury_mg_mj: FloatArray
    mercury_median_mg_mj: FloatArray
    mercury_p80_mg_mj: FloatArray
    heavy_metals_mg_kg: FloatArray
    biogenic_share: FloatArray
    biogenic_energy: FloatArray
    biogenic_mass: FloatArray
    bulk_density_t_m3: FloatArray
    recovery: FloatArray
    water_lost_t: FloatArray
    gas_lost_t: FloatArray
    water_added_t: FloatArray
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


@cache
def targets(product: str) -> frozenset[str]:
    """Return the materials that a product is meant to hold."""
    row = next(row for row in read_rows("products.csv") if row["name"] == product)
    wanted = set(row["target"].split())
    return frozenset(item.name for item in materials() if {item.name, item.group} & wanted)
