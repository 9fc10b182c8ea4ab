"""How sure are we, and what should we find out next?

Comes in: sources of draws, a model that turns them into money, and what the draws gave.
Goes out: `Band` beside every headline, and `Confidence`: spread, drivers, worth of knowing more.
Does not do: any model of its own; it knows nothing of waste.
"""

from reclaim.uncertainty.bands import Band, band, chance_above
from reclaim.uncertainty.chunks import run_in_chunks
from reclaim.uncertainty.convergence import Convergence, precision_of
from reclaim.uncertainty.indices import Index
from reclaim.uncertainty.investigations import Investigation, KnownNow, Plan, plans
from reclaim.uncertainty.spread import CourseOdds, Spread, spread_of
from reclaim.uncertainty.study import (
    Confidence,
    Drivers,
    GroupWorth,
    Knowing,
    ScenarioResult,
    best_on_mean,
    confidence_of,
    drivers_of,
    knowing_of,
    names_asked,
)
from reclaim.uncertainty.swings import Swing
from reclaim.uncertainty.worth_of_knowing import Worth

__all__ = [
    "Band",
    "Confidence",
    "Convergence",
    "CourseOdds",
    "Drivers",
    "GroupWorth",
    "Index",
    "Investigation",
    "Knowing",
    "KnownNow",
    "Plan",
    "ScenarioResult",
    "Spread",
    "Swing",
    "Worth",
    "band",
    "best_on_mean",
    "chance_above",
    "confidence_of",
    "drivers_of",
    "knowing_of",
    "names_asked",
    "plans",
    "precision_of",
    "run_in_chunks",
    "spread_of",
]
