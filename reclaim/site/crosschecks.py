"""What cores and surfaces say about each other: datum shifts, feet read as metres, the base."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from reclaim.site.coresurface import CoreSurface, base_elevations, cover_thicknesses
from reclaim.site.coretables import ROW
from reclaim.site.settings import limit
from reclaim.site.units import METRES_PER_UNIT

if TYPE_CHECKING:
    import pandas as pd

    from reclaim.site.krigedsurface import KrigedSurface
    from reclaim.site.model import Cores, FloatArray, Footprint, Grid
    from reclaim.site.problems import Findings


def check_collar_places(cores: Cores, grid: Grid, written: str, findings: Findings) -> None:
    """Check that collar coordinates are no degrees where the survey's are lengths."""
    x_m, y_m = cores.collars["x_m"].to_numpy(), cores.collars["y_m"].to_numpy()
    if not len(x_m) or abs(grid.north_m) < 1000:
        return
    if np.all(np.abs(x_m) <= 180) and np.all(np.abs(y_m) <= 90):
        findings.error(
            f"{written} columns x, y",
            "The coordinates of the collars look like degrees.",
            "Convert them to the survey's coordinate system.",
        )


def check_collars(
    cores: Cores, ground: FloatArray, tolerance_m: float, written: str, findings: Findings
) -> bool:
    """Compare collar elevations with the survey, and name what explains a misfit best.

    Parameters
    ----------
    cores
        The cores.
    ground
        Today's ground at the collars [m], NaN where unknown, shape ``(n_cores,)``.
    tolerance_m
        Largest misfit that is let pass [m].
    written, findings
        Path of the collars as written, and where to tell.

    Returns
    -------
    bool
        False where the collars as a whole are off, so that nothing hung on them can be compared.

    Notes
    -----
    Medians, so that one bad collar does not hide or fake a shift. Feet read as metres leave a
    ratio of 0.3048; they are named where that ratio brings the collars back within tolerance.
    """
    collars = cores.collars
    elevation = collars["elevation_m"].to_numpy()
    known = np.isfinite(ground) & np.isfinite(elevation)
    if not known.any():
        return True
    misfit = elevation - ground
    shift = float(np.median(misfit[known]))
    if abs(shift) > tolerance_m:
        what, what_to_do = _explained(elevation[known], ground[known], tolerance_m)
        findings.warn(
            f"{written} column elevation_m",
            f"The collars lie {abs(shift):.2f} m {'above' if shift > 0 else 'below'} the survey "
            f"(median of {known.sum()}). {what}",
            what_to_do,
        )
        return False
    for index in np.flatnonzero(known & (np.abs(misfit) > tolerance_m)):
        findings.warn(
            f"{written} row {collars[ROW].iloc[index]}",
            f"The collar of core '{collars['core_id'].iloc[index]}' is at "
            f"{elevation[index]:.2f} m, the survey there at {ground[index]:.2f} m.",
            "Check its elevation and coordinates.",
        )
    return True


def _explained(elevation: FloatArray, ground: FloatArray, tolerance_m: float) -> tuple[str, str]:
    """Return what explains a misfit of collars and ground best, and what to do about it."""
    foot = METRES_PER_UNIT["ft"]
    shift = float(np.median(elevation - ground))
    spread = float(np.median(np.abs(elevation - ground - shift)))
    collars_in_feet = float(np.median(np.abs(elevation * foot - ground)))
    survey_in_feet = float(np.median(np.abs(elevation - ground * foot)))
    if collars_in_feet <= tolerance_m:
        return (
            f"Collars in feet read as metres fit best ({collars_in_feet:.2f} m remain).",
            "Convert the collar elevations to metres.",
        )
    if survey_in_feet <= tolerance_m:
        return (
            f"A survey in feet read as metres fits best ({survey_in_feet:.2f} m remain).",
            "Convert the survey to metres.",
        )
    if spread <= tolerance_m:
        return (
            f"A constant datum shift of {shift:+.2f} m fits best ({spread:.2f} m remain).",
            "Bring collars and survey to one vertical datum.",
        )
    return (
        f"Neither a constant shift ({spread:.2f} m remain) nor feet read as metres explain it.",
        "Check vertical datum, units and coordinates of the collars.",
    )


