"""What a site that nobody has looked at is taken to be: defaults by region and years of tipping.

Only what a site does not state is filled in, and each number filled in keeps its own source.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache
from typing import TYPE_CHECKING, Any

from reclaim.reference import quantity_of, read_rows
from reclaim.site.settings import setting_defaults
from reclaim.site.spelling import suggestion

if TYPE_CHECKING:
    from collections.abc import Mapping

    from reclaim.assumptions import Assumption
    from reclaim.reference import Quantity
    from reclaim.site import Findings, Setting, Site

RIM = "the ground around the outline"
"""What stands for a base that nobody knows; see `reclaim.portfolio.terrain`."""

SCREENING = ("region", "depth_below_rim_m")
"""Keys of the section ``[screening]``."""

_WASTE = ("bulk_density_t_m3", "moisture", "age_years")


@dataclass(frozen=True, slots=True)
class Filled:
    """What was filled in on one site.

    Attributes
    ----------
    quantities
        Defaults by key of the site file, with their sources.
    region, era
        Rows of the regional tables that were taken; `era` is empty where the composition was
        stated.
    base_from_rim
        True where the base is drawn from the ground around the outline.
    depth_below_rim_m
        How far below it the base is taken to lie [m].
    """

    quantities: Mapping[str, Quantity]
    region: str
    era: str
    base_from_rim: bool
    depth_below_rim_m: float


def portfolio_default(key: str) -> float:
    """Return a number of ``portfolio.csv`` by its key."""
    return next(float(row["value"]) for row in read_rows("portfolio.csv") if row["key"] == key)


@cache
def regions() -> dict[str, dict[str, str]]:
    """Return the regions by key; the first is the default."""
    return {row["key"]: row for row in read_rows("regions.csv")}


@cache
def regional_defaults() -> dict[str, Quantity]:
    """Return the defaults of a screening by key."""
    return {row["key"]: quantity_of(row) for row in read_rows("regional_defaults.csv")}


def fill_in(document: dict[str, Any], where: str, findings: Findings) -> Filled | None:
    """Complete what a site file would say; `document` is changed, its screening keys taken out.

    Parameters
    ----------
    document
        Sections of a site file with their keys.
    where
        The file or row, for messages.
    findings
        Takes every problem of the section ``[screening]``.
    """
    asked = document.pop("screening", {})
    region, depth_m = _screening_keys(asked, where, findings)
    if region is None:
        return None
    defaults = regional_defaults()
    filled: dict[str, Quantity] = {}
    site, waste = _section(document, "site"), _section(document, "waste")
    surfaces, cores = _section(document, "surfaces"), _section(document, "cores")
    waste.setdefault("climate", regions()[region]["climate"])
    era = ""
    if not cores.get("samples"):
        for name in _WASTE:
            if name not in waste and (name != "age_years" or _middle_year(site) is None):
                filled[f"waste.{name}"] = quantity = defaults[f"waste.{name}"]
                waste[name] = _range(quantity)
        if not waste.get("composition"):
            era, shares = composition_of(region, _middle_year(site))
            waste["composition"] = {name: _range(share) for name, share in shares.items()}
            filled |= {f"waste.composition.{name}": share for name, share in shares.items()}
    stated = ("base", "base_elevation_m", "base_from_cores")
    from_rim = not any(surfaces.get(key) not in (None, False) for key in stated)
    if from_rim:
        surfaces["base"] = RIM
        filled |= {f"surfaces.{name}": default for name, default in rim_defaults(surfaces).items()}
        surfaces |= {name: default.mode for name, default in rim_defaults(surfaces).items()}
    return Filled(filled, region, era, from_rim, depth_m)


def rim_defaults(surfaces: Mapping[str, Any]) -> dict[str, Quantity]:
    """Return the spread of a base drawn from the rim, as far as it is not stated."""
    names = ("base_sd_m", "error_range_m")
    return {
        name: regional_defaults()[f"surfaces.{name}"]
        for name in names
        if surfaces.get(name) is None
    }


def with_rim(filled: Filled, settings: Mapping[str, Setting]) -> Filled:
    """Return what was filled in where the base turns out to be unknown after all."""
    stated = {
        key.removeprefix("surfaces."): item.value
        for key, item in settings.items()
        if key.startswith("surfaces.") and item.given
    }
    spread = {f"surfaces.{name}": default for name, default in rim_defaults(stated).items()}
    return replace(filled, base_from_rim=True, quantities={**filled.quantities, **spread})


def composition_of(region: str, year: float | None) -> tuple[str, dict[str, Quantity]]:
    """Return the era and the shares of wet mass of a region, by the middle year of tipping.

    Without a year, or where a region has no eras, the era is ``any``.
    """
    rows = [row for row in read_rows("regional_compositions.csv") if row["region"] == region]
    dated = [row for row in rows if row["from_year"]]
    if year is not None:
        dated = [row for row in dated if int(row["from_year"]) <= year < int(row["to_year"]) + 1]
    chosen = dated if year is not None and dated else [r for r in rows if r["era"] == "any"]
    return chosen[0]["era"], {row["material"]: quantity_of(row) for row in chosen}


def with_own_sources(site: Site, filled: Filled) -> Site:
    """Return the site with every number that was filled in marked as default, not as given."""

    def own(key: str, item: Assumption) -> Assumption:
        default = filled.quantities.get(key)
        if default is None:
            return item
        return replace(item, source=default.source, status=default.status, given=False)

    settings: dict[str, Setting] = dict(site.settings)
    for key, default in filled.quantities.items():
        if key in settings:
            settings[key] = replace(
                setting_defaults()[key],
                value=default.mode,
                source=default.source,
                status=default.status,
                note=default.note,
            )
    return replace(
        site,
        settings=settings,
        assumptions={key: own(key, item) for key, item in site.assumptions.items()},
        composition={
            name: own(f"waste.composition.{name}", item) for name, item in site.composition.items()
        },
    )


def _screening_keys(
    asked: Any, where: str, findings: Findings
) -> tuple[str, float] | tuple[None, float]:
    """Return region and depth below the rim [m]; None after saying what is wrong."""
    place = f"{where} [screening]"
    if not isinstance(asked, dict):
        findings.error(place, "This must be a section.", "Write [screening] above its keys.")
        return None, 0.0
    sound = True
    for key in asked:
        if key not in SCREENING:
            sound = False
            findings.error(place, f"There is no key '{key}'.", suggestion(key, SCREENING))
    region = asked.get("region", next(iter(regions())))
    if region not in regions():
        sound = False
        findings.error(
            f"{place} region", f"There is no region '{region}'.", suggestion(str(region), regions())
        )
    depth_m = asked.get(
        "depth_below_rim_m", regional_defaults()["screening.depth_below_rim_m"].mode
    )
    if isinstance(depth_m, bool) or not isinstance(depth_m, int | float) or not 0 <= depth_m <= 200:
        sound = False
        findings.error(
            f"{place} depth_below_rim_m",
            f"Got {depth_m!r}.",
            "Give metres from 0 to 200, or leave it out.",
        )
    return (str(region), float(depth_m)) if sound else (None, 0.0)


def _section(document: dict[str, Any], name: str) -> dict[str, Any]:
    """Return a section to read from and write to; one that is no section is told elsewhere."""
    if name == "cores" and name not in document:
        return {}
    found = document.setdefault(name, {})
    return found if isinstance(found, dict) else {}


def _middle_year(site: Mapping[str, Any]) -> float | None:
    years = [site.get(key) for key in ("opened", "closed")]
    known = [year for year in years if isinstance(year, int) and not isinstance(year, bool)]
    return sum(known) / len(known) if known else None


def _range(quantity: Quantity) -> dict[str, float]:
    return {"low": quantity.low, "mode": quantity.mode, "high": quantity.high}
