"""What a line makes of the waste: products, their quality, and the heat that drying takes."""

from __future__ import annotations

from math import isfinite
from typing import TYPE_CHECKING

from reclaim.reference import heavy_metals
from reclaim.report.line import amount, limited, limits_of, product_words
from reclaim.report.sections.blocks import Picture, Section, Table, Words
from reclaim.report.traced import marked
from reclaim.report.wording import (
    band_of,
    best_of,
    best_with_interval,
    counted,
    interval_of,
    listed,
    number,
    percent,
    share_of_draws,
    whole,
)

if TYPE_CHECKING:
    from reclaim.estimate import Estimate
    from reclaim.plant import LimitCheck
    from reclaim.report.results import Document


def what_comes_out(estimate: Estimate, document: Document) -> Section:
    """Return the section on products."""
    headlines, drying = document["headlines"], document["drying"]
    waste = document["feed"]["waste_t"]["value"]

    def part(name: str) -> str:
        band = band_of(headlines[name])
        return f"{best_of(band)} ({percent(band.value / waste)})"

    finding = (
        f"Of the wet waste the line makes {part('soil_t')} of soil-like fines, {part('fuel_t')} of "
        f"fuel, {part('minerals_t')} of mineral aggregate and glass and {part('metals_t')} of "
        "metal; the rest is water, gas and residue. Shares are of the wet mass fed."
    )
    line = estimate.site.line
    lost = band_of(drying["water_removed_t"])
    flow = Picture(
        "mass_flow",
        "Flow diagram: ribbons as wide as their tonnes lead from the dug waste through "
        f"{counted(len(line.machines), 'machine')} to the products and losses.",
        f"Line: {line.label}. Ribbons are as wide as the wet tonnes in them. "
        f"{best_of(lost)} of water is evaporated and "
        f"{best_of(band_of(drying['solids_lost_t']))} of dry matter rots to gas on the way.",
    )
    return Section(
        "what-comes-out",
        "What comes out",
        "What would a pretreatment line make of it?",
        finding,
        (
            flow,
            _masses(document),
            _qualities(document),
            Words(_fuel(document)),
            _heavy_metals(document),
            Words((_METALS,)),
            _QUALITY,
            _limits(estimate),
            Words(_heat(document)),
            *_choices(document),
            _drawing(estimate),
            _machines(document),
            Words((_capacity(document), _balances(document))),
        ),
    )


_METALS = (
    "Heavy metals come from reference ranges by material, not from analyses of this site. Metal "
    "pieces in a product count in full; a laboratory that sieves its sample first finds less."
)

_QUALITY = Picture(
    "product_quality",
    "Chart of every product against the limits of those who take it: a point left of the line "
    "passes, right of it fails; the same numbers are in the table below.",
    "Each limited quantity over its limit, best estimate and P10 to P90 of the draws. Limits "
    "are those of standards, rules and usual contracts; the buyer's own decide.",
)


def _limits(estimate: Estimate) -> Table:
    return Table(
        "Products against limits",
        ("Product", "Limit of", "Quantity", "Estimate", "Limit", "Result", "What would help"),
        tuple(
            (
                product_words(check),
                check.specification,
                limited(check),
                amount(check, check.value) if isfinite(check.value) else "not known",
                f"{'at most' if check.is_maximum else 'at least'} {amount(check, check.limit)}",
                _verdict(check),
                check.what_would_help or "nothing needed",
            )
            for check in limits_of(estimate)
        ),
        text_columns=(0, 1, 2, 5, 6),
        small=True,
    )


def _choices(document: Document) -> tuple[Table, ...]:
    rows = document["line"]["drying_choices"]
    if not rows:
        return ()
    words = {"box": "Boxes, as above", "thermal": "Thermal dryers", "none": "No drying"}
    table = Table(
        "The same line dried in three ways, best estimate",
        (
            "Drying", "Moisture after drying", "Heat bought [MWh]", "Electricity [MWh]",
            "Fuel, wet [t]", "NCV of the fuel [MJ/kg]", "Purity of the fuel",
        ),
        tuple(
            (
                words[row["name"]],
                percent(row["moisture_out"], absent="not dried"),
                number(row["heat_bought_mwh"]),
                number(row["power_mwh"]),
                number(row["fuel_t"], absent="makes none"),
                number(row["fuel_ncv_mj_kg"], absent="makes none"),
                percent(row["fuel_purity"], absent="makes none"),
            )
            for row in rows
        ),
    )  # fmt: skip
    return (table,)


