"""Greenhouse gas: what digging adds and saves beside leaving the site."""

from __future__ import annotations

from typing import TYPE_CHECKING

from reclaim.report.sections.blocks import Picture, Section, Table, Words
from reclaim.report.wording import band_of, best_of, best_with_interval, interval_of, number

if TYPE_CHECKING:
    from reclaim.estimate import Estimate
    from reclaim.report.results import Document

LABELS = {
    "avoided_landfill_gas_t": "Methane, here and from what goes back",
    "fossil_burnt_t": "Fossil carbon in the fuel, burnt",
    "operations_t": "Diesel, electricity and bought heat",
    "transport_t": "Road haul",
    "gross_t": "Gross: given off, without credits",
    "fuel_substituted_t": "Fuel replaced",
    "metals_t": "Metals recycled",
    "glass_t": "Glass recycled",
    "net_t": "Net",
    "biogenic_t": "Apart: biogenic carbon dioxide of the fuel",
    "stored_t": "Apart: change of carbon left stored",
}
_YEARS = (1, 2, 3, 4, 5, 10, 15, 20, 30, 40, 50, 75, 100)


def what_of_the_climate(_estimate: Estimate, document: Document) -> Section | None:
    """Return the section on greenhouse gas; None where mining or leaving was not compared."""
    carbon = document["carbon"]
    if carbon is None:
        return None
    net = band_of(carbon["net_t"])
    turn = "saves" if net.value < 0 else "adds"
    finding = (
        f"Beside leaving it, mining the whole {turn} greenhouse gas: net "
        f"{best_with_interval(net)} over 100 years, minus being a saving."
    )
    rows = tuple(
        (label, best_of(band_of(carbon[key])), interval_of(band_of(carbon[key])))
        for key, label in LABELS.items()
    )
    courses = [row["name"] for row in document["options"]]
    labels = {row["name"]: row["label"] for row in document["options"]}
    by_year = {row["year"]: row for row in carbon["by_year"]}
    yearly = tuple(
        (str(year), *(number(by_year[year][name]) for name in courses))
        for year in _YEARS
        if year in by_year
    )
    return Section(
        "carbon",
        "What of the climate",
        "Does digging save greenhouse gas, and is it claimed fairly?",
        finding,
        (
            Picture(
                "methane",
                "Lines of methane emitted by year for each course of action.",
                "First-order decay of what still rots; P10 to P90 of the first course is shaded.",
            ),
            Table(
                "Greenhouse gas of mining less that of leaving it, 100 years",
                ("Part", "Best estimate", "P10 to P90"),
                rows,
            ),
            Table(
                "Methane that reaches the air [t CH4 a year]; tables/methane.csv has every year",
                ("Year", *(labels[name] for name in courses)),
                yearly,
            ),
            Words(
                (
                    (
                        "The credit for fuel stands and falls with the fuel that is replaced: "
                        "where a kiln would burn gas, or other waste, it shrinks or turns to a "
                        "burden. Fossil carbon in plastics is safe in the ground and is given off "
                        "when burnt; it is counted in full. Biogenic carbon dioxide stands apart."
                    ),
                    (
                        "Not counted: building the plant, cap or liner; the flush of gas when the "
                        "face is opened; nitrous oxide; carbon dioxide from aerobic rot."
                    ),
                )
            ),
        ),
    )
