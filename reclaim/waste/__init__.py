"""What is in the ground made of, and how many tonnes of each?

Comes in: core tables or stated shares, dug volumes, assumptions.
Goes out: `CoreSummary` for the geologist, `Feed` for the plant, with the materials' properties.
Does not do: geometry, machines, money.
"""

from reclaim.waste.blocks import Blocks, dug_blocks
from reclaim.waste.bulk_properties import bulk_of_materials, lab_by_core, lab_summary
from reclaim.waste.comparison import depth_trend, outlier_scores, zones_differ
from reclaim.waste.composites import CoreComposites, core_composites
from reclaim.waste.composition import Composition, composition_from_cores, composition_stated
from reclaim.waste.core_study import CoreStudy, study_cores
from reclaim.waste.core_summary import summarise_cores
from reclaim.waste.decay import decay_rates, methane_potential_left, undecayed_share
from reclaim.waste.declustering import area_weights, cell_weights
from reclaim.waste.depth_composites import layer_composites, lift_composites
from reclaim.waste.feed import CoreSummary, Feed, Properties
from reclaim.waste.fuel_analysis import (
    ProximateAnalysis,
    UltimateAnalysis,
    gross_dry,
    net_dry_of_elements,
)
from reclaim.waste.heating_value import mix_value, net_as_received, net_dry, net_dry_from_gross
from reclaim.waste.laboratory import (
    QUANTITY_WORDS,
    LabFit,
    LabMean,
    laboratory_fits,
    laboratory_means,
    to_laboratory,
)
from reclaim.waste.log_ratio import (
    aitchison_distance,
    clr,
    ilr,
    ilr_inverse,
    log_ratio_centre,
    without_zeros,
)
from reclaim.waste.moisture import material_moisture, measured_moistures, moisture_pattern
from reclaim.waste.narrow_bores import bore_notes, without_bore_bias
from reclaim.waste.next_cores import NextCores, next_cores
from reclaim.waste.properties import (
    Age,
    material_properties_today,
    properties_of_site,
    site_age,
    still_rotting_share,
)
from reclaim.waste.sample_size import (
    VarianceParts,
    precision_reached,
    samples_needed,
    variance_parts,
)
from reclaim.waste.size_distribution import size_distribution
from reclaim.waste.skill import Skill
from reclaim.waste.spatial import BlockEstimates, SpatialStudy, krige_blocks, study_pattern
from reclaim.waste.spatial_composition import picked_composition, spatial_composition
from reclaim.waste.statistics import bca_interval, material_statistics, t_interval
from reclaim.waste.tonnage import feed_from_volumes

__all__ = [
    "QUANTITY_WORDS",
    "Age",
    "BlockEstimates",
    "Blocks",
    "Composition",
    "CoreComposites",
    "CoreStudy",
    "CoreSummary",
    "Feed",
    "LabFit",
    "LabMean",
    "NextCores",
    "Properties",
    "ProximateAnalysis",
    "Skill",
    "SpatialStudy",
    "UltimateAnalysis",
    "VarianceParts",
    "aitchison_distance",
    "area_weights",
    "bca_interval",
    "bore_notes",
    "bulk_of_materials",
    "cell_weights",
    "clr",
    "composition_from_cores",
    "composition_stated",
    "core_composites",
    "decay_rates",
    "depth_trend",
    "dug_blocks",
    "feed_from_volumes",
    "gross_dry",
    "ilr",
    "ilr_inverse",
    "krige_blocks",
    "lab_by_core",
    "lab_summary",
    "laboratory_fits",
    "laboratory_means",
    "layer_composites",
    "lift_composites",
    "log_ratio_centre",
    "material_moisture",
    "material_properties_today",
    "material_statistics",
    "measured_moistures",
    "methane_potential_left",
    "mix_value",
    "moisture_pattern",
    "net_as_received",
    "net_dry",
    "net_dry_from_gross",
    "net_dry_of_elements",
    "next_cores",
    "outlier_scores",
    "picked_composition",
    "precision_reached",
    "properties_of_site",
    "samples_needed",
    "site_age",
    "size_distribution",
    "spatial_composition",
    "still_rotting_share",
    "study_cores",
    "study_pattern",
    "summarise_cores",
    "t_interval",
    "to_laboratory",
    "undecayed_share",
    "variance_parts",
    "without_bore_bias",
    "without_zeros",
    "zones_differ",
]
