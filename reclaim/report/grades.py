"""How good each product is by the trade's own grades: purity, and the class of the fuel."""

from __future__ import annotations

from typing import TYPE_CHECKING

from reclaim.plant import fuel_class
from reclaim.plant.fuel_class import CURRENT_EDITION
from reclaim.reference import materials, read_rows

if TYPE_CHECKING:
    from reclaim.estimate import Estimate


def purity(estimate: Estimate, product: str) -> float | None:
    """Return the share of a product's wet mass that is what the product is named after [-].

    Best estimate. None where the product is empty, or is meant to be nothing in particular, as
    residue is.
    """
    made = estimate.best.products
    place = made.names.index(product)
    wet = made.dry_t[0, place] + made.water_t[0, place]
    wanted = _target(product)
    if not wanted or wet.sum() <= 0:
        return None
    return float(wet[[name in wanted for name in made.materials]].sum() / wet.sum())


def fuel_class_words(estimate: Estimate, place: int, edition: str = CURRENT_EDITION) -> str | None:
    """Return the class of the fuel in words, or None where there is no fuel to classify."""
    made = estimate.best.products
    if made.product_wet_t[0, place] == 0:
        return None
    return str(
        fuel_class(
            float(made.ncv_mj_kg[0, place]),
            float(made.chlorine[0, place]),
            float(made.mercury_median_mg_mj[0, place]),
            float(made.mercury_p80_mg_mj[0, place]),
            edition,
        )
    )


def _target(product: str) -> frozenset[str]:
    """Return the materials that a product is meant to hold."""
    row = next(row for row in read_rows("products.csv") if row["name"] == product)
    words = set(row["target"].split())
    return frozenset(m.name for m in materials() if m.name in words or m.group in words)
