"""No spoiled file ends in a traceback or without advice; harmless changes change nothing.

The generator is seeded, so that a case found once is found again.
"""

from __future__ import annotations

import json
import os
from collections import Counter
from pathlib import Path

import numpy as np
import pytest
from formats import outcome

FORMS = (
    "collars", "intervals", "samples", "lab", "gas", "water", "sizes", "site", "plant", "workbook",
    "AGS4", "limits", "words", "GeoJSON", "receptors", "GeoPackage", "shapefile",
    "shapefile index", "shapefile table", "contours", "GeoTIFF", "GeoTIFF packed", "ASCII grid",
    "points", "LandXML", "LAS", "LAZ",
)  # fmt: skip
FEW, MANY = 14, 800


def prepared(form, folder):
    for name, data in form.beside.items():
        (folder / name).write_bytes(data)
    return outcome(form, form.data, folder)


def spoiled(form, folder, count, seed):
    """Yield name, number and outcome of `count` damages of a file."""
    for number in range(count):
        rng = np.random.default_rng([seed, number])
        change = form.damaging[number % len(form.damaging)]
        for name, data in form.beside.items():
            (folder / name).write_bytes(data)
        data = change(form.data, rng)
        yield change.__name__, number, outcome(form, data, folder)


def test_every_form_is_fuzzed(forms) -> None:
    assert set(forms) == set(FORMS)


@pytest.mark.parametrize("name", FORMS)
def test_harmless_changes_read_as_before(forms, tmp_path, name) -> None:
    form = forms[name]
    before = prepared(form, tmp_path)
    assert before.kind in {"read", "warned"}, before.messages
    for number, change in enumerate(form.harmless):
        for seed in range(3):
            rng = np.random.default_rng([seed, number])
            after = outcome(form, change(form.data, rng), tmp_path)
            assert after.kind == before.kind, (change.__name__, after.messages)
            assert after.value == before.value, change.__name__


@pytest.mark.parametrize("name", FORMS)
def test_damage_is_told_and_never_a_traceback(forms, tmp_path, name) -> None:
    form = forms[name]
    prepared(form, tmp_path)
    for change, number, found in spoiled(form, tmp_path, FEW, seed=1):
        assert found.kind != "crashed", f"{change} {number}: {found.messages}"


@pytest.mark.slow
@pytest.mark.parametrize("name", FORMS)
def test_much_damage_is_told_and_never_a_traceback(forms, tmp_path, name) -> None:
    """Writes its counts to the file that FUZZ_COUNTS names."""
    form = forms[name]
    before = prepared(form, tmp_path)
    counts: Counter[str] = Counter()
    crashes: dict[str, str] = {}
    for change, number, found in spoiled(form, tmp_path, MANY, seed=2):
        same = found.value == before.value
        kind = {"read": "same" if same else "other data"}.get(found.kind, found.kind)
        counts[kind] += 1
        if found.kind == "crashed":
            crashes.setdefault(found.messages[0][:120], f"{change} {number}")
    if "FUZZ_COUNTS" in os.environ:
        with Path(os.environ["FUZZ_COUNTS"]).open("a", encoding="utf-8") as file:
            file.write(json.dumps({"form": name, **counts, "crashes": crashes}) + "\n")
    assert sum(counts.values()) == MANY
    assert not crashes
