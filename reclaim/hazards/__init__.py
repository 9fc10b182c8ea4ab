"""What could hurt someone, as far as this site's own numbers and records tell.

Comes in: the site, its excavation, core summary, and the model's volumes, feed and products.
Goes out: `HazardAssessment`: cautions, what was not assessed, trigger levels, and numbers.
Does not do: design safety, or declare anything safe; `DEFERENCE` says who decides.
"""

from reclaim.hazards.assessment import DEFERENCE, HazardAssessment, ModelRun, assess
from reclaim.hazards.caution import Caution, CautionLevel
from reclaim.hazards.finds import Find, WasteCode
from reclaim.hazards.gas_summary import GasRow, GasTrend
from reclaim.hazards.leachate import Leachate
from reclaim.hazards.opening import Opening
from reclaim.hazards.register import Mark, RegisterRow, register
from reclaim.hazards.residual_methane import ResidualMethane
from reclaim.hazards.rules import GasLimit, Rule, RuleBook, caution_rules, gas_limits, rule_book
from reclaim.hazards.triggers import Trigger, trigger_levels

__all__ = [
    "DEFERENCE",
    "Caution",
    "CautionLevel",
    "Find",
    "GasLimit",
    "GasRow",
    "GasTrend",
    "HazardAssessment",
    "Leachate",
    "Mark",
    "ModelRun",
    "Opening",
    "RegisterRow",
    "ResidualMethane",
    "Rule",
    "RuleBook",
    "Trigger",
    "WasteCode",
    "assess",
    "caution_rules",
    "gas_limits",
    "register",
    "rule_book",
    "trigger_levels",
]
