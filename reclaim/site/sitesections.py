"""The sections of the site file, key by key, without the assumptions among them."""

from __future__ import annotations

from types import MappingProxyType
from typing import TYPE_CHECKING, Annotated, Any, ClassVar, Literal

from pydantic import BaseModel, ConfigDict, Field

if TYPE_CHECKING:
    from collections.abc import Mapping

# The climates of decay_rates.csv; wet is where more rain falls than evaporates.
Climate = Literal["temperate_dry", "temperate_wet", "tropical_dry", "tropical_wet"]


CORE_TABLES = ("collars", "intervals", "ags", "samples", "lab", "gas", "water", "sizes")


class Section(BaseModel):
    """A section: no other keys, no other types, nothing that is no number."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True, allow_inf_nan=False)
    only_where_written: ClassVar[bool] = False
    """True where a file without the section differs from one with an empty section."""


class SiteSection(Section):
    """``[site]``: what the place is called and when it was tipped on."""

    name: str = Field(min_length=1)
    currency: str | None = Field(None, pattern=r"^[A-Z]{3}$")
    price_year: int | None = None
    opened: int | None = None
    closed: int | None = None


class FootprintSection(Section):
    """``[footprint]``: where may be dug."""

    file: str
    zone_field: str | None = None
    setback_m: float | None = None
    exclusions: str | None = None


class SurfacesSection(Section):
    """``[surfaces]``: today's ground, the base of the waste, the cover.

    `vertical_unit` is that of rasters, points and lines and of all elevations and depths in the
    core tables; LandXML states its own.
    Numbers of the site file itself are metres, as their names say.
    """

    survey: str
    crs: str | None = None
    cell_m: float | None = None
    point_class: int | None = None
    elevation_field: str | None = None
    survey_tiles: list[str] = Field(default_factory=list)
    survey_breaklines: str | None = None
    survey_surface: str | None = None
    base: str | None = None
    base_breaklines: str | None = None
    base_surface: str | None = None
    base_elevation_m: float | None = None
    base_from_cores: bool = False
    base_correct_to_cores: bool = False
    vertical_unit: Literal["m", "ft", "us-ft"] = "m"
    survey_sd_m: float | None = None
    base_sd_m: float | None = None
    error_range_m: float | None = None
    cover_m: float | None = None
    cover_from_cores: bool = False


class ExcavationSection(Section):
    """``[excavation]``: the shape of the dig."""

    side_slope: float | None = None
    upper_slope: float | None = None
    upper_slope_depth_m: float | None = None
    bench_height_m: float | None = None
    bench_width_m: float | None = None
    overdig_m: float | None = None
    lift_m: float | None = None
    lifts_by: Literal["elevation", "depth"] = "elevation"
    block_m: float | None = None
    thicker_than_m: float | None = None
    restoration: str | None = None
    restoration_elevation_m: float | None = None
    restoration_crown_m: float | None = None


class CoresSection(Section):
    """``[cores]``: the tables of the drilling campaign, and the user's words in them."""

    only_where_written: ClassVar[bool] = True

    collars: str | None = None
    intervals: str | None = None
    ags: str | None = None
    samples: str | None = None
    lab: str | None = None
    gas: str | None = None
    water: str | None = None
    sizes: str | None = None
    columns: dict[str, str] = Field(default_factory=dict)
    units: dict[str, str] = Field(default_factory=dict)
    layers: dict[str, str] = Field(default_factory=dict)
    sheets: dict[str, str] = Field(default_factory=dict)
    collar_tolerance_m: float | None = None


class WasteSection(Section):
    """``[waste]``: words and shares of materials; its other keys are assumptions."""

    names: dict[str, str] = Field(default_factory=dict)
    composition: dict[str, Any] = Field(default_factory=dict)
    fines_sieve_mm: float | None = None
    climate: Climate = "temperate_wet"


class PlantSection(Section):
    """``[plant]``: the line, by name or in a file; its other keys are assumptions."""

    file: str | None = None
    line: str | None = None


class HazardsSection(Section):
    """``[hazards]``: whose rules hold, and the user's own; its other keys are assumptions."""

    profile: Literal["all", "us", "uk", "eu"] = "all"
    local_limits: str | None = None
    words: str | None = None
    receptors: str | None = None


# The courses of action that the appraisal can compare, and the rows of discount_conventions.csv.
CourseName = Literal["leave", "cap", "haul", "mine", "mine_part"]
DiscountConvention = Literal[
    "constant", "uk_green_book", "eu_social", "eu_financial", "us_a94", "private"
]


class ScheduleSection(Section):
    """``[schedule]``: months (1 to 12) without digging; its other keys are assumptions."""

    closed_months: list[Annotated[int, Field(ge=1, le=12)]] = Field(
        default_factory=list, max_length=11
    )


class MoneySection(Section):
    """``[money]``: ``constant`` discounts at discount_rate; its other keys are assumptions."""

    discount_convention: DiscountConvention = "constant"


def _all_courses() -> list[CourseName]:
    return ["leave", "cap", "haul", "mine", "mine_part"]


class OptionsSection(Section):
    """``[options]``: which courses of action to compare; its other keys are assumptions."""

    courses: list[CourseName] = Field(default_factory=_all_courses, min_length=1)


class CorrelationSection(Section):
    """``[[uncertainty.correlations]]``: two assumptions and their rank correlation."""

    between: list[str] = Field(min_length=2, max_length=2)
    rank: float


class UncertaintySection(Section):
    """``[uncertainty]``: the Monte Carlo run."""

    draws: int | None = None
    seed: int | None = None
    sampling: Literal["latin", "sobol"] = "latin"
    precision: float | None = None
    workers: int | None = None
    drivers: bool = True
    index_draws: int | None = None
    correlations: list[CorrelationSection] = Field(default_factory=list)


SECTIONS: Mapping[str, type[Section]] = MappingProxyType(
    {
        "site": SiteSection,
        "footprint": FootprintSection,
        "surfaces": SurfacesSection,
        "excavation": ExcavationSection,
        "cores": CoresSection,
        "waste": WasteSection,
        "plant": PlantSection,
        "hazards": HazardsSection,
        "schedule": ScheduleSection,
        "money": MoneySection,
        "options": OptionsSection,
        "uncertainty": UncertaintySection,
    }
)
