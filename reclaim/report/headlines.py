"""The answer in one sentence, and the numbers that stand first on the page and the terminal."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from reclaim.report.wording import band_of, best_with_interval, likelihood, share_of_draws

if TYPE_CHECKING:
    from reclaim.report.results import Document


@dataclass(frozen=True, slots=True)
class Headline:
    """One headline number: its key in the results, and its words."""

    key: str
    label: str


HEADLINES = (
    Headline("excavated_m3", "Excavated volume"),
    Headline("waste_t", "Waste dug, wet"),
    Headline("fuel_t", "Fuel"),
    Headline("metals_t", "Ferrous and non-ferrous metal"),
    Headline("minerals_t", "Mineral aggregate and glass"),
    Headline("soil_t", "Soil-like fines"),
    Headline("airspace_reclaimed_m3", "Airspace reclaimed"),
    Headline("npv", "Net present value"),
    Headline("unit_cost_per_t", "Cost per tonne dug"),
)
CHANCE_LABEL = "Chance that it pays"


def answer(document: Document) -> str:
    """Return the answer of the whole estimate in one sentence."""
    headlines = document["headlines"]
    chance = headlines["chance_npv_positive"]
    return (
        f"On the inputs given it is {likelihood(chance)} that digging up "
        f"{document['site']['name']} pays: the net present value is "
        f"{best_with_interval(band_of(headlines['npv']))}, above zero in "
        f"{share_of_draws(chance)}, and the dig would win "
        f"{best_with_interval(band_of(headlines['airspace_reclaimed_m3']))} of landfill space."
    )
