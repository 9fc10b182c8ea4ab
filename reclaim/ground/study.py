"""What is known of the ground beside its volumes: blocks, curve, second opinion, chance, soil.

Comes in: a `Site`, its measured `Excavation`, and the dug volumes of each draw. Goes out:
`GroundStudy`, and what it says about the inputs.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from reclaim.ground.blocks import Blocks, blocks
from reclaim.ground.chance_map import ChanceMap, chance_map
from reclaim.ground.hypsometry import Hypsometry, hypsometry
from reclaim.ground.restoration import Restoration, domed_surface, restoration_volumes
from reclaim.ground.sections import SecondOpinion, second_opinion
from reclaim.ground.side_slope import SideSlope
from reclaim.ground.soil_balance import SoilBalance, soil_balance
from reclaim.ground.volume_error import ground_default
from reclaim.site.problems import Check, Findings

if TYPE_CHECKING:
    from reclaim.assumptions import Draws
    from reclaim.ground.excavation import DugVolumes, Excavation
    from reclaim.site import Site, Surface


@dataclass(frozen=True, slots=True)
class GroundStudy:
    """What is known of the ground beside its volumes.

    Attributes
    ----------
    blocks
        The dig by zone, lift and square column.
    hypsometry
        Dug volume and open area against elevation.
    second_opinion
        The dug volume from parallel sections.
    chance
        Where the waste is thicker than the depth asked about.
    restoration
        Earthwork up to the target surface; None where no shape is asked for.
    soil
        Swell, heaps and soil balance, one per draw.
    best_soil
        The same at central values, one draw.
    """

    blocks: Blocks
    hypsometry: Hypsometry
    second_opinion: SecondOpinion
    chance: ChanceMap
    restoration: Restoration | None
    soil: SoilBalance
    best_soil: SoilBalance


def side_slope_of(site: Site) -> SideSlope:
    """Return the profile of the side slopes that a site file asks for.

    Raises
    ------
    ValueError
        Where its numbers make no slope.
    """
    return SideSlope(
        face=site.side_slope,
        bench_height_m=_setting(site, "bench_height_m") or 0.0,
        bench_width_m=_setting(site, "bench_width_m") or 0.0,
        upper_face=_setting(site, "upper_slope") or 0.0,
        upper_depth_m=_setting(site, "upper_slope_depth_m") or 0.0,
    )


def study_ground(
    site: Site, best: DugVolumes, drawn: DugVolumes, best_draw: Draws, draws: Draws
) -> GroundStudy:
    """Return what is known of the ground beside its volumes.

    Parameters
    ----------
    site
        Surfaces, footprint and numbers of the dig.
    best, drawn
        Dug volumes at central values, and of each draw.
    best_draw, draws
        The sources that `best` and `drawn` came from.
    """
    surfaces = site.footprint, site.grid, site.survey, site.base
    slope = side_slope_of(site)
    lift_m = site.lift_m
    restoration = _restored(site, slope)
    return GroundStudy(
        blocks=blocks(
            *surfaces,
            site.cover,
            side_slope=slope,
            lift_m=lift_m,
            lifts_by=site.lifts_by,
            block_m=_setting(site, "block_m") or lift_m,
        ),
        hypsometry=hypsometry(
            *surfaces, side_slope=slope, step_m=lift_m / ground_default("curve_steps_per_lift")
        ),
        second_opinion=second_opinion(*surfaces, side_slope=slope),
        chance=chance_map(
            *surfaces,
            site.cover,
            thicker_than_m=_setting(site, "thicker_than_m") or 0.0,
            survey_sd_m=site.survey_sd_m,
            base_sd_m=site.base_sd_m,
            base_sd=site.base_kriging_sd,
        ),
        restoration=restoration,
        soil=soil_balance(drawn, restoration, site.assumptions, draws),
        best_soil=soil_balance(best, restoration, site.assumptions, best_draw),
    )


def ground_checks(site: Site, excavation: Excavation, study: GroundStudy) -> tuple[Check, ...]:
    """Return notes and warnings on the second opinion, benches and the target surface."""
    findings = Findings()
    dug_m3 = float(excavation.cover_m3.sum() + excavation.waste_m3.sum())
    opinion, error_m3 = study.second_opinion, excavation.error.total_m3
    off_m3 = opinion.prismoidal_m3 - dug_m3
    if abs(off_m3) > error_m3:
        findings.warn(
            "ground",
            f"Parallel sections give {opinion.prismoidal_m3:,.0f} m3 of cover and waste, the grid "
            f"{dug_m3:,.0f} m3; the difference is more than the stated error of "
            f"{error_m3:,.0f} m3. Sections this far apart may miss {opinion.spacing_error_m3:,.0f} "
            "m3.",
            "Look at the sections for voids or steps; the estimate goes on with the grid.",
        )
    slope = side_slope_of(site)
    cell_m = max(site.grid.cell_x_m, site.grid.cell_y_m)
    if slope.has_benches and slope.bench_width_m < cell_m:
        findings.warn(
            f"{site.path.name} [excavation] bench_width_m",
            f"Benches {slope.bench_width_m:g} m wide are narrower than the survey's cells of "
            f"{cell_m:g} m; their steps are drawn roughly, and the volume under the slopes with "
            "them.",
            "Give a survey with cells no wider than a bench, or one flatter face in place of the "
            "steps.",
        )
    if slope.has_benches:
        findings.note(
            f"{site.path.name} [excavation] bench_width_m",
            "Benches are drawn as asked for; that says nothing about whether they stand.",
            "Have them designed by a licensed engineer: loose waste is no better than type C soil, "
            "which US 29 CFR 1926 Subpart P, Appendix B, does not allow to be benched.",
        )
    target = study.restoration
    if target is not None and target.unknown_area_m2 > 0:
        findings.warn(
            f"{site.path.name} [excavation] restoration",
            f"The target or the ground is unknown on {target.unknown_area_m2:,.0f} m2 of the "
            "footprint; no fill is counted there.",
            "Extend the target surface over the whole footprint.",
        )
    return findings.checks


def _restored(site: Site, slope: SideSlope) -> Restoration | None:
    target: Surface | None = site.restoration
    elevation_m = _setting(site, "restoration_elevation_m")
    if target is None and elevation_m is not None:
        target = domed_surface(
            site.footprint,
            site.grid,
            edge_elevation_m=elevation_m,
            crown_m=_setting(site, "restoration_crown_m") or 0.0,
        )
    if target is None:
        return None
    surfaces = site.footprint, site.grid, site.survey, site.base, target
    return restoration_volumes(*surfaces, side_slope=slope, overdig_m=site.overdig_m)


def _setting(site: Site, name: str) -> float | None:
    return site.settings[f"excavation.{name}"].value
