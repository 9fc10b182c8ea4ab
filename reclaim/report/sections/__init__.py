"""The sections of the page, as data: a question, a finding, and the figures and tables behind it.

Comes in: `Estimate` and its results document. Goes out: `Section` objects in reading order.
Does not do: HTML.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from reclaim.report.figures.gas import has_gas
from reclaim.report.sections.blocks import Block, Picture, Section, Table, Words
from reclaim.report.sections.carbon import what_of_the_climate
from reclaim.report.sections.confidence import how_sure
from reclaim.report.sections.council import what_a_council_asks
from reclaim.report.sections.evidence import (
    assumptions,
    data_checks,
    methods,
    provenance,
    reference_values,
)
from reclaim.report.sections.ground import how_much
from reclaim.report.sections.hazards import what_could_hurt
from reclaim.report.sections.options import what_else
from reclaim.report.sections.outside import what_others_found
from reclaim.report.sections.plant import what_comes_out
from reclaim.report.sections.value import what_it_is_worth
from reclaim.report.sections.waste import what_it_is

if TYPE_CHECKING:
    from reclaim.estimate import Estimate
    from reclaim.report.results import Document

__all__ = ["Block", "Picture", "Section", "Table", "Words", "all_sections"]


def all_sections(estimate: Estimate, document: Document) -> tuple[Section, ...]:
    """Return the sections that follow answer and cautions, in reading order."""
    climate = what_of_the_climate(estimate, document)
    return (
        how_much(estimate, document),
        what_it_is(estimate, document),
        what_comes_out(estimate, document),
        what_it_is_worth(document),
        what_could_hurt(document, drawn=has_gas(estimate)),
        what_else(estimate, document),
        *([] if climate is None else [climate]),
        what_others_found(estimate, document),
        what_a_council_asks(estimate, document),
        how_sure(document),
        data_checks(document),
        assumptions(document),
        reference_values(),
        methods(),
        provenance(document),
    )
