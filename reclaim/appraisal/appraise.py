"""Put the appraisal together: space, cash flow, its worth, and what would have to be true."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from reclaim.appraisal.airspace import airspace_won, returned
from reclaim.appraisal.appraisal import Appraisal
from reclaim.appraisal.cash_flow import horizon, mining_items
from reclaim.appraisal.discounting import (
    convention_factors,
    convention_rates,
    discount_factors,
    nominal_flow,
    payback_years,
)
from reclaim.appraisal.prices import Prices
from reclaim.appraisal.quantities import Quantities, quantities_of
from reclaim.appraisal.schedule import dig_schedule
from reclaim.assumptions import Assumption, Draws

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Mapping

    from reclaim.ground import DugVolumes
    from reclaim.plant import Products
    from reclaim.waste import Feed

FloatArray = NDArray[np.floating[Any]]

# Inputs whose break-even value is worth showing: those that published studies find to decide.
BREAKEVEN_KEYS = (
    "money.price_fuel_per_t",
    "money.price_soil_per_t",
    "airspace.value_per_m3",
    "money.avoided_closure_per_m2",
    "money.land_value_per_m2",
    "money.sorting_cost_per_t",
    "money.capital_per_annual_t",
    "money.grant",
)
CONSTANT_RATE = "constant"
_SMALLEST_STEPS = 60


def appraise(
    volumes: DugVolumes,
    feed: Feed,
    products: Products,
    area_m2: float,
    assumptions: Mapping[str, Assumption],
    draws: Draws,
    *,
    closed_months: Collection[int] = (),
    discount_convention: str = CONSTANT_RATE,
    find_breakevens: bool = True,
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
    closed_months
        Months of the year (1 to 12) in which nothing is dug.
    discount_convention
        ``constant`` for ``money.discount_rate``, or a name of ``discount_conventions.csv``.
    find_breakevens
        False leaves the break-even values of the best estimate out.

    Raises
    ------
    ValueError
        Where digging would take more than 250 years.
    """
    quantities = quantities_of(volumes, feed, products, area_m2)
    price = Prices(assumptions, draws)
    appraisal = appraise_quantities(quantities, price, closed_months, discount_convention)
    if not draws.is_best_estimate or not find_breakevens:
        return appraisal
    found = breakevens(BREAKEVEN_KEYS, quantities, assumptions, closed_months, discount_convention)
    return replace(appraisal, breakeven=found)


def appraise_quantities(
    quantities: Quantities,
    price: Prices,
    closed_months: Collection[int] = (),
    discount_convention: str = CONSTANT_RATE,
) -> Appraisal:
    """Appraise mining a bill of quantities, without break-even values; see `appraise`."""
    time = dig_schedule(quantities, price, closed_months)
    back = returned(quantities, price)
    airspace = airspace_won(quantities, back, price)
    time = time.reaching(horizon(time, airspace, price))
    items = mining_items(quantities, back, airspace, time, price)
    net = np.sum([item.flow for item in items], axis=0)
    paid = np.sum([np.minimum(item.flow, 0) for item in items], axis=0)
    rate, factors = discounting(price, discount_convention, time.n_years)
    built = np.sum([-item.flow[:, 0] for item in items if item.group == "capital"], axis=0)
    return Appraisal(
        airspace=airspace,
        items=items,
        time=time,
        discount_rate=rate,
        discount_factors=factors,
        duration_years=time.duration_years,
        capital=np.asarray(built),
        cost=-paid.sum(axis=1),
        revenue=net.sum(axis=1) - paid.sum(axis=1),
        npv=(net * factors).sum(axis=1),
        payback_years=payback_years(net),
        unit_cost_per_t=-(paid * factors).sum(axis=1) / quantities.waste_t,
        breakeven={},
        nominal_flow=nominal_flow(net, price["money.inflation"]),
    )


def discounting(price: Prices, convention: str, n_years: int) -> tuple[FloatArray, FloatArray]:
    """Return the rate of year 1 ``(n_draws,)`` and the factors of all years ``(n_draws, n)``."""
    rate = price["money.discount_rate"]
    if convention == CONSTANT_RATE:
        return rate, discount_factors(rate, n_years)
    factors = convention_factors(convention, n_years)
    first = convention_rates(convention, 2)[1]
    return np.full_like(rate, first), np.tile(factors, (rate.size, 1))


def breakevens(
    keys: Iterable[str],
    quantities: Quantities,
    assumptions: Mapping[str, Assumption],
    closed_months: Collection[int] = (),
    discount_convention: str = CONSTANT_RATE,
) -> dict[str, float]:
    """Return, by input, the value at which the best estimate's NPV is zero; NaN where none is.

    Any input of the appraisal can be asked for: keys of ``money``, ``airspace`` and ``schedule``
    and the capacity of the plant. In the site's currency.

    Parameters
    ----------
    keys
        Of the inputs.
    quantities
        Of the best estimate, one draw.
    assumptions, closed_months, discount_convention
        As in `appraise`.

    Notes
    -----
    Brent's method between the bounds of the input, to a relative 1e-12 (Brent 1973, Algorithms
    for Minimization without Derivatives, ch. 4).
    """
    best = Draws.best_estimate()

    def npv_with(key: str, value: float) -> float:
        fixed = replace(assumptions[key], kind="fixed", numbers=(value,), given=True)
        price = Prices({**assumptions, key: fixed}, best)
        return _npv(quantities, price, closed_months, discount_convention)

    return {
        key: _zero_of(lambda value, key=key: npv_with(key, value), assumptions[key]) for key in keys
    }


def net_flow_of(
    quantities: Quantities, price: Prices, closed_months: Collection[int] = ()
) -> FloatArray:
    """Return money by year ``(n_draws, n_years)``, as `appraise_quantities` has it, and no more."""
    time = dig_schedule(quantities, price, closed_months)
    back = returned(quantities, price)
    airspace = airspace_won(quantities, back, price)
    time = time.reaching(horizon(time, airspace, price))
    items = mining_items(quantities, back, airspace, time, price)
    return np.asarray(np.sum([item.flow for item in items], axis=0))


def _npv(
    quantities: Quantities, price: Prices, closed_months: Collection[int], convention: str
) -> float:
    """Net present value of one draw."""
    net = net_flow_of(quantities, price, closed_months)
    return float((net * discounting(price, convention, net.shape[1])[1]).sum())


def _zero_of(npv: Any, stated: Assumption) -> float:
    """Return where the value crosses zero between the bounds of an input, NaN where it does not."""
    from scipy.optimize import brentq

    low, high = stated.minimum, stated.maximum
    for _ in range(_SMALLEST_STEPS):  # a plant or a dig rate can be too small to ever finish
        try:
            at_low = npv(low)
            break
        except ValueError:
            low *= 1.5
    else:
        return float("nan")
    if at_low * npv(high) > 0:
        return float("nan")
    return float(brentq(npv, low, high, xtol=1e-9, rtol=1e-12))
