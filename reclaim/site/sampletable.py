"""The sample table, wide or long: sorted wet mass by material, in reference names."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from reclaim.reference import material_names
from reclaim.site.coretables import (
    CORE,
    FROM,
    ROW,
    TO,
    CellRule,
    check_from_to,
    depth_rules,
    range_rule,
    to_frame,
)
from reclaim.site.problems import Findings
from reclaim.site.settings import limit, limits
from reclaim.site.spelling import nearest, suggestion
from reclaim.site.spreadsheet import Column, Sheet, matched_headers
from reclaim.site.tablewords import plain

if TYPE_CHECKING:
    from collections.abc import Mapping

    import pandas as pd


WET_MASS = Column("wet_mass_kg", required=True)
MOISTURE, DENSITY = Column("moisture"), Column("bulk_density_t_m3")
DRY_MASS, RECOVERY = Column("dry_mass_kg"), Column("recovery")
SAMPLE_MASS = Column("sample_mass_kg")
MATERIAL = Column("material", is_number=False, required=True)
_NOT_MATERIALS = ("note", "notes", "remark", "remarks", "comment", "sample_id", "sampled_on")
_SAMPLE = ["core_id", "from_m", "to_m"]


def read_samples(
    sheet: Sheet, unit: str, names: Mapping[str, str], findings: Findings
) -> pd.DataFrame | None:
    """Read the samples with one column per material, every material present.

    Parameters
    ----------
    sheet
        The table.
    unit
        Vertical unit of the depths.
    names
        The laboratory's words for materials, to reference names.
    findings
        Takes every problem of the table.

    Returns
    -------
    DataFrame or None
        core_id, from_m, to_m, wet_mass_kg, moisture, bulk_density_t_m3, dry_mass_kg, recovery,
        the materials [kg] and the row of the file (of its first row in long form). None where the
        table has no such columns.
    """
    read = _read_long if _is_long(sheet) else _read_wide
    frame = read(sheet, unit, _words(names), findings)
    if frame is not None:
        check_from_to(frame, sheet.written, findings)
        _check_dry_masses(frame, sheet.written, findings)
        _check_recovery(frame, sheet.written, findings)
    return frame


def _is_long(sheet: Sheet) -> bool:
    """Tell whether a table has one row per material."""
    return any(sheet.words.column(header) == MATERIAL.name for header in sheet.headers)


def _words(names: Mapping[str, str]) -> dict[str, str]:
    """Return our material by every word that names it, in plain form."""
    words = {plain(word): material for word, material in names.items()}
    return words | {name: name for name in material_names()}


def _rules(unit: str) -> tuple[CellRule, ...]:
    mass = range_rule("wet_mass_kg", *limits("mass_kg"), "kg")
    density = CellRule(
        "bulk_density_t_m3",
        *limits("bulk_density_t_m3"),
        "t/m3 is no bulk density of waste in the ground",
        "If it is kg/m3, divide it by 1000.",
    )
    moisture = CellRule(
        "moisture",
        *limits("moisture"),
        "is no share of water in wet waste",
        "If it is per cent, divide it by 100.",
    )
    dry = range_rule("dry_mass_kg", *limits("mass_kg"), "kg")
    whole = range_rule("sample_mass_kg", *limits("mass_kg"), "kg")
    recovery = CellRule(
        "recovery",
        *limits("recovery"),
        "is no share of the drilled length that came up",
        "If it is per cent, divide it by 100.",
    )
    return (*depth_rules(unit), mass, moisture, density, dry, whole, recovery)


def _read_wide(
    sheet: Sheet, unit: str, words: Mapping[str, str], findings: Findings
) -> pd.DataFrame | None:
    known = (CORE, FROM, TO, WET_MASS, MOISTURE, DENSITY, DRY_MASS, RECOVERY)
    headers = matched_headers(sheet, known, findings, others_allowed=False)
    names = [column.name for column in known]
    by_header: dict[str, str] = {}
    for header in sheet.headers:
        if not header or sheet.words.column(header) in names:
            continue
        own = sheet.words.column(header)
        if own in words:
            by_header[header] = words[own]
        elif plain(header) in words:
            by_header[header] = words[plain(header)]
        elif plain(header) in _NOT_MATERIALS or (headers is None and nearest(header, names)):
            continue  # already told as a misspelt column
        else:
            findings.error(
                f"{sheet.written} row 1, column {header}",
                f"There is no material '{header}'.",
                f"{suggestion(header, material_names())} "
                "Map the laboratory's words in [waste.names].",
            )
    if headers is None:
        return None
    if not by_header:
        findings.error(
            f"{sheet.written} row 1",
            "The table has no column of a material.",
            "Add a column of sorted wet mass [kg] per material, or the columns 'material' and "
            "'wet_mass_kg'.",
        )
        return None
    columns = [*known, *(Column(header) for header in by_header)]
    mass = limits("mass_kg")
    rules = [*_rules(unit), *(range_rule(header, *mass, "kg") for header in by_header)]
    found = {**headers, **{name: name for name in by_header}}
    weighed = dict.fromkeys(by_header, WET_MASS.name)
    frame = to_frame(sheet, columns, found, rules, findings, weighed)
    masses = {name: np.zeros(len(frame)) for name in material_names()}
    for header, material in by_header.items():
        masses[material] += frame[header].fillna(0).to_numpy()
    frame = frame.drop(columns=list(by_header)).assign(**masses)
    _check_sums(frame, sheet.written, findings)
    return frame


def _read_long(
    sheet: Sheet, unit: str, words: Mapping[str, str], findings: Findings
) -> pd.DataFrame | None:
    frame = _long_rows(sheet, unit, words, findings)
    if frame is None:
        return None
    pivoted = _pivoted(frame)
    _check_sums(
        pivoted.assign(wet_mass_kg=pivoted[SAMPLE_MASS.name]).dropna(subset="wet_mass_kg"),
        sheet.written,
        findings,
    )
    return pivoted.drop(columns=SAMPLE_MASS.name)


def moisture_by_material(sheet: Sheet, unit: str, names: Mapping[str, str]) -> pd.DataFrame | None:
    """Return the moistures that were measured material by material; None where none were.

    Only a table in long form can hold them, as moisture or as dry mass in the row of a material.
    A sample whose rows all have one moisture was measured as a whole and is left out. What is
    wrong with the table is told by `read_samples`.

    Returns
    -------
    DataFrame or None
        core_id, from_m, to_m, material, wet_mass_kg, moisture and the row of the file.
    """
    if not _is_long(sheet):
        return None
    frame = _long_rows(sheet, unit, _words(names), Findings())
    if frame is None:
        return None
    wet = frame["wet_mass_kg"]
    by_mass = (1 - frame["dry_mass_kg"] / wet).where(wet > 0).clip(lower=0)
    frame = frame.assign(moisture=frame["moisture"].fillna(by_mass))
    frame = frame[frame["moisture"].notna()]
    differs = frame.groupby(_SAMPLE)["moisture"].transform("nunique") > 1
    columns = [*_SAMPLE, "material", "wet_mass_kg", "moisture", ROW]
    return frame.loc[differs, columns] if differs.any() else None


def _long_rows(
    sheet: Sheet, unit: str, words: Mapping[str, str], findings: Findings
) -> pd.DataFrame | None:
    """Return the rows of a table in long form that have a material and depths."""
    columns = (
        CORE, FROM, TO, MATERIAL, WET_MASS, MOISTURE, DENSITY, DRY_MASS, RECOVERY, SAMPLE_MASS
    )  # fmt: skip
    headers = matched_headers(sheet, columns, findings, others_allowed=True)
    if headers is None:
        return None
    frame = to_frame(sheet, columns, headers, _rules(unit), findings)
    unknown = frame[~frame["material"].map(plain).isin(words) & (frame["material"] != "")]
    for row, word in zip(unknown[ROW], unknown["material"], strict=True):
        findings.error(
            f"{sheet.written} row {row}, column material",
            f"There is no material '{word}'.",
            f"{suggestion(word, material_names())} Map the laboratory's words in [waste.names].",
        )
    frame["material"] = frame["material"].map(lambda word: words.get(plain(word), ""))
    frame = frame[(frame["material"] != "") & frame[["from_m", "to_m"]].notna().all(axis=1)]
    repeated = frame[frame.duplicated([*_SAMPLE, "material"])]
    for row, material in zip(repeated[ROW], repeated["material"], strict=True):
        findings.warn(
            f"{sheet.written} row {row}",
            f"The sample has '{material}' more than once.",
            "The masses were added; check that the row is no copy.",
        )
    return frame


def _pivoted(frame: pd.DataFrame) -> pd.DataFrame:
    """Return one row per sample from one row per sample and material.

    Moisture and density of a sample are means over the rows that have them, moisture weighted by
    mass.
    """
    samples = frame.groupby(_SAMPLE, sort=False)
    measured = frame["moisture"].notna()
    water = (frame["moisture"] * frame["wet_mass_kg"]).groupby([frame[key] for key in _SAMPLE])
    weight = frame["wet_mass_kg"].where(measured).groupby([frame[key] for key in _SAMPLE])
    mass = weight.sum(min_count=1)
    result = samples.agg(
        **{
            ROW: (ROW, "first"),
            "wet_mass_kg": ("wet_mass_kg", "sum"),
            "bulk_density_t_m3": ("bulk_density_t_m3", "mean"),
            "recovery": ("recovery", "mean"),
            "sample_mass_kg": ("sample_mass_kg", "max"),
        }
    )
    result["moisture"] = water.sum(min_count=1) / mass.where(mass > 0)
    dried = frame["dry_mass_kg"].groupby([frame[key] for key in _SAMPLE])
    all_dried = frame["dry_mass_kg"].notna().groupby([frame[key] for key in _SAMPLE]).all()
    result["dry_mass_kg"] = dried.sum().where(all_dried)
    by_material = frame.pivot_table(
        index=_SAMPLE, columns="material", values="wet_mass_kg", aggfunc="sum", fill_value=0.0
    )
    for material in material_names():
        result[material] = by_material.get(material, 0.0)
    return result.reset_index()


def _check_sums(frame: pd.DataFrame, written: str, findings: Findings) -> None:
    """Check that the sorted masses add up to the mass of the sample."""
    sorted_kg = frame[list(material_names())].sum(axis=1)
    for row, total, mass in zip(frame[ROW], sorted_kg, frame["wet_mass_kg"], strict=True):
        if not mass >= 0:
            continue
        where = f"{written} row {row}"
        if mass == 0:
            findings.error(where, "The sample has no mass.", "Enter its wet mass, or remove it.")
            continue
        misfit = total / mass - 1
        told = f"The sorted masses add up to {total:.4g} kg, the sample has {mass:.4g} kg"
        share = f"({100 * misfit:+.1f} %)."
        if abs(misfit) > limit("sum_error"):
            is_share = abs(total - 1) <= limit("sum_warning")
            is_percent = abs(total / 100 - 1) <= limit("sum_warning")
            findings.error(
                where,
                f"{told} {share}",
                "They look like "
                + ("fractions" if is_share else "per cent")
                + "; enter the mass of each material in kg."
                if is_share or is_percent
                else "Correct the masses; is a material or the unsorted rest missing?",
            )
        elif abs(misfit) > limit("sum_warning"):
            findings.warn(
                where,
                f"{told} {share}",
                "Shares are taken of the sorted sum; look for losses while sorting.",
            )


def _check_dry_masses(frame: pd.DataFrame, written: str, findings: Findings) -> None:
    """Hold dry mass against wet mass and moisture, and fill in the moisture that they give."""
    wet, dry = frame["wet_mass_kg"], frame["dry_mass_kg"]
    given = frame["moisture"].copy()
    by_mass = (1 - dry / wet).where(wet > 0)
    for row, own, dried, stated, found in zip(frame[ROW], wet, dry, given, by_mass, strict=True):
        if dried > own:
            findings.error(
                f"{written} row {row}",
                f"The dry mass of {dried:g} kg is more than the wet mass of {own:g} kg.",
                "Are the columns swapped, or is the wet mass of another portion?",
            )
        elif abs(stated - found) > limit("moisture_misfit"):
            findings.warn(
                f"{written} row {row}",
                f"The moisture is given as {stated:.2f}; wet and dry mass make it {found:.2f} of "
                f"the wet mass, or {found / (1 - found):.2f} of the dry mass.",
                "The one given was used; moisture here is water over wet mass.",
            )
    frame["moisture"] = given.fillna(by_mass.clip(lower=0))


def _check_recovery(frame: pd.DataFrame, written: str, findings: Findings) -> None:
    """Warn of samples of which much of the drilled length was lost, or more came up than that."""
    low = frame[frame["recovery"] < limit("low_recovery")]
    high = frame[frame["recovery"] > 1 + limit("sum_error")]
    for row, core, share in zip(low[ROW], low["core_id"], low["recovery"], strict=True):
        findings.warn(
            f"{written} row {row}",
            f"Only {100 * share:.0f} % of the sample of core '{core}' came up.",
            "What was lost may differ from what was found; coarse pieces block the barrel.",
        )
    for row, core, share in zip(high[ROW], high["core_id"], high["recovery"], strict=True):
        findings.warn(
            f"{written} row {row}",
            f"{100 * share:.0f} % of the sample of core '{core}' came up, more than was drilled.",
            "Check for ground that fell in from above.",
        )
