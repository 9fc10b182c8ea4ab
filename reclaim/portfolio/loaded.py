"""Everything that screening one site needs, loaded; imported before workers are copied."""

import pandas  # noqa: F401, ICN001
import pyproj  # noqa: F401
import rasterio.vrt  # noqa: F401
import scipy.special  # noqa: F401
import shapely  # noqa: F401

import reclaim.appraisal
import reclaim.estimate
import reclaim.ground
import reclaim.plant
import reclaim.portfolio.screen
import reclaim.uncertainty
import reclaim.waste  # noqa: F401
