"""What the appraisal room hands on: space won, and money year by year."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from reclaim.appraisal.discounting import internal_rate_of_return

if TYPE_CHECKING:
    from reclaim.appraisal.schedule import Timetable

FloatArray = NDArray[np.floating[Any]]


@dataclass(frozen=True, slots=True)
class Airspace:
    """Space won by the dig, per draw, shape ``(n_draws,)``.

    Attributes
    ----------
    opened_m3
        Cover, waste and over-dig taken out [m3].
    refilled_m3
        Taken up by what goes back: residue, returned soil and over-dig, at placed density [m3].
    lost_m3
        Taken up by the new liner and drainage [m3].
    reclaimed_m3
        What is left to fill [m3]; negative where more goes back than came out.
    life_years
        Years it lasts at the fill rate [y].
    """

    opened_m3: FloatArray
    refilled_m3: FloatArray
    lost_m3: FloatArray
    reclaimed_m3: FloatArray
    life_years: FloatArray


@dataclass(frozen=True, slots=True)
class CashItem:
    """One line of the cash flow.

    Attributes
    ----------
    name, label
        Key and words.
    group
        ``capital``, ``operation``, ``disposal``, ``products``, ``airspace``, ``grant`` or
        ``avoided``; ``net`` for the sum of all lines.
    flow
        Money by year, costs negative, constant prices, shape ``(n_draws, n_years)``; year 0 is
        the year of building, before digging starts.
    """

    name: str
    label: str
    group: str
    flow: FloatArray


@dataclass(frozen=True, slots=True)
class Appraisal:
    """What mining the site costs and brings, in constant prices of the site's price year.

    Attributes
    ----------
    airspace
        Space won.
    items
        The cash flow by line.
    time
        When what is dug.
    discount_rate
        Real, per year [-], shape ``(n_draws,)``; that of year 1 where the convention's rate falls.
    discount_factors
        Present value of one unit paid at the end of each year [-], ``(n_draws, n_years)``.
    duration_years
        Years of digging [y], shape ``(n_draws,)``.
    capital, cost, revenue
        Undiscounted totals [currency], all positive, shape ``(n_draws,)``: capital; capital and
        every other payment; income from products, airspace, grants and costs avoided.
    npv
        Net present value at year 0 [currency], shape ``(n_draws,)``.
    payback_years
        Undiscounted, from year 0 [y], shape ``(n_draws,)``; NaN where never.
    unit_cost_per_t
        Present value of all payments over tonnes of waste dug [currency/t], shape
        ``(n_draws,)``.
    breakeven
        By input, the value at which the best estimate's NPV is zero; NaN where none exists.
    nominal_flow
        Sum of all lines in money of the day [currency], shape ``(n_draws, n_years)``.
    """

    airspace: Airspace
    items: tuple[CashItem, ...]
    time: Timetable
    discount_rate: FloatArray
    discount_factors: FloatArray
    duration_years: FloatArray
    capital: FloatArray
    cost: FloatArray
    revenue: FloatArray
    npv: FloatArray
    payback_years: FloatArray
    unit_cost_per_t: FloatArray
    breakeven: dict[str, float]
    nominal_flow: FloatArray

    @property
    def net_flow(self) -> FloatArray:
        """Sum of all lines by year [currency], shape ``(n_draws, n_years)``."""
        return np.asarray(np.sum([item.flow for item in self.items], axis=0))

    def rates_of_return(self) -> tuple[FloatArray, NDArray[np.int_]]:
        """Return rate of return and number of rates by draw; see `internal_rate_of_return`.

        Worked out when asked, since most runs of the model are not.
        """
        return internal_rate_of_return(self.net_flow)
