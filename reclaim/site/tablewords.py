"""The user's words for tables, columns, units and layers, beside ours."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import TYPE_CHECKING

from reclaim.site.units import FRACTION_UNITS, UNITS_BY_ENDING

if TYPE_CHECKING:
    from collections.abc import Mapping

_NOTHING: Mapping[str, str] = MappingProxyType({})
_FRACTIONS = frozenset({"moisture", "ash", "chlorine", "recovery", "passing"})


def plain(header: str) -> str:
    """Return a header in lower case with underscores, as columns are named here."""
    return re.sub(r"\s+", "_", header.strip().casefold())


def units_of(column: str) -> Mapping[str, float]:
    """Return the units that a column's numbers may be in, each with its factor to ours.

    A column ends with its unit (``wet_mass_kg``) or is a fraction. Empty for texts, and for
    coordinates and depths, whose unit is that of the survey.
    """
    if column in _FRACTIONS:
        return FRACTION_UNITS
    ending = next((end for end in UNITS_BY_ENDING if column.endswith(end)), None)
    return MappingProxyType({}) if ending is None else UNITS_BY_ENDING[ending]


@dataclass(frozen=True, slots=True)
class TableWords:
    """What the site file says about the words of the core tables.

    Attributes
    ----------
    columns
        Our column by the user's header, in `plain` form.
    units
        Unit of the user's numbers by our column, where it is not ours.
    layers
        Our layer (cover, waste or natural) by the user's word, case folded.
    sheets
        Sheet of a workbook by table (``collars``).
    """

    columns: Mapping[str, str] = field(default_factory=lambda: _NOTHING)
    units: Mapping[str, str] = field(default_factory=lambda: _NOTHING)
    layers: Mapping[str, str] = field(default_factory=lambda: _NOTHING)
    sheets: Mapping[str, str] = field(default_factory=lambda: _NOTHING)

    def column(self, header: str) -> str:
        """Return our name of the user's column; plain where the site file has no word on it."""
        return self.columns.get(plain(header), plain(header))

    def layer(self, word: str) -> str:
        """Return our name of the user's layer; case folded where there is no word on it."""
        return self.layers.get(word.casefold(), word.casefold())

    def factor(self, column: str) -> float:
        """Return what the user's numbers of a column are multiplied by."""
        return units_of(column)[self.units[column]] if column in self.units else 1.0