def _verdict(check: LimitCheck) -> str:
    word = "passes" if check.passes else "fails"
    return f"{word} (passes in {share_of_draws(check.chance)})"


def _drawing(estimate: Estimate) -> Picture:
    line = estimate.site.line
    return Picture(
        "line_drawing",
        (
            f"Drawing of the line {line.label}: its {counted(len(line.machines), 'machine')} from "
            "top to bottom, arrows from each outlet to the next machine, products named in the "
            "boxes."
        ),
        "Machines and where their outlets lead, as the plant file states them.",
    )


def _machines(document: Document) -> Table:
    return Table(
        "What each machine must take",
        (
            "Machine", "Load [t/h]", "One machine takes [t/h]", "Needed side by side",
            "Share of its time", "Electricity [kWh/t fed to it]",
        ),
        tuple(
            (
                row["label"],
                number(row["load_t_h"]),
                number(row["throughput_t_h"]),
                str(row["needed"]),
                percent(row["use"]),
                number(row["power_kwh_t"]),
            )
            for row in document["line"]["capacity"]["machines"]
        ),
        small=True,
    )  # fmt: skip


def _capacity(document: Document) -> str:
    found = document["line"]["capacity"]
    labels = {row["name"]: row["label"] for row in found["machines"]}
    words = (
        f"At the yearly rate {number(found['feed_t_h'])} t of waste an hour enter the line, and "
        f"the whole dig takes {number(found['hours'])} working hours. "
        f"The bottleneck is '{labels[found['bottleneck']]}': with the machines above it runs full "
        f"at {number(found['most_t_y'])} t a year. The line uses {number(found['power_kwh_t'])} "
        "kWh of electricity per tonne of waste."
    )
    if found["buffer_t"] > 0:
        words += (
            f" {number(found['buffer_t'])} t lie in the drying boxes at a time and are the buffer "
            "between digging and sorting."
        )
    return words


def _balances(document: Document) -> str:
    worst = max(document["balance"].values())
    return (
        "What goes in comes out: the balances of mass, water, energy, ash, chlorine, mercury, "
        f"heavy metals, metals and carbon close to {marked(f'{worst:.0e}', worst)} of what enters."
    )


def _masses(document: Document) -> Table:
    return Table(
        "Products of the line: mass",
        ("Product", "Wet mass [t]", "P10 to P90 [t]", "Dry mass [t]", "Moisture", "Purity"),
        tuple(
            (
                row["label"],
                best_of(band_of(row["wet_t"])).removesuffix("\u00a0t"),
                interval_of(band_of(row["wet_t"])).removesuffix("\u00a0t"),
                best_of(band_of(row["dry_t"])).removesuffix("\u00a0t"),
                percent(row["moisture"]["value"]),
                percent(row["purity"], absent="does not apply"),
            )
            for row in document["products"]
        ),
    )


def _qualities(document: Document) -> Table:
    return Table(
        "Products of the line: what a buyer asks for",
        (
            "Product", "NCV as received [MJ/kg]", "P10 to P90 [MJ/kg]", "Ash, of dry mass",
            "Chlorine, of dry mass", "Mercury [mg/MJ]", "Biogenic share of carbon", "Fuel class",
        ),
        tuple(
            (
                row["label"],
                number(row["ncv_mj_kg"]["value"]),
                interval_of(band_of(row["ncv_mj_kg"])).removesuffix("\u00a0MJ/kg"),
                percent(row["ash"]["value"]),
                _fine_percent(row["chlorine"]["value"]),
                number(row["mercury_mg_mj"]["value"], 2, absent="does not apply"),
                percent(row["biogenic_share"]["value"]),
                row["fuel_class"] or "not a fuel",
            )
            for row in document["products"]
            if row["wet_t"]["value"] > 0
        ),
        text_columns=(0, 7),
    )  # fmt: skip


