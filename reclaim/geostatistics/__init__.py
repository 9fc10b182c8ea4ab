"""What lies between measured places, and how far off is it?

Comes in: values at places, a model of how alike near places are, or the values to fit one to.
Goes out: estimates elsewhere, their weights, variance and draws, and the places to measure next.
Does not do: choose what to estimate, or read anything.
"""

from reclaim.geostatistics.covariance import CovarianceModel
from reclaim.geostatistics.kriging import OrdinaryKriging, ordinary_kriging
from reclaim.geostatistics.likelihood import likeliest_covariance
from reclaim.geostatistics.local_kriging import local_kriging
from reclaim.geostatistics.next_places import NextPlaces, next_places
from reclaim.geostatistics.simulation import ConditionalSimulation
from reclaim.geostatistics.variogram import (
    Variogram,
    VariogramFit,
    experimental_variogram,
    fit_variogram,
    semivariance,
)

__all__ = [
    "ConditionalSimulation",
    "CovarianceModel",
    "NextPlaces",
    "OrdinaryKriging",
    "Variogram",
    "VariogramFit",
    "experimental_variogram",
    "fit_variogram",
    "likeliest_covariance",
    "local_kriging",
    "next_places",
    "ordinary_kriging",
    "semivariance",
]
