"""What is in the ground made of, and how many tonnes of each?

Comes in: core tables or stated shares, dug volumes, assumptions.
Goes out: `CoreSummary` for the geologist, `Feed` for the plant, with the materials' properties.
Does not do: geometry, machines, money.
"""

from reclaim.waste.composites import CoreComposites, core_composites
from reclaim.waste.composition import Composition, composition_from_cores, composition_stated
from reclaim.waste.core_summary import summarise_cores
from reclaim.waste.decay import decay_rates, methane_potential_left, undecayed_share
from reclaim.waste.feed import CoreSummary, Feed, Properties
from reclaim.waste.heating_value import mix_value, net_as_received, net_dry, net_dry_from_gross
from reclaim.waste.moisture import material_moisture
from reclaim.waste.properties import (
    Age,
    material_properties_today,
    properties_of_site,
    site_age,
    still_rotting_share,
)
from reclaim.waste.sample_size import samples_needed
from reclaim.waste.tonnage import feed_from_volumes

__all__ = [
    "Age",
    "Composition",
    "CoreComposites",
    "CoreSummary",
    "Feed",
    "Properties",
    "composition_from_cores",
    "composition_stated",
    "core_composites",
    "decay_rates",
    "feed_from_volumes",
    "material_moisture",
    "material_properties_today",
    "methane_potential_left",
    "mix_value",
    "net_as_received",
    "net_dry",
    "net_dry_from_gross",
    "properties_of_site",
    "samples_needed",
    "site_age",
    "still_rotting_share",
    "summarise_cores",
    "undecayed_share",
]
