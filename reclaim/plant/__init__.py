"""What does a pretreatment line make of the waste?

Comes in: `Feed`, a line as data, assumptions.
Goes out: `Products`, with make-up, quality, drying, power and closure of every balance.
Does not do: prices, or the question whether anyone buys a product.
"""

from reclaim.plant.capacity import Capacity, MachineLoad, line_capacity
from reclaim.plant.drying import dry, idle_dryer
from reclaim.plant.drying_choices import DryingChoice, drying_choices
from reclaim.plant.flowsheet import solve_flows
from reclaim.plant.fuel_class import FuelClass, editions, fuel_class
from reclaim.plant.limits import LimitCheck, check_limits
from reclaim.plant.line import run_line
from reclaim.plant.products import Balance, Drying, Products, Stream

__all__ = [
    "Balance",
    "Capacity",
    "Drying",
    "DryingChoice",
    "FuelClass",
    "LimitCheck",
    "MachineLoad",
    "Products",
    "Stream",
    "check_limits",
    "dry",
    "drying_choices",
    "editions",
    "fuel_class",
    "idle_dryer",
    "line_capacity",
    "run_line",
    "solve_flows",
]
