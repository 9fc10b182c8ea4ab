"""What the user hands over, read, checked, and in SI units on one common grid.

Comes in: the path of a site file. Goes out: `Site`, with warnings, or `SiteError` with all errors.
Does not do: any estimate; it says what is wrong and never mends a number in silence.
"""

from reclaim.site.drawplan import DrawPlan
from reclaim.site.hazardinputs import HazardInputs, LocalLimit, LocalWord, Receptor
from reclaim.site.model import Cores, Footprint, Grid, InputFile, Site, Surface, Window, Zone
from reclaim.site.plantfile import LineFile, MachineSpec
from reclaim.site.problems import Check, Findings, SiteError
from reclaim.site.reading import CoreSite, read_core_tables, read_site
from reclaim.site.settings import Setting

__all__ = [
    "Check",
    "CoreSite",
    "Cores",
    "DrawPlan",
    "Findings",
    "Footprint",
    "Grid",
    "HazardInputs",
    "InputFile",
    "LineFile",
    "LocalLimit",
    "LocalWord",
    "MachineSpec",
    "Receptor",
    "Setting",
    "Site",
    "SiteError",
    "Surface",
    "Window",
    "Zone",
    "read_core_tables",
    "read_site",
]
