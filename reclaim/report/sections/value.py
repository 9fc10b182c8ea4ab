"""What it is worth: space won, money by year, and the prices at which it would break even."""

from __future__ import annotations

from typing import TYPE_CHECKING

from reclaim.reference import assumption_defaults
from reclaim.report.figures.style import MONEY_LABELS
from reclaim.report.sections.blocks import Picture, Section, Table, Words
from reclaim.report.sections.options import cost_class_words
from reclaim.report.traced import count
from reclaim.report.wording import (
    as_stated,
    band_of,
    beside,
    best_of,
    best_with_interval,
    interval_of,
    money_unit,
    number,
    percent,
    whole,
    with_unit,
)

if TYPE_CHECKING:
    from reclaim.report.results import Document

YEARS_LISTED = 12
"""With more years than this the table shows totals alone; tables/cash_flow.csv has the years."""

NO_OFFER = (
    "This is a scoping-level estimate. It says whether further study is worth paying for. It is "
    "not an offer, not a design and no basis for a contract."
)


def what_it_is_worth(document: Document) -> Section:
    """Return the section on airspace and money."""
    headlines, site = document["headlines"], document["site"]
    npv = band_of(headlines["npv"])
    finding = (
        f"The net present value is {best_with_interval(npv)}; each tonne of waste dug costs "
        f"{best_with_interval(band_of(headlines['unit_cost_per_t']))}."
    )
    running = document["value"]["running_by_year"]
    lowest, last = min(running), running[-1]
    scale, unit = money_unit(max(abs(amount) for amount in running), site["currency"])
    year = count(document, "value.running_by_year") - 1
    money = Picture(
        "cash_flow",
        "Stacked bars of payments and income by year, and a line for their running total.",
        f"Constant prices of {whole(site['price_year'])}, not discounted. The running total is "
        "lowest at "
        f"{with_unit(number(lowest, scale=scale), unit)} and ends at "
        f"{with_unit(number(last, scale=scale), unit)} after year {whole(year)}. Year 0 is the "
        "year of building.",
    )
    return Section(
        "what-it-is-worth",
        "What it is worth",
        "Would it pay, and what space would it give?",
        finding,
        (
            Words((cost_class_words(document),)),
            _airspace_picture(document),
            _airspace(document),
            money,
            _cash(document),
            _measures(document),
            _breakeven(document),
        ),
    )


def _airspace_picture(document: Document) -> Picture:
    airspace = document["airspace"]
    reclaimed, opened = band_of(airspace["reclaimed_m3"]), band_of(airspace["opened_m3"])
    share = reclaimed.value / opened.value
    return Picture(
        "airspace",
        "Waterfall of volumes: opened by the dig, taken by what goes back, taken by a new liner, "
        "reclaimed.",
        f"{best_with_interval(reclaimed)} of space is reclaimed, {percent(share)} of what is "
        f"opened. At the fill rate assumed it lasts "
        f"{best_with_interval(band_of(airspace['life_years']))}.",
    )


def _airspace(document: Document) -> Table:
    labels = {
        "opened_m3": "Opened by the dig",
        "refilled_m3": "Taken by what goes back",
        "lost_m3": "Taken by new liner and drainage",
        "reclaimed_m3": "Reclaimed",
        "life_years": "Lasts at the fill rate",
    }
    rows = [(label, band_of(document["airspace"][name])) for name, label in labels.items()]
    return Table(
        "Airspace",
        ("Quantity", "Best estimate", "P10 to P90"),
        tuple((label, best_of(band), interval_of(band)) for label, band in rows),
    )


def _cash(document: Document) -> Table:
    value, site = document["value"], document["site"]
    items = value["cash_flow"]
    years = len(items[0]["by_year"]) if items else 0
    by_year = years <= YEARS_LISTED
    net = [sum(item["by_year"][year] for item in items) for year in range(years)]
    largest = max((abs(sum(item["by_year"])) for item in items), default=0.0)
    scale, unit = money_unit(largest, site["currency"])

    def amounts(flow: list[float]) -> tuple[str, ...]:
        shown = [sum(flow), *(flow if by_year else [])]
        largest = max(abs(amount) for amount in shown)
        return tuple(beside(scale * amount, scale * largest) for amount in shown)

    rows = [
        (MONEY_LABELS[item["group"]].capitalize(), item["label"], *amounts(item["by_year"]))
        for item in items
    ]
    rows.append(("All", "Sum of the lines", *amounts(net)))
    heads = tuple(f"Year {year}" for year in range(years)) if by_year else ()
    return Table(
        f"Cash flow, best estimate [{unit}, prices of {site['price_year']}, payments negative]",
        ("Group", "Line", "Total", *heads),
        tuple(rows),
        text_columns=(0, 1),
    )


def _measures(document: Document) -> Table:
    value = document["value"]
    roots = value["irr_roots"]
    no_irr = "none: no rate makes the value zero" if roots == 0 else "none: more than one rate"
    labels = {
        "npv": ("Net present value", "not known"),
        "irr": ("Internal rate of return, real", no_irr),
        "payback_years": ("Paid back after, not discounted", "never within the works"),
        "unit_cost_per_t": ("Cost per tonne of waste dug, discounted", "not known"),
        "annual_cost": ("The same as an even cost in each year of digging", "not known"),
        "capital": ("Capital", "not known"),
        "cost": ("All payments, capital included", "not known"),
        "revenue": ("Products, airspace, grants and costs avoided", "not known"),
        "discount_rate": ("Discount rate, real, per year", "not known"),
        "duration_years": ("Years of digging", "not known"),
    }
    rows = [
        (label, best_of(band_of(value[name]), absent), interval_of(band_of(value[name])))
        for name, (label, absent) in labels.items()
    ]
    rows.append(("Chance that it pays (net present value above zero)",
                 percent(value["chance_npv_positive"]), "does not apply"))  # fmt: skip
    return Table("Measures of worth", ("Measure", "Best estimate", "P10 to P90"), tuple(rows))


def _breakeven(document: Document) -> Table | Words:
    value, currency = document["value"], document["site"]["currency"]
    defaults = assumption_defaults()
    assumed = {row["key"]: row for row in document["assumptions"]}
    rows = []
    for key, amount in value["breakeven"].items():
        default = defaults.get(key)
        unit = (default.quantity.unit if default else "").replace("EUR", currency)
        today = assumed[key]["value"] if key in assumed else None
        rows.append(
            (
                default.label if default else key,
                with_unit(as_stated(today), unit) if today is not None else "not known",
                "none: no value of it alone would do"
                if amount is None
                else with_unit(number(amount), unit),
            )
        )
    if not rows:
        return Words(("No break-even was worked out.",))
    return Table(
        "Break-even: what one input alone would have to be for a net present value of zero",
        ("Input", "Assumed", "Break-even"),
        tuple(rows),
    )
