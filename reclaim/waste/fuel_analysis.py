"""Calorific value from what a laboratory finds: elements, or volatile matter and fixed carbon."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from reclaim.reference import read_rows
from reclaim.waste.heating_value import net_dry_from_gross

if TYPE_CHECKING:
    from collections.abc import Mapping

FloatArray = NDArray[np.floating[Any]]


@dataclass(frozen=True, slots=True)
class UltimateAnalysis:
    """Elements of the dry matter, fractions of dry mass, all of one shape.

    Attributes
    ----------
    carbon, hydrogen, oxygen, nitrogen, sulphur, ash
        Fractions of dry mass [-]; they add to 1 save for rounding.
    """

    carbon: FloatArray
    hydrogen: FloatArray
    oxygen: FloatArray
    nitrogen: FloatArray
    sulphur: FloatArray
    ash: FloatArray

    def __post_init__(self) -> None:
        _refuse_no_fractions({field.name: getattr(self, field.name) for field in fields(self)})


@dataclass(frozen=True, slots=True)
class ProximateAnalysis:
    """What dry matter does when heated, fractions of dry mass, all of one shape.

    Attributes
    ----------
    volatile, fixed_carbon, ash
        Fractions of dry mass [-]; they add to 1 save for rounding.
    """

    volatile: FloatArray
    fixed_carbon: FloatArray
    ash: FloatArray

    def __post_init__(self) -> None:
        _refuse_no_fractions({field.name: getattr(self, field.name) for field in fields(self)})


def formula_names() -> tuple[str, ...]:
    """Return the names of the formulas, those for proximate analysis included."""
    return tuple(dict.fromkeys(row["formula"] for row in read_rows("calorific_formulas.csv")))


def gross_dry(
    analysis: UltimateAnalysis | ProximateAnalysis, formula: str = "dulong_modified"
) -> FloatArray:
    """Return the gross calorific value of the dry matter [MJ/kg] by a published formula.

    Parameters
    ----------
    analysis
        Fractions of dry mass.
    formula
        A formula of ``calorific_formulas.csv`` made for that kind of analysis.

    Raises
    ------
    ValueError
        For an unknown formula, or one that needs the other kind of analysis.

    Notes
    -----
    Sums of coefficient times fraction; sources stand beside the coefficients. Formulas were fitted
    to clean fuels and differ by some per cent; a bomb calorimeter decides.
    """
    rows = [row for row in read_rows("calorific_formulas.csv") if row["formula"] == formula]
    known = {field.name for field in fields(analysis)}
    if not rows or {row["term"] for row in rows} - known:
        raise ValueError(f"There is no formula '{formula}' for this kind of analysis.")
    value = np.zeros_like(np.asarray(analysis.ash, dtype=float))
    for row in rows:
        value = value + float(row["coefficient"]) * getattr(analysis, row["term"])
    return np.asarray(value)


def net_dry_of_elements(analysis: UltimateAnalysis, formula: str = "dulong_modified") -> FloatArray:
    """Return the net calorific value of the dry matter at constant pressure [MJ/kg]."""
    return net_dry_from_gross(
        gross_dry(analysis, formula), analysis.hydrogen, analysis.oxygen + analysis.nitrogen
    )


def _refuse_no_fractions(parts: Mapping[str, FloatArray]) -> None:
    total = sum(np.asarray(part, dtype=float) for part in parts.values())
    low = min(float(np.min(part)) for part in parts.values())
    if low < 0 or float(np.max(np.abs(total - 1))) > 0.02:
        names = ", ".join(parts)
        raise ValueError(f"Fractions of dry mass must not be negative and add to 1: {names}.")
