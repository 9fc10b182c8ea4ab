"""How much is in the ground, and how much of it can be dug.

Comes in: footprint, grid, survey, base and cover from `site`, and the numbers of the dig.
Goes out: `Excavation`, `ThicknessMap`, `Section`, and `DugVolumes` for each draw.
Does not do: what the ground is made of, what it is worth, or whether a slope stands.
"""

from reclaim.ground.dug_volumes import volume_draws
from reclaim.ground.excavation import (
    DugVolumes,
    Excavation,
    Section,
    ThicknessMap,
    VolumeError,
)
from reclaim.ground.sections import (
    SecondOpinion,
    default_sections,
    end_area_volume,
    prismoidal_volume,
    second_opinion,
    section,
)
from reclaim.ground.thickness import thickness_blocks, thickness_map
from reclaim.ground.volumes import measure

__all__ = [
    "DugVolumes",
    "Excavation",
    "SecondOpinion",
    "Section",
    "ThicknessMap",
    "VolumeError",
    "default_sections",
    "end_area_volume",
    "measure",
    "prismoidal_volume",
    "second_opinion",
    "section",
    "thickness_blocks",
    "thickness_map",
    "volume_draws",
]