def _heavy_metals(document: Document) -> Table:
    named = heavy_metals().items()
    return Table(
        "Products of the line: heavy metals [mg/kg of dry mass], best estimate",
        ("Product", *(f"{name.capitalize()} ({sign})" for name, sign in named)),
        tuple(
            (
                row["label"],
                *(number(band["value"], 2) for band in row["heavy_metals_mg_kg"].values()),
            )
            for row in document["products"]
            if row["wet_t"]["value"] > 0
        ),
        small=True,
    )


def _fine_percent(fraction: float | None) -> str:
    """Return a small share in per cent to two significant figures; the limits need them."""
    if fraction is None:
        return "not known"
    if 0 < fraction < 1e-5:
        return "under 0.001%"
    return f"{number(100 * fraction, 2)}%"


def _fuel(document: Document) -> tuple[str, ...]:
    classes = [row["fuel_class"] for row in document["products"] if row["fuel_class"]]
    words = [
        (
            "Purity is the share of a product's wet mass that is what the product is named after. "
            "NCV is the net calorific value: the heat a boiler gets from the product as it is "
            "delivered, its water included."
        )
    ]
    if classes:
        words.append(
            f"Fuel class ({listed(classes)}) is by ISO 21640: 1 is best and 5 is worst, for "
            "calorific value, chlorine and mercury; 'none' misses even class 5. Buyers decide on "
            "tested lots, and this is an estimate before any lot exists."
        )
    return tuple(words)


def _heat(document: Document) -> tuple[str, ...]:
    drying = document["drying"]
    feed, needed = band_of(drying["feed_t"]), band_of(drying["heat_needed_mwh"])
    if not feed.value > 0:
        return ("This line has no drying step.",)
    own, bought = band_of(drying["heat_own_mwh"]), band_of(drying["heat_bought_mwh"])
    words = [
        (
            f"Drying takes {best_of(feed)} of waste from "
            f"{percent(drying['moisture_in']['value'])} to "
            f"{percent(drying['moisture_out']['value'])} moisture and removes "
            f"{best_with_interval(band_of(drying['water_removed_t']))} of water. That needs "
            f"{best_with_interval(needed)} of heat."
        )
    ]
    if not needed.value > 0:
        return tuple(words)
    if document["drying"]["air_m3"]["value"] > 0:
        words.append(_air(document))
    share = own.value / needed.value
    if bought.value > 0.01 * needed.value:
        words.append(
            f"Rotting inside the dryer gives {best_of(own)}, {percent(share)} of the need; "
            f"{best_with_interval(bought)} has to be bought. "
            f"{_why_cold(document['site']['closed'])}"
        )
    elif share >= 0.99:
        words.append("The heat of matter that rots inside the dryer is enough; none is bought.")
    else:
        words.append(
            f"Rotting inside the dryer gives {best_of(own)}, {percent(share)} of that. No heat is "
            "bought, so the waste stays as wet as its own heat leaves it."
        )
    return tuple(words)


def _air(document: Document) -> str:
    drying = document["drying"]
    return (
        f"The fans blow in {best_of(band_of(drying['air_m3']))} of air and use "
        f"{best_of(band_of(drying['fan_mwh']))} of electricity; at their highest rate they would "
        f"need {best_of(band_of(drying['days_of_air']))}. Of the water "
        f"{best_of(band_of(drying['condensate_t']))} condenses where the exhaust is cooled. "
        "Bringing the exhaust to its treatment temperature takes another "
        f"{best_of(band_of(drying['air_treatment_mwh']))} of heat, charged like "
        "bought heat but not counted in what follows."
    )


def _why_cold(closed: int | None) -> str:
    """Return why the waste cannot dry itself."""
    since = "" if closed is None else f" since tipping ended in {whole(closed)}"
    return (
        f"Most of what could rot has rotted in the ground{since}, so old waste makes little heat "
        "of its own; fresh household waste gives much more."
    )
