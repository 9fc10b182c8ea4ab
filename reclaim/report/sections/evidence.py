"""What the estimate stands on: checks of the data, every assumption, reference values, methods."""

from __future__ import annotations

from typing import TYPE_CHECKING

from reclaim.reference import material_properties, materials, sources
from reclaim.report.sections.blocks import Section, Table, Words
from reclaim.report.traced import count
from reclaim.report.wording import as_stated, counted, number, whole

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from reclaim.report.results import Document

_LEVELS = {"error": "Error", "warning": "Warning", "note": "Note"}

METHODS = (
    (
        "Volume: the difference of the two surfaces, summed over cells; a cell on the edge counts "
        "by its exact share inside. The dig follows the base, or the side slope where higher."
    ),
    (
        "Composition: mean of the cores, weighted by sampled mass; its range from drawing whole "
        "cores again and again, because samples of one core are not independent."
    ),
    (
        "Plant: each machine sends a share of each material to each outlet; the line is solved as "
        "one linear system, loops included. What rots in the dryer gives its heat; ash, chlorine "
        "and mercury neither rot nor evaporate."
    ),
    (
        "Airspace: what is dug out, less what goes back at its placed density, less what a new "
        "liner and drainage take."
    ),
    (
        "Value: payments and income year by year at constant prices, discounted to the year of "
        "building."
    ),
    (
        "Range: all uncertain inputs drawn at once, one value from each of as many equal slices of "
        "its distribution as there are draws."
    ),
)


def data_checks(document: Document) -> Section:
    """Return the section on what was noticed about the inputs."""
    checks = document["checks"]
    warnings = count(document, "checks", level="warning")
    notes = count(document, "checks", level="note")
    finding = (
        f"Reading the inputs gave {counted(warnings, 'warning')} and {counted(notes, 'note')}."
        if checks
        else "Reading the inputs gave no warning and no note."
    )
    table = Table(
        "Warnings and notes on the data",
        ("Level", "Where", "What was found", "What to do"),
        tuple(
            (_LEVELS[row["level"]], row["where"], row["what"], row["what_to_do"] or "nothing")
            for row in checks
        ),
        text_columns=(0, 1, 2, 3),
    )
    blocks = (table,) if checks else ()
    return Section("checks", "Data checks", "Are the inputs sound?", finding, blocks)


def assumptions(document: Document) -> Section:
    """Return the section that lists every assumption."""
    rows = document["assumptions"]
    given, others = (count(document, "assumptions", given=whose) for whose in (True, False))
    finding = (
        f"{whole(given)} of {counted(count(document, 'assumptions'), 'assumption')} are given in "
        f"the site file; the other {whole(others)} are defaults, each with its source and "
        "status below."
    )
    currency = document["site"]["currency"]
    table = Table(
        "Every assumption",
        ("Assumption", "Value", "Range", "Unit", "Source", "Status", "Given or default"),
        tuple(
            (
                f"{row['label']} ({row['key']})",
                as_stated(row["value"]),
                _range(row["kind"], row["numbers"]),
                unit_of_money(row["unit"], currency) if row["given"] else row["unit"],
                row["source"],
                row["status"],
                "given" if row["given"] else "default",
            )
            for row in rows
        ),
        text_columns=(0, 3, 4, 5, 6),
        small=True,
    )
    fixed = Table(
        "Plain settings, not drawn",
        ("Setting", "Value", "Unit", "Source", "Status", "Given or default"),
        tuple(
            (
                f"{row['label']} ({row['key']})",
                f"{row['value']:.0f}" if row["unit"] == "year" else as_stated(row["value"]),
                row["unit"],
                row["source"],
                row["status"],
                "given" if row["given"] else "default",
            )
            for row in document["settings"]
        ),
        text_columns=(0, 2, 3, 4, 5),
        small=True,
    )
    climate = document["site"]["climate"].replace("_", " ")
    words = Words(
        (
            (
                "A source is a key of the list below; 'site file' is what the user stated. Status "
                "says how far to trust a default: published, common practice, from memory, or "
                "judgement. Replace judgement by figures of the site first. Decay in the ground "
                f"is taken for a {climate} climate."
            ),
        )
    )
    return Section(
        "assumptions",
        "Assumptions",
        "What had to be assumed?",
        finding,
        (
            words,
            table,
            fixed,
            _source_list(row["source"] for row in [*rows, *document["settings"]]),
        ),
    )


