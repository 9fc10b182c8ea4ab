"""What changed between two estimates: results beside the inputs and assumptions behind them."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any, NoReturn

from reclaim.report.headlines import CHANCE_LABEL, HEADLINES
from reclaim.report.results import SCHEMA_VERSION, Document
from reclaim.report.wording import (
    NO_SPREAD,
    as_stated,
    band_of,
    best_of,
    counted,
    interval_of,
    number,
    percent,
    plain,
    with_unit,
)
from reclaim.site.problems import Check, SiteError

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

_RUN = ("version", "seed", "draws")


def read_document(path: Path) -> Document:
    """Read the results document of an earlier estimate.

    Parameters
    ----------
    path
        A results folder, or an ``estimate.json``.

    Raises
    ------
    SiteError
        Where there is none, or it was not written by this tool.
    """
    file = path / "estimate.json" if path.is_dir() else path
    try:
        document = json.loads(file.read_text(encoding="utf-8"))
    except FileNotFoundError:
        _stop(str(path), "There is no estimate.json here.", "Name a results folder.")
    except (OSError, UnicodeDecodeError, json.JSONDecodeError):
        _stop(str(file), "This file cannot be read as JSON.", "Name a results folder.")
    if not isinstance(document, dict) or "headlines" not in document:
        _stop(str(file), "This is not the result of an estimate.", "Name a results folder.")
    if document.get("schema_version") != SCHEMA_VERSION:
        _stop(
            str(file),
            f"Its schema version is {document.get('schema_version')}, not {SCHEMA_VERSION}.",
            "Run that estimate again with this version.",
        )
    return document


def compare(first: Document, second: Document) -> Document:
    """Return what differs between two results documents.

    Parameters
    ----------
    first, second
        From `read_document`; the earlier one first.

    Returns
    -------
    dict
        ``run``, ``inputs``, ``assumptions``, ``settings`` and ``cautions`` hold what differs,
        ``headlines`` every headline number of both. Each difference has ``first`` and ``second``,
        None where that estimate does not have it.
    """
    return {
        "run": _differences(_picked(first["run"]), _picked(second["run"])),
        "inputs": _differences(_hashes(first), _hashes(second)),
        "assumptions": _differences(_stated(first), _stated(second)),
        "settings": _differences(_settings(first), _settings(second)),
        "cautions": _differences(_levels(first), _levels(second)),
        "headlines": [
            {
                "key": key,
                "first": first["headlines"].get(key),
                "second": second["headlines"].get(key),
            }
            for key in [item.key for item in HEADLINES] + ["chance_npv_positive"]
        ],
    }


def comparison_text(first: Document, second: Document) -> str:
    """Return the comparison as plain text: causes first, then what they did."""
    found = compare(first, second)
    names = [" ".join(run["site"]["name"].split()) for run in (first, second)]
    lines = [f"{names[0]}, compared with {names[1]}", ""]
    lines += _causes(found, first, second)
    lines += ["", *_effects(found)]
    lines += _caution_lines(found)
    return plain("\n".join(lines))


def _causes(found: Document, first: Document, second: Document) -> list[str]:
    lines = []
    for entry in found["run"]:
        lines.append(f"  {entry['key']}: {entry['first']} -> {entry['second']}")
    for entry in found["inputs"]:
        lines.append(f"  {entry['key']}: {_change_of_file(entry)}")
    labels = {row["key"]: row for side in (first, second) for row in side["assumptions"]}
    labels |= {row["key"]: row for side in (first, second) for row in side["settings"]}
    for entry in [*found["assumptions"], *found["settings"]]:
        row = labels[entry["key"]]
        lines.append(
            f"  {entry['key']} ({row['label']}): {_words(entry['first'])} -> "
            f"{_words(entry['second'])} {'' if row['unit'] == '-' else row['unit']}".rstrip()
        )
    causes = len(lines)
    site_file = [entry for entry in found["inputs"] if entry["key"].endswith(".toml")]
    stated = found["assumptions"] or found["settings"] or found["run"]
    if site_file and stated:
        causes -= len(site_file)  # a site file changes when a number in it does
    if not causes:
        return ["Nothing differs in inputs, assumptions, seed or version."]
    verdict = (
        "One thing differs, so it explains every change below:"
        if causes == 1
        else f"{causes} things differ. To see what each did, change one at a time:"
    )
    return [verdict, *(f"  {' '.join(line.split())}" for line in lines)]


def _effects(found: Document) -> list[str]:
    rows: list[tuple[str, ...]] = [("", "first", "second", "change", "P10 to P90, first", "second")]
    labels = {item.key: item.label for item in HEADLINES}
    for entry in found["headlines"]:
        if entry["key"] == "chance_npv_positive":
            both = (entry["first"], entry["second"])
            rows.append((CHANCE_LABEL, *(percent(chance) for chance in both),
                         _points(*both), "", ""))  # fmt: skip
            continue
        if entry["first"] is None or entry["second"] is None:
            continue
        before, after = band_of(entry["first"]), band_of(entry["second"])
        rows.append(
            (
                labels[entry["key"]], best_of(before), best_of(after),
                _change(before.value, after.value, before.unit),
                _interval(before), _interval(after),
            )
        )  # fmt: skip
    widths = [max(len(plain(row[place])) for row in rows) for place in range(6)]
    return [
        "  ".join(
            plain(cell).ljust(width) if place == 0 else plain(cell).rjust(width)
            for place, (cell, width) in enumerate(zip(row, widths, strict=True))
        ).rstrip()
        for row in rows
    ]


def _interval(band: Any) -> str:
    text = interval_of(band)
    return "" if text == NO_SPREAD else text


def _change(before: float, after: float, unit: str) -> str:
    """Return a change in its own unit and, where that says something, in per cent."""
    if not (before == before and after == after):  # noqa: PLR0124 - not a number
        return "not known"
    if before == after:
        return "none"
    sign = "+" if after > before else ""
    if before == 0:
        return f"{sign}{with_unit(number(after - before, 2), unit)}"
    return f"{sign}{number(100 * (after - before) / abs(before), 2)}%"


def _points(before: float, after: float) -> str:
    if before == after:
        return "none"
    return f"{'+' if after > before else ''}{number(100 * (after - before), 2)} points"


def _caution_lines(found: Document) -> list[str]:
    if not found["cautions"]:
        return []
    lines = ["", f"{counted(len(found['cautions']), 'caution')} differ:"]
    for entry in found["cautions"]:
        lines.append(f"  {entry['key']}: {entry['first'] or 'none'} -> {entry['second'] or 'none'}")
    return lines


def _differences(first: Mapping[str, Any], second: Mapping[str, Any]) -> list[Document]:
    return [
        {"key": key, "first": first.get(key), "second": second.get(key)}
        for key in sorted({*first, *second})
        if first.get(key) != second.get(key)
    ]


def _picked(run: Document) -> Document:
    return {key: run[key] for key in _RUN}


def _hashes(document: Document) -> dict[str, str]:
    return {row["path"]: row["sha256"] for row in document["inputs"]}


def _stated(document: Document) -> dict[str, Any]:
    return {
        row["key"]: {"kind": row["kind"], "numbers": row["numbers"]}
        for row in document["assumptions"]
    }


def _settings(document: Document) -> dict[str, Any]:
    return {
        row["key"]: row["value"]
        for row in document["settings"]
        if row["key"] not in ("uncertainty.seed", "uncertainty.draws")
    }


def _levels(document: Document) -> dict[str, str]:
    return {row["key"]: row["level"] for row in document["cautions"]}


def _change_of_file(entry: Document) -> str:
    if entry["first"] is None:
        return "only in the second"
    if entry["second"] is None:
        return "only in the first"
    return f"changed ({entry['first'][:8]} -> {entry['second'][:8]})"


def _words(stated: Any) -> str:
    if stated is None:
        return "none"
    if not isinstance(stated, dict):
        return as_stated(stated)
    numbers = " / ".join(as_stated(value) for value in stated["numbers"])
    return numbers if stated["kind"] in ("fixed", "triangular") else f"{stated['kind']} {numbers}"


def _stop(where: str, what: str, what_to_do: str) -> NoReturn:
    raise SiteError([Check("error", where, what, what_to_do)])
