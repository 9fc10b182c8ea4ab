"""The sections of the site file, key by key, without the assumptions among them."""

from __future__ import annotations

from types import MappingProxyType
from typing import TYPE_CHECKING, Any, Literal

from pydantic import BaseModel, ConfigDict, Field

if TYPE_CHECKING:
    from collections.abc import Mapping

# The climates of decay_rates.csv; wet is where more rain falls than evaporates.
Climate = Literal["temperate_dry", "temperate_wet", "tropical_dry", "tropical_wet"]


class Section(BaseModel):
    """A section: no other keys, no other types, nothing that is no number."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True, allow_inf_nan=False)


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

    `vertical_unit` is that of the rasters and of all elevations and depths in the core tables.
    Numbers of the site file itself are metres, as their names say.
    """

    survey: str
    crs: str | None = None
    base: str | None = None
    base_elevation_m: float | None = None
    base_from_cores: bool = False
    vertical_unit: Literal["m", "ft", "us-ft"] = "m"
    survey_sd_m: float | None = None
    base_sd_m: float | None = None
    error_range_m: float | None = None
    cover_m: float | None = None
    cover_from_cores: bool = False


class ExcavationSection(Section):
    """``[excavation]``: the shape of the dig."""

    side_slope: float | None = None
    overdig_m: float | None = None
    lift_m: float | None = None


class CoresSection(Section):
    """``[cores]``: the tables of the drilling campaign."""

    collars: str
    intervals: str
    samples: str | None = None
    lab: str | None = None
    gas: str | None = None
    collar_tolerance_m: float | None = None


class WasteSection(Section):
    """``[waste]``: words and shares of materials; its other keys are assumptions."""

    names: dict[str, str] = Field(default_factory=dict)
    composition: dict[str, Any] = Field(default_factory=dict)
    fines_sieve_mm: float | None = None
    climate: Climate = "temperate_wet"


class PlantSection(Section):
    """``[plant]``: the line; its other keys are assumptions."""

    file: str | None = None


class UncertaintySection(Section):
    """``[uncertainty]``: the Monte Carlo run."""

    draws: int | None = None
    seed: int | None = None


SECTIONS: Mapping[str, type[Section]] = MappingProxyType(
    {
        "site": SiteSection,
        "footprint": FootprintSection,
        "surfaces": SurfacesSection,
        "excavation": ExcavationSection,
        "cores": CoresSection,
        "waste": WasteSection,
        "plant": PlantSection,
        "uncertainty": UncertaintySection,
    }
)
