"""Terrain that many sites share: its header is read once, and it stays open from site to site.

Opening a mosaic of many tiles takes longer than screening a site, so each thread keeps its own.
"""

from __future__ import annotations

import os
import re
from contextlib import ExitStack
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path
from threading import local
from typing import TYPE_CHECKING, Any

import numpy as np

from reclaim.portfolio.regional import portfolio_default
from reclaim.portfolio.sites import shown_raster
from reclaim.site import Check, Findings, rasterfile
from reclaim.site.rasteraccess import open_plain, reading_settings
from reclaim.site.reach import Reach, is_remote

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from reclaim.site import Grid, Window
    from reclaim.site.surfaces import RasterSurface

    FloatArray = NDArray[np.floating[Any]]


@dataclass(frozen=True, slots=True)
class Mosaic:
    """A raster that all sites share.

    Attributes
    ----------
    grid, surface
        Of the survey, also for a base.
    checks
        What is suspect about it as a whole.
    """

    grid: Grid
    surface: RasterSurface
    checks: tuple[Check, ...]


class UnreadableError(Exception):
    """Part of a raster cannot be read; the message says why, without folders or addresses."""


@dataclass(slots=True)
class _Open:
    """What one thread keeps open."""

    run_id: str = ""
    stack: ExitStack = field(default_factory=ExitStack)
    readers: dict[RasterSurface, Callable[[Window], FloatArray]] = field(default_factory=dict)

    def close(self) -> None:
        self.readers.clear()
        self.stack.close()


_threads = local()


def _mine() -> _Open:
    if not hasattr(_threads, "open"):
        _threads.open = _Open()
    found: _Open = _threads.open
    return found


def forget_after_run(run_id: str, *caches: Callable[..., Any]) -> None:
    """Close and forget, in this thread, rasters of an earlier run, which may have changed since.

    `caches` are other functions whose remembered results are dropped too.
    """
    mine = _mine()
    if mine.run_id == run_id:
        return
    mine.close()
    mine.run_id = run_id
    for function in (shared_survey, shared_base, *caches):
        function.cache_clear()  # type: ignore[attr-defined]


@lru_cache(maxsize=8)
def shared_survey(written: str, crs_text: str | None, unit_m: float) -> Mosaic:
    """Read the header of a shared survey.

    Parameters
    ----------
    written
        A path, or an address that the raster library knows.
    crs_text
        The coordinate system the user gave, or None.
    unit_m
        Length of its vertical unit [m].

    Raises
    ------
    SiteError
        Where it cannot be opened, is rotated, or is in degrees.
    """
    findings = Findings()
    with _settings(written):
        found = rasterfile.open_survey(
            _openable(written),
            shown_raster(written),
            crs_text,
            unit_m,
            findings,
            Reach.of_command(),
        )
    findings.stop_on_errors()
    assert found is not None
    return Mosaic(*found, findings.checks)


@lru_cache(maxsize=8)
def shared_base(written: str, grid: Grid, unit_m: float) -> Mosaic:
    """Read the header of a shared base, and place it on the survey's grid.

    Raises
    ------
    SiteError
        Where it cannot be opened, is rotated, or lies wholly outside the survey.
    """
    findings = Findings()
    with _settings(written):
        found = rasterfile.open_base(
            _openable(written), shown_raster(written), grid, unit_m, findings, Reach.of_command()
        )
    findings.stop_on_errors()
    assert found is not None
    return Mosaic(grid, found, findings.checks)


def read_window(surface: RasterSurface, window: Window) -> FloatArray:
    """Read a window of a shared raster [m]; the raster stays open in this thread.

    Raises
    ------
    UnreadableError
        Where a tile is missing or broken, or the connection fails.
    """
    mine = _mine()
    try:
        with _settings(str(surface.path)):
            if surface not in mine.readers:
                dataset = open_plain(surface.path)
                mine.stack.callback(dataset.close)
                mine.readers[surface] = mine.stack.enter_context(surface.over(dataset))
            return np.ascontiguousarray(mine.readers[surface](window))
    except OSError as error:  # the raster library's errors are of this kind
        mine.close()
        raise UnreadableError(_reason(error)) from error


def _reason(error: OSError) -> str:
    """Return the last words of what the raster library says, without folders or addresses."""
    text = str(error.__cause__ or error).splitlines()[-1]
    return re.sub(r"\S*[/\\]", "", text).strip().rstrip(".")


def _openable(written: str) -> Any:
    """Return a raster's address as the raster library takes it: a path, or an address as it is."""
    return written if is_remote(written) else Path(written)


def _settings(written: str) -> Any:
    """Return the raster library's settings: what is read over a network has nothing beside it.

    What the user sets in the environment counts before.
    """
    import rasterio

    wanted: dict[str, Any] = {"GDAL_CACHEMAX": int(portfolio_default("raster_cache_bytes"))}
    if is_remote(written):
        wanted |= {
            "GDAL_DISABLE_READDIR_ON_OPEN": "EMPTY_DIR",
            "GDAL_HTTP_MAX_RETRY": int(portfolio_default("remote_retries")),
            "GDAL_HTTP_RETRY_DELAY": portfolio_default("remote_retry_delay_s"),
        }
    own = {key: value for key, value in wanted.items() if key not in os.environ}
    return rasterio.Env(**{**own, **reading_settings(remote=Reach.of_command().remote)})
