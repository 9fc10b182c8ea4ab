"""Put the appraisal together: space, cash flow, its worth, and what would have to be true."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from reclaim.appraisal.airspace import airspace_won, returned
from reclaim.appraisal.appraisal import Appraisal
from reclaim.appraisal.cash_flow import cash_items, timetable
from reclaim.appraisal.discounting import (
    discount_factors,
    internal_rate_of_return,
    net_present_value,
    payback_years,
)
from reclaim.appraisal.prices import Prices
from reclaim.assumptions import Assumption, Draws

if TYPE_CHECKING:
    from collections.abc import Mapping

    from reclaim.ground import DugVolumes
    from reclaim.plant import Products
    from reclaim.waste import Feed

FloatArray = NDArray[np.floating[Any]]

# Inputs whose break-even value is worth showing: those that published studies find to decide.
BREAKEVEN_KEYS = (
    "money.price_fuel_per_t",
    "airspace.value_per_m3",
    "money.avoided_closure_per_m2",
    "money.land_value_per_m2",
    "money.sorting_cost_per_t",
    "money.capital_per_annual_t",
)


def appraise(
    volumes: DugVolumes,
    feed: Feed,
    products: Products,
    area_m2: float,
    assumptions: Mapping[str, Assumption],
    draws: Draws,
) -> Appraisal:
    """Appraise mining the whole site.

    Parameters
    ----------
    volumes, feed, products
        What the rooms before made of the site, with the same number of draws.
    area_m2
        Plan area of the dig [m2].
    assumptions
        The site's.
    draws
        Source of the draws of money assumptions.

    Raises
    ------
    ValueError
        Where digging would take more than 250 years.
    """
    price = Prices(assumptions, draws)
    back = returned(feed, products, assumptions, draws)
    airspace = airspace_won(volumes, back, area_m2, assumptions, draws)
    time = timetable(feed, airspace, price)
    items = cash_items(volumes, feed, products, back, airspace, area_m2, time, price)
    net = np.sum([item.flow for item in items], axis=0)
    rate = price["money.discount_rate"]
    paid = np.sum([np.minimum(item.flow, 0) for item in items], axis=0)
    irr, roots = internal_rate_of_return(net)
    built = sum(-item.flow[:, 0] for item in items if item.group == "capital")
    appraisal = Appraisal(
        airspace=airspace,
        items=items,
        discount_rate=rate,
        duration_years=time.duration_years,
        capital=np.asarray(built),
        cost=-paid.sum(axis=1),
        revenue=net.sum(axis=1) - paid.sum(axis=1),
        npv=net_present_value(net, rate),
        irr=irr,
        irr_roots=roots,
        payback_years=payback_years(net),
        unit_cost_per_t=-(paid * discount_factors(rate, time.n_years)).sum(axis=1)
        / feed.total_wet_t,
        breakeven={},
    )
    if not draws.is_best_estimate:
        return appraisal
    found = {
        key: _breakeven(key, volumes, feed, products, area_m2, assumptions)
        for key in BREAKEVEN_KEYS
    }
    return replace(appraisal, breakeven=found)


def _breakeven(
    key: str,
    volumes: DugVolumes,
    feed: Feed,
    products: Products,
    area_m2: float,
    assumptions: Mapping[str, Assumption],
) -> float:
    """Value of one assumption at which the best estimate is worth nothing; NaN where none is.

    In the site's currency. Found between the bounds of the assumption by Brent's method.
    """
    from scipy.optimize import brentq

    best = Draws.best_estimate()
    stated = assumptions[key]

    def npv(value: float) -> float:
        fixed = replace(stated, kind="fixed", numbers=(value,), given=True)
        price = Prices({**assumptions, key: fixed}, best)
        back = returned(feed, products, price.assumptions, best)
        airspace = airspace_won(volumes, back, area_m2, price.assumptions, best)
        time = timetable(feed, airspace, price)
        items = cash_items(volumes, feed, products, back, airspace, area_m2, time, price)
        net = np.sum([item.flow for item in items], axis=0)
        return float(net_present_value(net, price["money.discount_rate"])[0])

    low, high = stated.minimum, stated.maximum
    if npv(low) * npv(high) > 0:
        return float("nan")
    return float(brentq(npv, low, high, xtol=1e-9, rtol=1e-12))