def reference_values() -> Section:
    """Return the section that lists the properties of the materials."""
    labels = {material.name: material.label for material in materials()}
    properties = material_properties()
    table = Table(
        "Properties of the materials",
        ("Material", "Property", "Value", "Range", "Unit", "Source", "Status"),
        tuple(
            (
                labels.get(material, material),
                name.replace("_", " "),
                as_stated(quantity.mode),
                f"{as_stated(quantity.low)} to {as_stated(quantity.high)}",
                quantity.unit,
                quantity.source,
                quantity.status,
            )
            for (material, name), quantity in properties.items()
        ),
        text_columns=(0, 1, 4, 5, 6),
        small=True,
    )
    published = sum(quantity.status == "published" for quantity in properties.values())
    finding = (
        f"{published} of {len(properties)} properties of the materials are published values; the "
        "rest are marked. The numbers of each machine are in tables/machine_shares.csv and "
        "tables/machine_settings.csv, the sizes of pieces in tables/particle_sizes.csv."
    )
    used = _source_list(quantity.source for quantity in properties.values())
    return Section(
        "reference",
        "Reference values",
        "What are the materials taken to be like?",
        finding,
        (table, used),
    )


def methods() -> Section:
    """Return the section that says in short how it was worked out."""
    return Section(
        "methods",
        "Methods in short",
        "How was it worked out?",
        "Volumes, masses and money come from one model, run once at central values and once for "
        "every draw.",
        (Words(METHODS, as_list=True),),
    )


def provenance(document: Document) -> Section:
    """Return the section on inputs, version, seed and closure of the balances."""
    run, balance = document["run"], document["balance"]
    inputs = Table(
        "Files read",
        ("File", "SHA-256"),
        tuple((row["path"], row["sha256"]) for row in document["inputs"]),
        text_columns=(0, 1),
        small=True,
    )
    closure = Table(
        "Closure of the balances of the line, in against out",
        ("Balance", "Relative error"),
        tuple((name.capitalize(), f"{error or 0:.0e}") for name, error in balance.items()),
    )
    surfaces = (
        f"Ground: {document['site']['survey']}. Base: {document['site']['base']}. Cover: "
        f"{document['site']['cover']}."
    )
    seconds = sum(run["seconds"].values())
    return Section(
        "provenance",
        "Provenance",
        "Can this be made again?",
        f"Made with reclaim {run['version']} on {run['made_on']}, seed {whole(run['seed'])}, "
        f"{whole(run['draws'])} draws; the calculation took {number(seconds)} s.",
        (Words((surfaces,)), inputs, closure),
    )


def unit_of_money(unit: str, currency: str) -> str:
    """Return a unit in the site's currency: what a user states is in that, not in EUR."""
    return unit.replace("EUR", currency)


def _range(kind: str, numbers: Sequence[float]) -> str:
    if kind == "triangular":
        return f"{as_stated(numbers[0])} to {as_stated(numbers[2])}"
    if kind == "normal":
        return f"sd {as_stated(numbers[1])}"
    if kind == "lognormal":
        return f"gsd {as_stated(numbers[1])}"
    return "fixed"


def _source_list(keys: Iterable[str]) -> Table:
    known = sources()
    used = sorted({key for key in keys if key in known})
    return Table(
        "Sources named above",
        ("Source", "Reference"),
        tuple((key, known[key].reference) for key in used),
        text_columns=(0, 1),
        small=True,
    )
