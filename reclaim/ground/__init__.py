"""How much is in the ground, and how much of it can be dug.

Comes in: footprint, grid, survey, base and cover from `site`, and the numbers of the dig.
Goes out: `Excavation`, `ThicknessMap`, `Section`, `GroundStudy`, and `DugVolumes` of each draw.
Does not do: what the ground is made of, what it is worth, or whether a slope stands.
"""

from reclaim.ground.blocks import Blocks, blocks
from reclaim.ground.chance_map import ChanceMap, chance_map
from reclaim.ground.dug_volumes import volume_draws
from reclaim.ground.excavation import (
    DugVolumes,
    Excavation,
    Section,
    ThicknessMap,
    VolumeError,
)
from reclaim.ground.hypsometry import Hypsometry, hypsometry
from reclaim.ground.restoration import Restoration, domed_surface, restoration_volumes
from reclaim.ground.sections import (
    SecondOpinion,
    default_sections,
    end_area_volume,
    prismoidal_volume,
    second_opinion,
    section,
)
from reclaim.ground.side_slope import SideSlope
from reclaim.ground.soil_balance import SoilBalance, heap_area_m2, soil_balance
from reclaim.ground.study import GroundStudy, ground_checks, side_slope_of, study_ground
from reclaim.ground.thickness import thickness_blocks, thickness_map
from reclaim.ground.volumes import measure

__all__ = [
    "Blocks",
    "ChanceMap",
    "DugVolumes",
    "Excavation",
    "GroundStudy",
    "Hypsometry",
    "Restoration",
    "SecondOpinion",
    "Section",
    "SideSlope",
    "SoilBalance",
    "ThicknessMap",
    "VolumeError",
    "blocks",
    "chance_map",
    "default_sections",
    "domed_surface",
    "end_area_volume",
    "ground_checks",
    "heap_area_m2",
    "hypsometry",
    "measure",
    "prismoidal_volume",
    "restoration_volumes",
    "second_opinion",
    "section",
    "side_slope_of",
    "soil_balance",
    "study_ground",
    "thickness_blocks",
    "thickness_map",
    "volume_draws",
]
