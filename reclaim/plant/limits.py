"""Products against limits of those who take them: pass or fail, by how much, what would help."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from reclaim.reference import constant, heavy_metals, materials, read_rows

if TYPE_CHECKING:
    from reclaim.plant.products import Products
    from reclaim.waste import Properties

FloatArray = NDArray[np.floating[Any]]

# Materials named one by one in a piece of advice.
_MOST_STEPS = 4

_FIELDS = {
    "ncv": "ncv_mj_kg",
    "moisture": "moisture",
    "ash": "ash",
    "chlorine": "chlorine",
    "carbon": "carbon",
    "mercury_median": "mercury_median_mg_mj",
    "mercury_p80": "mercury_p80_mg_mj",
}


@dataclass(frozen=True, slots=True)
class LimitCheck:
    """One limit held against one product.

    Attributes
    ----------
    product, specification
        Whose limit it is.
    quantity, materials
        What is limited (``chlorine``; ``content`` or ``foreign`` matter), and of which materials.
    value, low, high, limit, unit
        Best estimate, P10 and P90 of the draws, and the limit; NaN where there is no such value.
    is_maximum
        True where the value must not be above the limit.
    passes
        Of the best estimate; False where the product has no such value.
    margin
        How far the value is on the good side, relative to the limit [-]; negative on a fail.
    chance
        Share of the draws that pass [-].
    what_would_help
        One sentence; empty on a pass.
    source, status, note
        Of the limit.
    """

    product: str
    specification: str
    quantity: str
    materials: tuple[str, ...]
    value: float
    low: float
    high: float
    limit: float
    unit: str
    is_maximum: bool
    passes: bool
    margin: float
    chance: float
    what_would_help: str
    source: str
    status: str
    note: str


def check_limits(best: Products, draws: Products, properties: Properties) -> tuple[LimitCheck, ...]:
    """Hold every product that is made against its limits in ``product_limits.csv``.

    Parameters
    ----------
    best, draws
        Products at central values, one row, and over all draws.
    properties
        Of the materials at central values.
    """
    checks = []
    for row in read_rows("product_limits.csv"):
        name = row["product"]
        if name in best.names and best.wet_t(name)[0] > 0:
            checks.append(_check(row, best, draws, properties))
    return tuple(checks)


def _check(
    row: dict[str, str], best: Products, draws: Products, properties: Properties
) -> LimitCheck:
    limit, is_maximum = float(row["limit"]), row["direction"] == "max"
    wanted = _materials(row, best)
    value = float(_value(best, row, wanted)[0])
    many = _value(draws, row, wanted)
    sign = 1.0 if is_maximum else -1.0
    passes = bool(sign * value <= sign * limit)
    with np.errstate(invalid="ignore"):
        chance = float(np.mean(sign * many <= sign * limit))
    known = many[np.isfinite(many)]
    low, high = np.quantile(known, [0.1, 0.9]) if known.size else (np.nan, np.nan)
    return LimitCheck(
        product=row["product"],
        specification=row["specification"],
        quantity=row["property"],
        materials=wanted,
        value=value,
        low=float(low),
        high=float(high),
        limit=limit,
        unit=row["unit"],
        is_maximum=is_maximum,
        passes=passes,
        margin=sign * (limit - value) / limit,
        chance=chance,
        what_would_help="" if passes else _help(row, best, properties, wanted, limit),
        source=row["source"],
        status=row["status"],
        note=row["note"],
    )


def _materials(row: dict[str, str], products: Products) -> tuple[str, ...]:
    """Return the materials a content limit counts: those named, or all but the target."""
    from reclaim.plant.products import targets

    if row["property"] == "foreign":
        return tuple(name for name in products.materials if name not in targets(row["product"]))
    named = set(row["of"].split())
    return tuple(item.name for item in materials() if {item.name, item.group} & named)


def _value(products: Products, row: dict[str, str], wanted: tuple[str, ...]) -> FloatArray:
    """Return the limited quantity by draw."""
    place = products.names.index(row["product"])
    if row["property"] in _FIELDS:
        return np.asarray(getattr(products, _FIELDS[row["property"]])[:, place])
    if row["property"] in heavy_metals():
        metal = list(heavy_metals()).index(row["property"])
        return np.asarray(products.heavy_metals_mg_kg[:, place, metal])
    wet = products.dry_t[:, place] + products.water_t[:, place]
    counted = np.isin(products.materials, wanted)
    whole = wet.sum(axis=1)
    part = wet[:, counted].sum(axis=1)
    return np.asarray(np.divide(part, whole, out=np.full_like(whole, np.nan), where=whole > 0))


def _help(
    row: dict[str, str],
    best: Products,
    properties: Properties,
    wanted: tuple[str, ...],
    limit: float,
) -> str:
    """Return what would bring the product inside its limit."""
    from reclaim.plant.products import targets

    place = best.names.index(row["product"])
    target = targets(row["product"])
    dry, water = best.dry_t[0, place], best.water_t[0, place]
    wet = dry + water
    name = row["property"]
    latent = constant("evaporation_mj_per_kg")
    if name == "moisture":
        off = (water.sum() - limit * wet.sum()) / (1 - limit)
        return f"Dry off another {_mass(off)} of water ({off / wet.sum():.0%} of the product)."
    if name == "ncv":
        ncv_dry = float(best.ncv_dry_mj_kg[0, place])
        moisture = (ncv_dry - limit) / (ncv_dry + latent)
        if moisture > 0:
            return f"Dry it to {moisture:.0%} water."
        return _take_out(-(dry * properties.ncv_dry_mj_kg[0]), dry, -limit, wet, target)
    if name in {"mercury_median", "mercury_p80"}:
        carried = dry * properties.mercury_mg_kg[0]
        burnt = dry * properties.ncv_dry_mj_kg[0] - latent * water
        carried = carried * float(_value(best, row, wanted)[0]) * burnt.sum() / carried.sum()
        return _take_out(carried, burnt, limit, wet, target)
    if name in _FIELDS or name in heavy_metals():
        carried = dry * _content(properties, name)
        carried = carried * float(_value(best, row, wanted)[0]) * dry.sum() / carried.sum()
        return _take_out(carried, dry, limit, wet, target)
    return _take_out(wet * np.isin(best.materials, wanted), wet, limit, wet, target)


def _content(properties: Properties, name: str) -> FloatArray:
    """Return what dry material holds of something, shape ``(n_materials,)``."""
    if name in heavy_metals():
        return np.asarray(properties.heavy_metals_mg_kg[0, :, list(heavy_metals()).index(name)])
    return np.asarray(getattr(properties, name)[0])


def _take_out(
    carried: FloatArray, base: FloatArray, limit: float, wet: FloatArray, target: frozenset[str]
) -> str:
    """Return which materials to take out until carried / base is at the limit, the worst first.

    The worst is the one with the most above the limit, not the one with the most of all.
    """
    above = carried - limit * base
    excess = float(above.sum())
    steps = []
    for place in np.argsort(-above):
        if above[place] <= 0 or excess <= 0:
            break
        share = min(excess / float(above[place]), 1.0)
        excess -= float(above[place])
        item = materials()[place]
        label = item.label.lower()
        if item.name in target and share == 1.0:
            return f"Sorting does not help: the {label} in it is over the limit by itself."
        part = "all" if share == 1.0 else f"{share:.0%}"
        steps.append(f"{part} of the {label} ({_mass(share * wet[place])})")
    rest = f" and a little of {len(steps) - _MOST_STEPS} more" if len(steps) > _MOST_STEPS else ""
    return f"Take out {', '.join(steps[:_MOST_STEPS])}{rest}."


def _mass(mass_t: float) -> str:
    """Return a mass to three significant figures, thousands set apart by a thin space."""
    return f"{float(f'{mass_t:.3g}'):,.10g}".replace(",", "\u202f") + " t"