def check_base(
    cores: Cores, surface: FloatArray, base_sd_m: float, written: str, findings: Findings
) -> None:
    """Compare the base in the logs with the base surface, core by core and as a whole.

    Parameters
    ----------
    cores
        The cores.
    surface
        The base surface at the collars [m], NaN where unknown, shape ``(n_cores,)``.
    base_sd_m
        Standard deviation of that surface [m].
    written, findings
        Path of the intervals as written, and where to tell.

    Notes
    -----
    The median of n normal deviates has about the standard deviation sd sqrt(pi / 2n): Kendall
    and Stuart, The Advanced Theory of Statistics (from memory).
    """
    logged = base_elevations(cores)
    misfit = logged - surface
    known = np.isfinite(misfit)
    if not known.any():
        return
    bound = limit("base_residual_sds") * base_sd_m
    bias = float(np.median(misfit[known]))
    if abs(bias) > bound * np.sqrt(np.pi / 2 / known.sum()):
        findings.warn(
            "[surfaces] base",
            f"The base surface lies {abs(bias):.2f} m {'below' if bias > 0 else 'above'} the base "
            f"in the logs (median of {known.sum()} cores), more than chance would give.",
            "The waste volume is biased by about that much times the area; correct the surface.",
        )
    else:
        bias = 0.0
    for index in np.flatnonzero(known & (np.abs(misfit - bias) > bound)):
        findings.warn(
            f"{written} core '{cores.collars['core_id'].iloc[index]}'",
            f"The logged base at {logged[index]:.2f} m lies {abs(misfit[index]):.2f} m "
            f"{'above' if misfit[index] > 0 else 'below'} the base surface.",
            "The volume there follows the surface; check log and surface, or use base_from_cores.",
        )


def check_cover(cores: Cores, surface: FloatArray, written: str, findings: Findings) -> None:
    """Warn where the cover in the logs differs from the one used by more than chance.

    Parameters
    ----------
    cores
        The cores.
    surface
        The cover used at the collars [m], shape ``(n_cores,)``.
    written, findings
        Key of the cover, and where to tell.

    Notes
    -----
    The mean of the differences against its standard error; three logs are the least.
    """
    misfit = cover_thicknesses(cores) - surface
    misfit = misfit[np.isfinite(misfit)]
    if len(misfit) < 3:
        return
    bias = float(misfit.mean())
    error = float(misfit.std(ddof=1)) / np.sqrt(len(misfit))
    if abs(bias) > max(limit("base_residual_sds") * error, limit("depth_gap_m")):
        findings.warn(
            written,
            f"The cover in the logs is {abs(bias):.2f} m {'thicker' if bias > 0 else 'thinner'} "
            f"than the one used (mean of {len(misfit)} cores), more than chance would give.",
            "Cover is taken off the waste; use cover_from_cores, or correct cover_m.",
        )


def check_base_below_collars(
    cores: Cores, surface: FloatArray, written: str, findings: Findings
) -> None:
    """Warn where the base surface [m], shape ``(n_cores,)``, lies above the ground at cores."""
    collars = cores.collars
    above = surface - collars["elevation_m"].to_numpy()
    named = [
        f"{collars['core_id'].iloc[index]} ({above[index]:.2f} m)"
        for index in np.flatnonzero(above > 0)
    ]
    if named:
        findings.warn(
            written,
            f"The base surface lies above the collars of: {', '.join(named)}.",
            "Check datum and units of the base.",
        )


def check_core_surface(
    surface: CoreSurface | KrigedSurface, footprint: Footprint, key: str, findings: Findings
) -> None:
    """Say how much of the footprint lies beyond the cores that carry a surface."""
    beyond = footprint.outline.difference(surface.hull()).area
    if beyond > 0:
        area, share = float(f"{beyond:.3g}"), 100 * beyond / footprint.outline.area
        findings.warn(
            f"[surfaces] {key}",
            f"{area:,.0f} m2 of the footprint ({share:.0f} %) lie beyond the cores; "
            + (
                "the value at the nearest edge between cores was used there."
                if isinstance(surface, CoreSurface)
                else "kriging draws it towards the mean there, with a larger error."
            ),
            "Drill or probe near the edge of the footprint.",
        )


def note_cores_without_base(cores: Cores, written: str, findings: Findings) -> None:
    """Name the cores that do not reach natural ground."""
    collars: pd.DataFrame = cores.collars
    unknown = [
        str(core)
        for core, base in zip(collars["core_id"], base_elevations(cores), strict=True)
        if np.isnan(base)
    ]
    if unknown:
        findings.note(
            written,
            f"Cores that do not end in natural ground give no base: {', '.join(unknown)}.",
        )
