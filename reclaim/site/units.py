"""Units accepted at the edge, and what one of them is in ours."""

from __future__ import annotations

from types import MappingProxyType

METRES_PER_UNIT = MappingProxyType({"m": 1.0, "ft": 0.3048, "us-ft": 1200 / 3937})
"""Length of one vertical unit [m].

International foot and US survey foot are exact by definition: NIST Special Publication 811
(2008), appendix B.6.
"""

FRACTION_UNITS = MappingProxyType({"fraction": 1.0, "%": 0.01, "g/kg": 0.001, "mg/kg": 1e-6})
"""Units of columns that are fractions, with their factors."""

UNITS_BY_ENDING = MappingProxyType(
    {
        "_t_m3": MappingProxyType(
            {"t/m3": 1.0, "g/cm3": 1.0, "kg/m3": 0.001, "lb/ft3": 0.45359237 / 0.3048**3 / 1000}
        ),
        "_mg_kg": MappingProxyType({"mg/kg": 1.0, "ug/kg": 0.001, "ppm": 1.0, "%": 1e4}),
        "_mj_kg": MappingProxyType(
            {"MJ/kg": 1.0, "kJ/kg": 0.001, "kcal/kg": 0.0041868, "Btu/lb": 0.002326}
        ),
        "_kg": MappingProxyType({"kg": 1.0, "g": 0.001, "t": 1000.0, "lb": 0.45359237}),
        "_mm": MappingProxyType({"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4}),
        "_pct": MappingProxyType({"%": 1.0, "fraction": 100.0, "ppm": 1e-4}),
        "_ppm": MappingProxyType({"ppm": 1.0, "%": 1e4}),
        "_l_h": MappingProxyType({"l/h": 1.0, "l/min": 60.0, "m3/h": 1000.0}),
    }
)
"""Units of columns by the ending of their names, with their factors.

Pound, inch, foot, international table calorie and British thermal unit per pound are exact by
definition: NIST Special Publication 811 (2008), appendix B.8.
"""
