"""Which of many old dumps are worth a closer look, and which deserve cores first?

Comes in: site files, or a layer with a row per site over shared terrain. Goes out: `Portfolio`,
ranked, and its files.
Does not do: any model of its own; each site is the model of a single estimate on less data.
"""

from reclaim.portfolio.engine import Engine, need_dask, usual_workers
from reclaim.portfolio.files import write_portfolio
from reclaim.portfolio.run import Ordered, Portfolio, default_plan, run_portfolio
from reclaim.portfolio.screen import MEASURES, ScreenPlan, SiteResult
from reclaim.portfolio.sites import SiteJob, Terrain, jobs_from_files, jobs_from_layer
from reclaim.portfolio.store import Store
from reclaim.portfolio.whole import (
    Wanted,
    portfolio_of_files,
    portfolio_of_layer,
    portfolio_text,
    screen_portfolio,
)

__all__ = [
    "MEASURES",
    "Engine",
    "Ordered",
    "Portfolio",
    "ScreenPlan",
    "SiteJob",
    "SiteResult",
    "Store",
    "Terrain",
    "Wanted",
    "default_plan",
    "jobs_from_files",
    "jobs_from_layer",
    "need_dask",
    "portfolio_of_files",
    "portfolio_of_layer",
    "portfolio_text",
    "run_portfolio",
    "screen_portfolio",
    "usual_workers",
    "write_portfolio",
]
