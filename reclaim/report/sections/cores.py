"""What the cores say, without any volume: for the geologist, and for `reclaim cores --out`."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from reclaim.reference import materials
from reclaim.report.sections.blocks import Block, Section, Table, Words
from reclaim.report.sections.core_study import core_study_section
from reclaim.report.wording import as_stated, counted, listed, number, percent

if TYPE_CHECKING:
    import pandas as pd

    from reclaim.report.results import Document
    from reclaim.site import Cores
    from reclaim.waste import CoreSummary

READING_LABELS = {
    "ch4_pct": "Methane [% v/v]",
    "co2_pct": "Carbon dioxide [% v/v]",
    "o2_pct": "Oxygen [% v/v]",
    "h2s_ppm": "Hydrogen sulphide [ppm v/v]",
    "co_ppm": "Carbon monoxide [ppm v/v]",
    "vinyl_chloride_ppm": "Vinyl chloride [ppm v/v]",
    "benzene_ppm": "Benzene [ppm v/v]",
    "temperature_c": "Temperature [degrees C]",
    "flow_l_h": "Flow [L/h]",
}
LAB_LABELS = {
    "ncv_mj_kg": "NCV as received [MJ/kg]",
    "ash": "Ash, of dry mass [-]",
    "chlorine": "Chlorine, of dry mass [-]",
    "mercury_mg_kg": "Mercury, dry [mg/kg]",
}
_GROUPS = ("fines", "combustible", "mineral", "metal", "hazardous")


def core_sections(
    cores: Cores, summary: CoreSummary | None, document: Document
) -> tuple[Section, ...]:
    """Return the sections on the cores; none where no core has a sample in waste.

    Parameters
    ----------
    cores
        The core tables.
    summary
        The geologist's summary, None where there is none.
    document
        The results document of either, read for the numbers in sentences.
    """
    if summary is None:
        return ()
    study = () if summary.study is None else (core_study_section(summary.study, document),)
    return (
        _composites(summary, document),
        _list(summary, document),
        *study,
        _logs(document),
        _readings(cores, document),
    )


def _composites(summary: CoreSummary, document: Document) -> Section:
    group_of = {material.name: material.group for material in materials()}
    site = len(summary.zones) - 1
    whole_site = document["core_composites"][-1]
    shares = {
        group: sum(
            band["value"]
            for name, band in whole_site["wet_fraction"].items()
            if group_of[name] == group
        )
        for group in _GROUPS
    }
    low, middle, high = (percent(whole_site["moisture"][key]) for key in ("low", "value", "high"))
    moisture = f"{middle} (P10 to P90: {low} to {high})"
    largest = sorted(shares, key=lambda group: -shares[group])[:3]
    finding = (
        f"{counted(document['core_tables']['sampled_cores'], 'core')} with samples: "
        f"{listed(f'{percent(shares[group])} {group}' for group in largest)} by wet mass; moisture "
        f"{moisture}{'' if summary.moisture_measured else ', assumed'}."
    )
    tables = [_composite(summary, site, "Whole site")]
    if site > 1:
        tables += [
            _composite(summary, place, f"Zone {zone}")
            for place, zone in enumerate(summary.zones[:-1])
        ]
    words = Words(
        (
            (
                "Means are weighted by the waste a core stands for, length times density. Ranges "
                "come from drawing whole cores again and again, because the samples of one core "
                "are not independent. With few cores they are too narrow rather than too wide."
            ),
        )
    )
    return Section(
        "cores", "What the cores are made of", "What do the cores say?", finding, (*tables, words)
    )


def _composite(summary: CoreSummary, place: int, title: str) -> Table:
    labels = {material.name: material.label for material in materials()}
    order = sorted(
        range(len(summary.materials)), key=lambda index: -summary.wet_fraction[place, index]
    )
    return Table(
        f"{title}: shares by mass",
        ("Material", "Wet mass", "P10 to P90", "Dry mass"),
        tuple(
            (
                labels[summary.materials[index]],
                percent(summary.wet_fraction[place, index]),
                f"{percent(summary.low[place, index])} to {percent(summary.high[place, index])}",
                percent(summary.dry_fraction[place, index]),
            )
            for index in order
        ),
    )


def _list(summary: CoreSummary, document: Document) -> Section:
    group_of = {material.name: material.group for material in materials()}
    rows = []
    for core in summary.per_core.to_dict("records"):
        shares = [
            percent(sum(core[name] for name in summary.materials if group_of[name] == group))
            for group in _GROUPS
        ]
        rows.append(
            (
                str(core["core_id"]),
                str(core["zone"]) or "none",
                number(core["waste_m"]),
                number(core["sampled_m"]),
                f"{core['samples']:.0f}",
                number(core["wet_mass_kg"]),
                percent(core["moisture"], absent="not measured"),
                number(core["bulk_density_t_m3"], absent="not measured"),
                *shares,
            )
        )
    waste, sampled = (document["core_tables"][key] for key in ("waste_m", "sampled_m"))
    finding = (
        f"{number(sampled)} m of {number(waste)} m of waste were sampled, "
        f"{percent(sampled / waste) if waste else 'no part'} of it."
    )
    table = Table(
        "Each core: what was sampled and found, shares of wet mass",
        (
            "Core", "Zone", "Waste [m]", "Sampled [m]", "Samples", "Sorted mass [kg]", "Moisture",
            "Density [t/m³]", "Fines", "Combustible", "Mineral", "Metal", "Hazardous",
        ),
        tuple(rows),
        text_columns=(0, 1),
        small=True,
    )  # fmt: skip
    return Section("core-list", "Core by core", "How do the cores differ?", finding, (table,))


def _logs(document: Document) -> Section:
    found = document["core_tables"]
    return Section(
        "core-logs",
        "Logs",
        "What did the driller write?",
        f"{counted(document['site']['cores'], 'core')}, {number(found['logged_m'])} m logged, "
        f"{number(found['logged_waste_m'])} m of it waste.",
        (),
    )


def _readings(cores: Cores, document: Document) -> Section:
    blocks: list[Block] = []
    if len(cores.gas):
        blocks.append(_measured(cores.gas, ["core_id", "depth_m"], READING_LABELS, "Gas readings"))
    if len(cores.lab):
        blocks.append(
            _measured(cores.lab, ["core_id", "from_m", "to_m"], LAB_LABELS, "Laboratory values")
        )
    finding = (
        f"{counted(document['core_tables']['gas_readings'], 'gas reading')} and "
        f"{counted(document['core_tables']['laboratory_samples'], 'laboratory sample')}."
    )
    return Section(
        "core-readings", "Gas and laboratory", "What was measured?", finding, tuple(blocks)
    )


def _measured(frame: pd.DataFrame, index: list[str], labels: dict[str, str], caption: str) -> Table:
    measured = [name for name in labels if name in frame and frame[name].notna().any()]
    heads = {"core_id": "Core", "depth_m": "Depth [m]", "from_m": "From [m]", "to_m": "To [m]"}
    return Table(
        caption,
        (*(heads[name] for name in index), *(labels[name] for name in measured)),
        tuple(
            (
                str(row["core_id"]),
                *(as_stated(row[name]) for name in index[1:]),
                *(_cell(row[name]) for name in measured),
            )
            for row in frame.to_dict("records")
        ),
        small=True,
    )


def _cell(value: Any) -> str:
    return number(float(value), absent="not measured")
