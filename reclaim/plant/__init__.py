"""What does a pretreatment line make of the waste?

Comes in: `Feed`, a line as data, assumptions.
Goes out: `Products`, with make-up, quality, drying, power and closure of every balance.
Does not do: prices, or the question whether anyone buys a product.
"""

from reclaim.plant.drying import dry
from reclaim.plant.flowsheet import solve_flows
from reclaim.plant.fuel_class import FuelClass, fuel_class
from reclaim.plant.line import run_line
from reclaim.plant.products import Balance, Drying, Products, Stream

__all__ = [
    "Balance",
    "Drying",
    "FuelClass",
    "Products",
    "Stream",
    "dry",
    "fuel_class",
    "run_line",
    "solve_flows",
]
