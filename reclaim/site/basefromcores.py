"""The base, and the cover, as the core logs have them: kriged, corrected to, or compared with."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache
from typing import TYPE_CHECKING

import numpy as np

from reclaim.reference import constant
from reclaim.site.coresurface import CoreSurface, base_elevations, cover_thicknesses
from reclaim.site.crosschecks import check_core_surface, note_cores_without_base
from reclaim.site.krigedsurface import CoreValues, CorrectedSurface, KrigedSurface
from reclaim.site.settings import limit
from reclaim.site.surfaces import sample

if TYPE_CHECKING:
    import pandas as pd

    from reclaim.geostatistics import CovarianceModel
    from reclaim.site.model import Cores, FloatArray, Footprint, Grid, Surface
    from reclaim.site.problems import Findings

_SAID = ("logged", "surface", "residual")


@dataclass(frozen=True, slots=True)
class CoreSurfaceRequest:
    """What is needed to build a surface from the cores.

    Attributes
    ----------
    cores, grid, footprint
        As read.
    sd_m, range_m
        Standard deviation and range of the base's error as stated [m], for too few cores.
    intervals_written
        Path of the intervals as written.
    site_written
        The site file and its section, for messages.
    """

    cores: Cores
    grid: Grid
    footprint: Footprint
    sd_m: float
    range_m: float
    intervals_written: str
    site_written: str


def base_through_cores(
    request: CoreSurfaceRequest, findings: Findings
) -> CoreSurface | KrigedSurface | None:
    """Return the base between the cores: kriged, or linear where they are too few to krige."""
    cores = request.cores
    values = _values(cores, base_elevations(cores))
    if len(values.value_m) == 0:
        findings.error(
            f"{request.site_written} base_from_cores",
            "No core reaches natural ground.",
            "Give the base or the cover in another way.",
        )
        return None
    count = int(np.isfinite(base_elevations(cores)).sum())
    label = f"base between {count} core logs"
    surface: CoreSurface | KrigedSurface
    if len(values.value_m) < limit("kriging_cores") or np.ptp(values.value_m) == 0:
        surface = _linear(cores, base_elevations(cores), label, request.grid)
    else:
        model = values.model(request.sd_m, request.range_m)
        surface = KrigedSurface(values, model, f"{label}, kriged", request.grid)
        findings.note(
            f"{request.site_written} base_from_cores",
            f"The base was kriged from {count} core logs ({_told(model)})"
            + (f", each square from the {_nearest()} nearest" if values.are_many else "")
            + f"; a core left out is "
            f"met within {_spread(surface.left_out_m()):.2f} m (root mean square).",
        )
    check_core_surface(surface, request.footprint, "base_from_cores", findings)
    note_cores_without_base(cores, request.intervals_written, findings)
    return surface


def cover_through_cores(request: CoreSurfaceRequest, findings: Findings) -> CoreSurface | None:
    """Return the thickness of the cover, linear between the cores."""
    thickness_m = cover_thicknesses(request.cores)
    count = int(np.isfinite(thickness_m).sum())
    if count == 0:
        findings.error(
            f"{request.site_written} cover_from_cores",
            "No core has a log.",
            "Give the base or the cover in another way.",
        )
        return None
    label = f"cover between {count} core logs"
    surface = _linear(request.cores, thickness_m, label, request.grid)
    check_core_surface(surface, request.footprint, "cover_from_cores", findings)
    return surface


def corrected_to_cores(
    base: Surface, request: CoreSurfaceRequest, findings: Findings
) -> CorrectedSurface | None:
    """Return the base moved to meet the cores, its residuals kriged between them."""
    cores = request.cores
    where = f"{request.site_written} base_correct_to_cores"
    logged_m = base_elevations(cores)
    residuals = _values(cores, logged_m - _at_collars(base, cores, request.grid))
    count = len(residuals.value_m)
    if count == 0:
        findings.error(
            where,
            "No core that reaches natural ground lies on the base surface.",
            "Take the key out, or check the coordinates of base and collars.",
        )
        return None
    model = residuals.model(request.sd_m, request.range_m)
    correction = KrigedSurface(residuals, model, "correction to the cores", request.grid)
    findings.note(
        where,
        f"{base.label} was moved towards the base in {count} core logs: by "
        f"{residuals.value_m.mean():+.2f} m on average, from {residuals.value_m.min():+.2f} to "
        f"{residuals.value_m.max():+.2f} m; residuals kriged ({_told(model)}).",
    )
    return CorrectedSurface(base, correction, f"{base.label}, corrected to {count} core logs")


def kriging_sd(base: Surface) -> KrigedSurface | None:
    """Return the standard deviation [m] of a base that was kriged; None for any other."""
    kriged = base.correction if isinstance(base, CorrectedSurface) else base
    if not isinstance(kriged, KrigedSurface):
        return None
    return replace(kriged, label="standard deviation of the base, kriged", is_sd=True)


def core_residuals(cores: Cores, base: Surface, cover: Surface, grid: Grid) -> pd.DataFrame:
    """Return what logs and surfaces say at each core; see `Site.core_residuals`."""
    import pandas as pd

    if cores.collars.empty:
        return _no_residuals()
    table = pd.DataFrame({"core_id": cores.collars["core_id"]})
    for name, logged_m, surface in (
        ("base", base_elevations(cores), base),
        ("cover", cover_thicknesses(cores), cover),
    ):
        surface_m = _at_collars(surface, cores, grid)
        kriged = surface.correction if isinstance(surface, CorrectedSurface) else surface
        if isinstance(kriged, KrigedSurface):
            surface_m = logged_m - _left_out(kriged, cores)
        table[f"{name}_logged_m"] = logged_m
        table[f"{name}_surface_m"] = surface_m
        table[f"{name}_residual_m"] = logged_m - surface_m
    return table


@cache
def _no_residuals() -> pd.DataFrame:
    import pandas as pd

    numbers = [f"{of}_{what}_m" for of in ("base", "cover") for what in _SAID]
    nothing = pd.Series([], dtype="float64")
    return pd.DataFrame({"core_id": pd.Series([], dtype=str), **dict.fromkeys(numbers, nothing)})


def _nearest() -> int:
    return int(constant("local_search_nearest"))


def _values(cores: Cores, value_m: FloatArray) -> CoreValues:
    collars = cores.collars
    return CoreValues.of(collars["x_m"].to_numpy(), collars["y_m"].to_numpy(), value_m)


def _linear(cores: Cores, value_m: FloatArray, label: str, grid: Grid) -> CoreSurface:
    collars = cores.collars
    x_m, y_m = collars["x_m"].to_numpy(), collars["y_m"].to_numpy()
    return CoreSurface.through(x_m, y_m, value_m, label, grid)


def _at_collars(surface: Surface, cores: Cores, grid: Grid) -> FloatArray:
    collars = cores.collars
    return sample(surface, grid, collars["x_m"].to_numpy(), collars["y_m"].to_numpy())


def _left_out(kriged: KrigedSurface, cores: Cores) -> FloatArray:
    """Return the residual at every collar when its own place is left out [m], NaN elsewhere."""
    errors = kriged.left_out_m()
    by_place = {(x, y): error for (x, y), error in zip(kriged.cores.places_m, errors, strict=True)}
    places = zip(cores.collars["x_m"], cores.collars["y_m"], strict=True)
    return np.array([by_place.get((x, y), np.nan) for x, y in places])


def _spread(values: FloatArray) -> float:
    return float(np.sqrt(np.mean(values**2)))


def _told(model: CovarianceModel) -> str:
    if model.partial_sill == 0:
        return f"no likeness of near cores found; standard deviation {np.sqrt(model.sill):.2f} m"
    return (
        f"spherical covariance, standard deviation {np.sqrt(model.sill):.2f} m, range "
        f"{model.range_m:.0f} m, nugget {100 * model.nugget / model.sill:.0f} %"
    )
