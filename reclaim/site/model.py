"""What the site room hands on: everything the user gave, read, checked and in SI units.

Horizontal coordinates are metres in the survey's projected CRS (a CRS in feet is scaled at the
edge by `Grid.crs_unit_m`); elevations and depths are metres; masses kilograms; fractions 0-1.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Literal, Protocol

import numpy as np
from numpy.typing import NDArray

from reclaim.site.drawplan import DrawPlan, Scenarios
from reclaim.site.hazardinputs import HazardInputs

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping
    from contextlib import AbstractContextManager
    from pathlib import Path

    import pandas as pd
    from shapely import MultiPolygon

    from reclaim.assumptions import Assumption
    from reclaim.site.plantfile import LineFile
    from reclaim.site.problems import Check
    from reclaim.site.settings import Setting

FloatArray = NDArray[np.floating[Any]]


@dataclass(frozen=True, slots=True)
class Window:
    """A rectangle of grid cells; it may reach outside the grid (read as unknown there).

    Attributes
    ----------
    row, column
        First row and column [cells].
    rows, columns
        Size [cells].
    """

    row: int
    column: int
    rows: int
    columns: int


@dataclass(frozen=True, slots=True)
class Grid:
    """The common grid on which surfaces are compared: the survey's own, north-up.

    Attributes
    ----------
    west_m, north_m
        Outer corner of the first cell [m], CRS coordinates times `crs_unit_m`.
    cell_x_m, cell_y_m
        Cell width and height [m], both positive.
    rows, columns
        Size of the whole grid [cells].
    crs_wkt
        The survey's CRS as WKT; empty only in tests that need none.
    crs_unit_m
        Length of one CRS unit [m]: 1 for metres, 0.3048 for feet.
    """

    west_m: float
    north_m: float
    cell_x_m: float
    cell_y_m: float
    rows: int
    columns: int
    crs_wkt: str = ""
    crs_unit_m: float = 1.0

    @property
    def cell_area_m2(self) -> float:
        """Area of one cell [m2]."""
        return self.cell_x_m * self.cell_y_m

    def window_around(self, west: float, south: float, east: float, north: float) -> Window:
        """Return the smallest window of whole cells, inside the grid, that covers a box [m]."""
        first_row = max(0, int(np.floor((self.north_m - north) / self.cell_y_m)))
        last_row = min(self.rows, int(np.ceil((self.north_m - south) / self.cell_y_m)))
        first_column = max(0, int(np.floor((west - self.west_m) / self.cell_x_m)))
        last_column = min(self.columns, int(np.ceil((east - self.west_m) / self.cell_x_m)))
        return Window(
            first_row,
            first_column,
            max(0, last_row - first_row),
            max(0, last_column - first_column),
        )


class Surface(Protocol):
    """Elevations [m] (or a thickness [m]) over the common grid, read by window."""

    @property
    def label(self) -> str:
        """Where the surface comes from, in words for a reader of the report."""

    def reader(self) -> AbstractContextManager[Callable[[Window], FloatArray]]:
        """Open the surface; the function given reads cell-centre values, NaN where unknown.

        The array has shape ``(window.rows, window.columns)``; cells outside the grid are NaN.
        """


@dataclass(frozen=True, slots=True)
class Zone:
    """A named part of the footprint.

    Attributes
    ----------
    name
        As in the zone field; ``site`` where there is none.
    polygon
        What may be dug there, after setback and exclusions.
    """

    name: str
    polygon: MultiPolygon


@dataclass(frozen=True, slots=True)
class Footprint:
    """The ground plan of the dig, metres in the grid's CRS.

    Attributes
    ----------
    zones
        Parts that may be dug; they do not overlap.
    outline
        Their union.
    as_given
        The footprint as handed over, before setback and exclusions.
    exclusions
        What must not be dug; empty when there is nothing.
    setback_m
        Inward buffer applied to `as_given` [m].
    """

    zones: tuple[Zone, ...]
    outline: MultiPolygon
    as_given: MultiPolygon
    exclusions: MultiPolygon
    setback_m: float


def _no_rows() -> pd.DataFrame:
    """Return the table that was not given."""
    import pandas as pd

    return pd.DataFrame()


@dataclass(frozen=True, slots=True)
class Cores:
    """The core tables, each a frame sorted by core and depth, with the columns named here.

    Attributes
    ----------
    collars
        ``core_id`` (str), ``x_m``, ``y_m``, ``elevation_m``, ``depth_m`` (float),
        ``drilled_on``, ``method`` (str, may be empty), ``diameter_mm`` (NaN where not recorded),
        ``water_m`` (depth to the latest water level, NaN where there is none), ``zone`` (str,
        empty outside the footprint; the nearest zone for a core on the setback strip or in an
        exclusion).
    intervals
        ``core_id``, ``from_m``, ``to_m``, ``layer`` (cover, waste or natural), ``note`` (str),
        ``row`` (of the file, the header being row 1).
    samples
        ``core_id``, ``from_m``, ``to_m``, ``wet_mass_kg``, ``moisture`` (0-1 wet basis, NaN where
        not measured), ``bulk_density_t_m3`` (in place, wet, NaN where not measured), then one
        column of sorted wet mass [kg] per material in reference order (every material present),
        then ``dry_mass_kg`` and ``recovery`` (share of the drilled length), NaN where not given.
    lab
        ``core_id``, ``from_m``, ``to_m`` and any of ``ncv_mj_kg`` (as received), ``ash``
        (fraction of dry mass), ``chlorine`` (fraction of dry mass), ``mercury_mg_kg`` (dry);
        no rows where there is no table.
    gas
        ``core_id``, ``depth_m``, ``ch4_pct``, ``co2_pct``, ``o2_pct``, ``h2s_ppm``, ``co_ppm``,
        ``vinyl_chloride_ppm``, ``benzene_ppm``, ``temperature_c``, ``date`` (str, may be empty),
        ``flow_l_h``, ``row`` (of the file); NaN where not read; no rows where there is no table.
    water
        Every water level: ``core_id``, ``water_m`` (depth below the ground), ``date`` (str, may
        be empty); no rows where there is no table.
    sizes
        Sieve results: ``core_id``, ``from_m``, ``to_m``, ``size_mm``, ``passing`` (share of the
        mass finer, 0-1); no rows where there is no table.
    material_moisture
        Moisture measured material by material: ``core_id``, ``from_m``, ``to_m``, ``material``,
        ``wet_mass_kg``, ``moisture`` (0-1 wet basis); no rows where samples were dried whole.
    """

    collars: pd.DataFrame
    intervals: pd.DataFrame
    samples: pd.DataFrame
    lab: pd.DataFrame
    gas: pd.DataFrame
    water: pd.DataFrame = field(default_factory=_no_rows)
    sizes: pd.DataFrame = field(default_factory=_no_rows)
    material_moisture: pd.DataFrame = field(default_factory=_no_rows)


@dataclass(frozen=True, slots=True)
class InputFile:
    """One file that was read.

    Attributes
    ----------
    path
        As written in the site file.
    sha256
        Of its bytes.
    """

    path: str
    sha256: str


@dataclass(frozen=True, slots=True)
class Site:
    """One site, read and checked.

    Attributes
    ----------
    path
        The site file; never printed, since it may be absolute.
    name, currency, price_year, opened, closed
        From ``[site]``; `opened` and `closed` are calendar years of tipping or None.
    footprint
        What may be dug.
    grid
        The survey's own, on which everything is compared.
    survey, base
        Elevations [m] of today's ground and of the base of the waste.
    cover
        Thickness [m] of the cover soil.
    cover_sampled, base_sampled
        True where that surface was built from the core logs.
    base_kriging_sd
        Standard deviation [m] of the base where it was kriged from the cores or corrected to
        them; None for any other base, whose error is `base_sd_m`.
    core_residuals
        One row per core, what the logs say beside what the surfaces say: ``core_id``,
        ``base_logged_m``, ``base_surface_m``, ``base_residual_m``, ``cover_logged_m``,
        ``cover_surface_m``, ``cover_residual_m`` [m]; residual is logged less surface. Where a
        surface was kriged from the cores, its value at a core is the one that the other cores
        alone give. NaN where not logged or unknown.
    lift_m, side_slope, overdig_m, survey_sd_m, base_sd_m, error_range_m
        Numbers of ``[surfaces]`` and ``[excavation]``, given or default.
    cores
        The core tables; frames without rows where there are none.
    line
        The plant, as its file states it.
    assumptions
        Every uncertain number by its key (``waste.moisture``), given or default.
    composition
        Material shares given in ``[waste.composition]``; empty when cores give them.
    draws, seed
        Of the Monte Carlo run.
    inputs
        Every file read.
    checks
        Notes and warnings about the inputs.
    settings
        Every plain number of the site file by its key (``excavation.lift_m``), given or default,
        with its source; the fields above repeat those that other rooms need.
    climate
        One of the climates of ``decay_rates.csv``, e.g. ``temperate_wet``.
    fines_sieve_mm
        Mesh that separates the material ``fines`` [mm].
    lifts_by
        ``elevation`` for level lifts, ``depth`` for lifts that follow today's ground.
    restoration
        Elevations [m] of the ground after restoration, from a file; None where none is given.
    hazards
        The user's profile of rules, own limits, own hazard words, and receptors.
    files
        Path of every file by kind (``gas``), as messages show it.
    courses
        Courses of action to compare.
    closed_months
        Months of the year (1 to 12) in which nothing is dug.
    discount_convention
        ``constant`` for ``money.discount_rate``, or a row of ``discount_conventions.csv``.
    draw_plan
        How the range is drawn.
    scenarios
        Assumptions that each named scenario changes.
    """

    path: Path
    name: str
    currency: str
    price_year: int
    opened: int | None
    closed: int | None
    footprint: Footprint
    grid: Grid
    survey: Surface
    base: Surface
    cover: Surface
    cover_sampled: bool
    base_sampled: bool
    lift_m: float
    side_slope: float
    overdig_m: float
    survey_sd_m: float
    base_sd_m: float
    error_range_m: float
    cores: Cores
    line: LineFile
    assumptions: Mapping[str, Assumption]
    composition: Mapping[str, Assumption]
    draws: int
    seed: int
    inputs: tuple[InputFile, ...]
    checks: tuple[Check, ...]
    settings: Mapping[str, Setting]
    climate: str
    fines_sieve_mm: float
    base_kriging_sd: Surface | None = None
    core_residuals: pd.DataFrame | None = None
    lifts_by: Literal["elevation", "depth"] = "elevation"
    restoration: Surface | None = None
    hazards: HazardInputs = field(default_factory=HazardInputs)
    files: Mapping[str, str] = field(default_factory=dict)
    draw_plan: DrawPlan = field(default_factory=DrawPlan)
    scenarios: Scenarios = field(default_factory=dict)
    courses: tuple[str, ...] = ("leave", "cap", "haul", "mine", "mine_part")
    closed_months: tuple[int, ...] = ()
    discount_convention: str = "constant"
