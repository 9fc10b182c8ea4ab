"""Data for the what-if panel: present values of every draw, and what one unit of a price adds.

Net present value is linear in prices and unit costs. The model itself is run once more for each
price, with that price the same in every draw; the difference is the slope, exactly. The page then
only adds and multiplies.
"""

from __future__ import annotations

import tomllib
from base64 import b64encode
from dataclasses import dataclass
from importlib.resources import files
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from reclaim.appraisal import Prices, quantities_of
from reclaim.appraisal.appraise import discounting, net_flow_of
from reclaim.appraisal.discounting import discount_factors
from reclaim.assumptions import Draws
from reclaim.report.wording import number, percent, unit_words

if TYPE_CHECKING:
    from reclaim.assumptions import Assumption
    from reclaim.dig import Outcome
    from reclaim.estimate import Estimate

FloatArray = NDArray[np.floating[Any]]

DRAWS_UP_TO = 4000
"""With more draws than this the page would grow too large, and has no panel."""


@dataclass(frozen=True, slots=True)
class Driver:
    """One price on the panel: words, the range of its slider, and its bounds.

    Attributes
    ----------
    key, label, unit, stated
        Of the assumption; `stated` says how the estimate has it.
    value
        Best estimate, in the site's currency, to four figures as the box shows it.
    low, high
        Ends of the slider.
    minimum, maximum
        Bounds on what may be typed.
    """

    key: str
    label: str
    unit: str
    stated: str
    value: float
    low: float
    high: float
    minimum: float
    maximum: float


@dataclass(frozen=True, slots=True)
class Panel:
    """The what-if panel.

    Attributes
    ----------
    drivers
        Prices that can be moved.
    rates
        Words for the discount rates, the estimate's own first.
    draws
        Number of draws.
    data
        For the script: arrays of 4-byte numbers as text, one value per draw.
    """

    drivers: tuple[Driver, ...]
    rates: tuple[str, ...]
    draws: int
    data: dict[str, Any]


@dataclass(frozen=True, slots=True)
class _Run:
    """Net flow by year of one outcome, and what one unit of each driver adds to it.

    Attributes
    ----------
    price
        The prices it was run at.
    flow
        ``(n_draws, n_years)``.
    slopes
        The same for one unit of each driver.
    """

    price: Prices
    flow: FloatArray
    slopes: tuple[FloatArray, ...]


def what_if(estimate: Estimate) -> Panel | None:
    """Return the panel's data, or None with more than `DRAWS_UP_TO` draws."""
    site = estimate.site
    count = estimate.confidence.source.n_draws
    if count > DRAWS_UP_TO:
        return None
    chosen = tomllib.loads(
        files("reclaim.report").joinpath("panel.toml").read_text(encoding="utf-8")
    )
    stated = [site.assumptions[key] for key in chosen["drivers"]]
    best = _run(estimate, estimate.best, Draws.best_estimate(), stated)
    draws = _run(estimate, estimate.draws, estimate.confidence.source, stated)
    rates: list[float | None] = [None, *chosen["rates"]]
    own = float(estimate.best.appraisal.discount_rate[0])
    return Panel(
        drivers=tuple(_driver(estimate, item, best.price, draws.price) for item in stated),
        rates=(f"as in the estimate ({percent(own)})", *(percent(r) for r in chosen["rates"])),
        draws=count,
        data={
            "draws": count,
            "currency": site.currency,
            "drivers": [
                {
                    "value": float(best.price[item.key][0]),
                    "drawn": None if item.kind == "fixed" else _text(draws.price[item.key]),
                }
                for item in stated
            ],
            "rates": [_at_rate(estimate, best, draws, rate) for rate in rates],
        },
    )


def _run(estimate: Estimate, outcome: Outcome, draws: Draws, stated: list[Assumption]) -> _Run:
    site = estimate.site
    quantities = quantities_of(
        outcome.volumes, outcome.feed, outcome.products, float(estimate.excavation.area_m2.sum())
    )
    price = Prices(site.assumptions, draws)
    flow = net_flow_of(quantities, price, site.closed_months)
    slopes = []
    for item in stated:
        drawn = price[item.key]
        other = np.full_like(drawn, drawn.max() + max(float(np.ptp(drawn)), 1.0))
        moved = net_flow_of(quantities, price.with_values({item.key: other}), site.closed_months)
        slopes.append((moved - flow) / (other - drawn)[:, None])
    return _Run(price, flow, tuple(slopes))


def _at_rate(estimate: Estimate, best: _Run, draws: _Run, rate: float | None) -> dict[str, Any]:
    """Return present values at one discount rate, None for the estimate's own."""

    def values(run: _Run) -> tuple[FloatArray, list[FloatArray]]:
        n_draws, n_years = run.flow.shape
        factors = (
            discounting(run.price, estimate.site.discount_convention, n_years)[1]
            if rate is None
            else discount_factors(np.full(n_draws, rate), n_years)
        )
        return (run.flow * factors).sum(axis=1), [
            (slope * factors).sum(axis=1) for slope in run.slopes
        ]

    central, central_slopes = values(best)
    npv, slopes = values(draws)
    return {
        "best": float(central[0]),
        "best_slopes": [float(slope[0]) for slope in central_slopes],
        "npv": _text(npv),
        "slopes": [_text(slope) for slope in slopes],
    }


def _driver(estimate: Estimate, item: Assumption, best: Prices, draws: Prices) -> Driver:
    value, drawn = float(best[item.key][0]), draws[item.key]
    low, high = float(drawn.min()), float(drawn.max())
    reach = max(high - low, abs(value), item.maximum / 40)
    money = item.unit.startswith("EUR") and not item.given
    scale = float(best.euros[0]) if money else 1.0
    return Driver(
        key=item.key,
        label=item.label,
        unit=unit_words(item.unit.replace("EUR", estimate.site.currency)),
        stated=f"in the estimate {number(value)}",
        value=float(f"{value:.4g}"),
        low=max(low - reach / 2, item.minimum * scale),
        high=min(high + reach / 2, item.maximum * scale),
        minimum=item.minimum * scale,
        maximum=item.maximum * scale,
    )


def _text(values: FloatArray) -> str:
    """Return numbers as text: base64 of little-endian 4-byte floats."""
    return b64encode(np.asarray(values, dtype="<f4").tobytes()).decode("ascii")
