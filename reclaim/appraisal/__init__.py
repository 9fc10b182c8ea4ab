"""What is it worth to mine the site?

Comes in: dug volumes, `Feed`, `Products`, prices and costs.
Goes out: `Appraisal`, with space won and money by year, in constant prices.
Does not do: tax, finance, or advice; it is no offer and no accountant's statement.
"""

from reclaim.appraisal.airspace import airspace_won
from reclaim.appraisal.appraisal import Airspace, Appraisal, CashItem
from reclaim.appraisal.appraise import appraise
from reclaim.appraisal.discounting import (
    annuity_factor,
    internal_rate_of_return,
    net_present_value,
    payback_years,
)

__all__ = [
    "Airspace",
    "Appraisal",
    "CashItem",
    "airspace_won",
    "annuity_factor",
    "appraise",
    "internal_rate_of_return",
    "net_present_value",
    "payback_years",
]
