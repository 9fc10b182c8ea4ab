"""Units accepted at the edge, and what one of them is in metres."""

from __future__ import annotations

from types import MappingProxyType

METRES_PER_UNIT = MappingProxyType({"m": 1.0, "ft": 0.3048, "us-ft": 1200 / 3937})
"""Length of one vertical unit [m].

International foot and US survey foot are exact by definition: NIST Special Publication 811
(2008), appendix B.6.
"""
