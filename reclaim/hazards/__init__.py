"""What could hurt someone, as far as this site's own numbers and records tell.

Comes in: the site, its excavation, core summary, feed and products. Goes out: cautions, the most
urgent first, and a sentence for every hazard that was not assessed.
Does not do: design safety, or declare anything safe; `DEFERENCE` says who decides.
"""

from reclaim.hazards.assessment import DEFERENCE, assess
from reclaim.hazards.caution import Caution, CautionLevel
from reclaim.hazards.rules import GasLimit, Rule, caution_rules, gas_limits

__all__ = [
    "DEFERENCE",
    "Caution",
    "CautionLevel",
    "GasLimit",
    "Rule",
    "assess",
    "caution_rules",
    "gas_limits",
]
