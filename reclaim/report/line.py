"""The line in numbers for readers: products against their limits, and what machines must take."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from reclaim.assumptions import Draws
from reclaim.plant import check_limits, drying_choices, line_capacity
from reclaim.reference import heavy_metals, materials
from reclaim.reference import products as product_labels
from reclaim.report.wording import listed, number, percent, with_unit

if TYPE_CHECKING:
    from reclaim.estimate import Estimate
    from reclaim.plant import Capacity, LimitCheck

_WORDS = {
    "ncv": "net calorific value",
    "moisture": "moisture",
    "ash": "ash",
    "chlorine": "chlorine",
    "carbon": "organic carbon",
    "mercury_median": "mercury, median",
    "mercury_p80": "mercury, 80th percentile",
    "foreign": "foreign matter",
}
_FEW_GRAMS = 0.001
"""Shares below this are written in grams per tonne."""


def limits_of(estimate: Estimate) -> tuple[LimitCheck, ...]:
    """Return every product of the estimate held against its limits."""
    best = estimate.best
    return check_limits(best.products, estimate.draws.products, best.feed.properties)


def capacity_of(estimate: Estimate) -> Capacity:
    """Return what the line of the estimate can take."""
    site = estimate.site
    return line_capacity(estimate.best.products, site.line, site.assumptions)


def line_document(estimate: Estimate) -> dict[str, Any]:
    """Return limits, capacity and ways to dry as they go into the results."""
    site = estimate.site
    choices = drying_choices(estimate.best.feed, site.line, site.assumptions, Draws.best_estimate())
    return {
        "drying_choices": [asdict(choice) for choice in choices],
        "limits": [asdict(check) for check in limits_of(estimate)],
        "capacity": asdict(capacity_of(estimate)),
    }


def limited(check: LimitCheck) -> str:
    """Return what a limit limits, in words."""
    if check.quantity in heavy_metals():
        return check.quantity
    if check.quantity != "content":
        return _WORDS[check.quantity]
    labels = {item.name: item.label.lower() for item in materials()}
    groups: dict[str, set[str]] = {}
    for item in materials():
        groups.setdefault(item.group, set()).add(item.name)
    left, words = set(check.materials), []
    for group, members in groups.items():
        if len(members) > 1 and members <= left:
            words.append(f"all {group} materials" if group != "metal" else "metal")
            left -= members
    words += [labels[name] for name in check.materials if name in left]
    return f"{listed(words)} in it"


def amount(check: LimitCheck, value: float) -> str:
    """Return a value or a limit in the unit that suits the limit."""
    if not check.unit.startswith("fraction"):
        return with_unit(number(value, 2), check.unit.split(" as ")[0].split(" of ")[0])
    if check.limit < _FEW_GRAMS:
        return with_unit(number(value * 1e6, 2), "g/t")
    return percent(value) if value >= _FEW_GRAMS * 10 else f"{number(100 * value, 2)}%"


def product_words(check: LimitCheck) -> str:
    """Return the label of the product that a limit is for."""
    return product_labels()[check.product]
