"""Present value, rate of return and payback of many cash flows at once."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from reclaim.reference import read_rows

FloatArray = NDArray[np.floating[Any]]

# Range of rates searched for a return, as log(1 + rate): -90 per cent to 1 000 per cent a year.
_LOG_RATES = np.linspace(np.log(0.1), np.log(11.0), 481)
_HALVINGS = 80
_FLOWS_AT_ONCE = 4096


def net_present_value(flow: FloatArray, rate: FloatArray) -> FloatArray:
    """Return the present value at year 0 [currency], shape ``(n_draws,)``.

    Parameters
    ----------
    flow
        Money at the end of each year, year 0 first, shape ``(n_draws, n_years)``.
    rate
        Discount rate per year [-], shape ``(n_draws,)``.

    Notes
    -----
    Sum of flow / (1 + rate)^year: any textbook, e.g. Brealey and Myers, Principles of Corporate
    Finance, ch. 2.
    """
    return np.asarray((flow * discount_factors(rate, flow.shape[1])).sum(axis=1))


def discount_factors(rate: FloatArray, n_years: int) -> FloatArray:
    """Return ``1 / (1 + rate)^year``, shape ``(n_draws, n_years)``, year 0 first."""
    return np.asarray((1 + np.asarray(rate, dtype=float))[:, None] ** -np.arange(n_years))


def discount_conventions() -> dict[str, str]:
    """Return the published conventions, name to label, as ``discount_conventions.csv`` has them."""
    return {row["convention"]: row["label"] for row in read_rows("discount_conventions.csv")}


def convention_rates(convention: str, n_years: int) -> FloatArray:
    """Return the rate of a convention in each year [-], year 0 first, shape ``(n_years,)``.

    Raises
    ------
    ValueError
        For a convention that the table does not have.
    """
    rows = [row for row in read_rows("discount_conventions.csv") if row["convention"] == convention]
    if not rows:
        known = ", ".join(discount_conventions())
        raise ValueError(f"No discount convention {convention!r}; there are: {known}.")
    rates = np.zeros(n_years)
    for row in rows:
        rates[int(row["from_year"]) :] = float(row["rate"])
    return rates


def convention_factors(convention: str, n_years: int) -> FloatArray:
    """Return the discount factors of a convention, year 0 first, shape ``(n_years,)``.

    Notes
    -----
    HM Treasury, The Green Book: each year is discounted at its own rate on top of the years
    before, so the factor never jumps where the rate steps down.
    """
    growth = 1 + convention_rates(convention, n_years)
    growth[0] = 1.0
    return np.asarray(1 / np.cumprod(growth))


def nominal_flow(flow: FloatArray, inflation: FloatArray) -> FloatArray:
    """Return a constant-price flow in money of the day, shape ``(n_draws, n_years)``.

    Discounted at ``(1 + real) x (1 + inflation) - 1`` it is worth the same (Fisher).
    """
    return np.asarray(flow / discount_factors(inflation, flow.shape[1]))


def all_rates_of_return(flow: FloatArray) -> FloatArray:
    """Return every rate at which one flow is worth nothing, lowest first.

    Parameters
    ----------
    flow
        Year 0 first, shape ``(n_years,)``.

    Notes
    -----
    The search of `internal_rate_of_return`, bracket by bracket.
    """
    values = _value_at(np.tile(flow, (_LOG_RATES.size, 1)), _LOG_RATES)
    signs = np.where(values >= 0, 1, -1)
    at = np.flatnonzero(signs[1:] != signs[:-1]) if np.any(flow != 0) else np.array([], dtype=int)
    low, high = _LOG_RATES[at], _LOG_RATES[at + 1]
    flows = np.tile(flow, (at.size, 1))
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        same = np.where(_value_at(flows, middle) >= 0, 1, -1) == signs[at]
        low, high = np.where(same, middle, low), np.where(same, high, middle)
    return np.asarray(np.expm1((low + high) / 2))


def annuity_factor(rate: float, years: int) -> float:
    """Return the present value of one unit at the end of each of some years [-].

    Exact to rounding for every rate above -1, however near to zero.
    """
    return float(years) if rate == 0 else float(-np.expm1(-years * np.log1p(rate)) / rate)


def equivalent_annual_cost(
    present_value: FloatArray, rate: FloatArray, years: FloatArray
) -> FloatArray:
    """Return the even yearly payment that is worth as much as a present value [currency/y].

    Parameters
    ----------
    present_value, rate, years
        All ``(n_draws,)``; `years` need not be whole.

    Notes
    -----
    Capital recovery factor, rate / (1 - (1 + rate)^-years); any table of finance.
    """
    factor = np.divide(
        -np.expm1(-years * np.log1p(rate)), rate, out=years + 0.0, where=np.asarray(rate) != 0
    )
    return np.asarray(present_value / factor)


def internal_rate_of_return(flow: FloatArray) -> tuple[FloatArray, NDArray[np.int_]]:
    """Return the rate at which each flow is worth nothing, and how many such rates there are.

    Parameters
    ----------
    flow
        Year 0 first, shape ``(n_draws, n_years)``.

    Returns
    -------
    rate
        NaN where there is none or more than one, shape ``(n_draws,)``.
    roots
        Number of sign changes of the present value between -90 % and 1 000 % a year; two roots
        closer together than about 1 % of (1 + rate) count as none.

    Notes
    -----
    Flows that change sign more than once can have several rates; none of them means anything
    (Brealey and Myers, ch. 5), so none is given. Bisection inside the bracket found.
    """
    rate = np.full(flow.shape[0], np.nan)
    roots = np.zeros(flow.shape[0], dtype=int)
    for start in range(0, flow.shape[0], _FLOWS_AT_ONCE):
        rows = slice(start, start + _FLOWS_AT_ONCE)
        rate[rows], roots[rows] = _rates_of_return(np.asarray(flow[rows], dtype=float))
    return rate, roots


def _rates_of_return(flow: FloatArray) -> tuple[FloatArray, NDArray[np.int_]]:
    growth = np.exp(-_LOG_RATES)
    values = flow @ growth[None, :] ** np.arange(flow.shape[1])[:, None]
    above = values >= 0
    changes = above[:, 1:] != above[:, :-1]
    roots = np.where(np.any(flow != 0, axis=1), changes.sum(axis=1), 0)
    single = np.flatnonzero(roots == 1)
    place = changes[single].argmax(axis=1)
    low, high = _LOG_RATES[place], _LOG_RATES[place + 1]
    above_low = above[single, place]
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        same = (_value_at(flow[single], middle) >= 0) == above_low
        low, high = np.where(same, middle, low), np.where(same, high, middle)
    rate = np.full(flow.shape[0], np.nan)
    rate[single] = np.expm1((low + high) / 2)
    return rate, roots


def _value_at(flow: FloatArray, log_rate: FloatArray) -> FloatArray:
    """Present value at one rate per draw, by Horner's rule."""
    growth = np.exp(-log_rate)
    value = np.zeros(flow.shape[0])
    for year in range(flow.shape[1] - 1, -1, -1):
        value = value * growth + flow[:, year]
    return value


def payback_years(flow: FloatArray) -> FloatArray:
    """Return the time until the undiscounted sum is no longer negative [years].

    Within a year the flow is taken as even. NaN where the sum never recovers.
    """
    total = np.cumsum(flow, axis=1)
    recovered = total >= 0
    year = recovered.argmax(axis=1)
    rows = np.arange(flow.shape[0])
    before = total[rows, np.maximum(year - 1, 0)]
    gained = flow[rows, year]
    part = np.divide(-before, gained, out=np.zeros_like(gained), where=gained != 0)
    years = np.where(year == 0, 0.0, year - 1 + part)
    return np.where(recovered.any(axis=1), years, np.nan)
