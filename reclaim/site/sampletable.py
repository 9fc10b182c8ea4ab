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
from reclaim.site.settings import limit, limits
from reclaim.site.spelling import nearest, suggestion
from reclaim.site.spreadsheet import Column, Sheet, matched_headers, plain, read_sheet

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    import pandas as pd

    from reclaim.site.problems import Findings

WET_MASS = Column("wet_mass_kg", required=True)
MOISTURE, DENSITY = Column("moisture"), Column("bulk_density_t_m3")
MATERIAL = Column("material", is_number=False, required=True)
_NOT_MATERIALS = ("note", "notes", "remark", "remarks", "comment", "sample_id", "sampled_on")
_SAMPLE = ["core_id", "from_m", "to_m"]


def read_samples(
    path: Path, written: str, unit: str, names: Mapping[str, str], findings: Findings
) -> pd.DataFrame | None:
    """Read the samples with one column per material, every material present.

    Parameters
    ----------
    path, written
        The table, and its path as written in the site file.
    unit
        Vertical unit of the depths.
    names
        The laboratory's words for materials, to reference names.
    findings
        Takes every problem of the table.

    Returns
    -------
    DataFrame or None
        core_id, from_m, to_m, wet_mass_kg, moisture, bulk_density_t_m3, the materials [kg] and
        the row of the file (of its first row in long form). None where the table has no such
        columns.
    """
    sheet = read_sheet(path, written, findings)
    if sheet is None:
        return None
    words = {plain(word): material for word, material in names.items()}
    words.update({name: name for name in material_names()})
    is_long = any(plain(header) == MATERIAL.name for header in sheet.headers)
    read = _read_long if is_long else _read_wide
    frame = read(sheet, unit, words, findings)
    if frame is not None:
        check_from_to(frame, written, findings)
    return frame


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
    return (*depth_rules(unit), mass, moisture, density)


def _read_wide(
    sheet: Sheet, unit: str, words: Mapping[str, str], findings: Findings
) -> pd.DataFrame | None:
    known = (CORE, FROM, TO, WET_MASS, MOISTURE, DENSITY)
    headers = matched_headers(sheet, known, findings, others_allowed=False)
    names = [column.name for column in known]
    by_header: dict[str, str] = {}
    for header in sheet.headers:
        if not header or plain(header) in names:
            continue
        if plain(header) in words:
            by_header[header] = words[plain(header)]
        elif plain(header) in _NOT_MATERIALS or (headers is None and nearest(header, names)):
            continue  # already told as a misspelt column
        else:
            findings.error(
                f"{sheet.written} row 1, column {header}",
                f"There is no material '{header}'.",
                f"{suggestion(header, words)} Map the laboratory's words in [waste.names].",
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
    frame = to_frame(
        sheet, columns, {**headers, **{name: name for name in by_header}}, rules, findings
    )
    masses = {name: np.zeros(len(frame)) for name in material_names()}
    for header, material in by_header.items():
        masses[material] += frame[header].fillna(0).to_numpy()
    frame = frame.drop(columns=list(by_header)).assign(**masses)
    _check_sums(frame, sheet.written, findings)
    return frame


def _read_long(
    sheet: Sheet, unit: str, words: Mapping[str, str], findings: Findings
) -> pd.DataFrame | None:
    columns = (CORE, FROM, TO, MATERIAL, WET_MASS, MOISTURE, DENSITY)
    headers = matched_headers(sheet, columns, findings, others_allowed=True)
    if headers is None:
        return None
    frame = to_frame(sheet, columns, headers, _rules(unit), findings)
    unknown = frame[~frame["material"].map(plain).isin(words) & (frame["material"] != "")]
    for row, word in zip(unknown[ROW], unknown["material"], strict=True):
        findings.error(
            f"{sheet.written} row {row}, column material",
            f"There is no material '{word}'.",
            f"{suggestion(word, words)} Map the laboratory's words in [waste.names].",
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
    return _pivoted(frame)


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
        }
    )
    result["moisture"] = water.sum(min_count=1) / mass.where(mass > 0)
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
