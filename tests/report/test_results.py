"""The results document: its schema, its docs, and that it says what the estimate says."""

from __future__ import annotations

import json
from copy import deepcopy
from dataclasses import replace
from math import isfinite
from pathlib import Path
from typing import Any

import jsonschema
import numpy as np
import pytest

from reclaim.report.results import as_json, results

DOCS = Path(__file__).parents[2] / "docs"


@pytest.fixture(scope="module")
def schema() -> dict[str, Any]:
    return json.loads((DOCS / "estimate.schema.json").read_text(encoding="utf-8"))


def test_the_schema_is_one(schema) -> None:
    of_schemas = jsonschema.Draft202012Validator(jsonschema.Draft202012Validator.META_SCHEMA)
    assert list(of_schemas.iter_errors(schema)) == []


def test_a_real_document_fits_the_schema(schema, document) -> None:
    errors = jsonschema.Draft202012Validator(schema).iter_errors(json.loads(as_json(document)))
    assert list(errors) == []


@pytest.mark.parametrize("path", [("headlines", "npv"), ("excavation", "waste_m3"), ("run",)])
def test_the_schema_misses_what_is_left_out(schema, document, path) -> None:
    broken = deepcopy(document)
    part = broken
    for key in path[:-1]:
        part = part[key]
    del part[path[-1]]
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(broken, schema)


def test_the_schema_refuses_keys_it_does_not_know(schema, document) -> None:
    broken = deepcopy(document)
    broken["feed"]["waste_tonnes"] = 1.0
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(broken, schema)


def test_every_key_of_the_schema_is_explained(schema) -> None:
    text = (DOCS / "results.md").read_text(encoding="utf-8")
    for key in schema["properties"]:
        assert f"`{key}`" in text
    for section in ("excavation", "feed", "drying", "airspace", "value", "balance", "run"):
        for key in schema["properties"][section]["properties"]:
            assert f"`{key}`" in text, f"{section}.{key} is not in results.md"


def test_the_same_estimate_gives_the_same_text(make) -> None:
    first, second = results(make()), results(make())
    first.pop("run")
    second.pop("run")
    assert as_json(first) == as_json(second)


def test_keys_are_sorted_and_no_path_leaves_the_site_folder(document) -> None:
    text = as_json(document)
    assert "/somewhere/private" not in text
    assert list(json.loads(text)) == sorted(document)


def test_what_is_not_a_number_is_null(document) -> None:
    assert document["value"]["irr"]["value"] is None
    assert document["value"]["breakeven"]["money.price_fuel_per_t"] is None

    def walk(part: Any) -> None:
        if isinstance(part, dict):
            for value in part.values():
                walk(value)
        elif isinstance(part, list):
            for value in part:
                walk(value)
        elif isinstance(part, float):
            assert isfinite(part)

    walk(document)


def test_bands_come_from_best_and_draws(estimate, document) -> None:
    waste = document["excavation"]["waste_m3"]
    draws = estimate.draws.volumes.waste_m3
    assert waste["value"] == pytest.approx(estimate.excavation.waste_m3.sum(), rel=1e-12)
    # The share of draws below P10 and above P90 is a tenth each, by definition.
    assert np.mean(draws < waste["low"]) == pytest.approx(0.1, abs=0.006)
    assert np.mean(draws > waste["high"]) == pytest.approx(0.1, abs=0.006)


def test_sums_add_up(document) -> None:
    feed, dig = document["feed"], document["excavation"]
    assert sum(row["wet_t"]["value"] for row in feed["materials"]) == pytest.approx(
        feed["waste_t"]["value"], rel=1e-9
    )
    assert sum(row["wet_fraction"]["value"] for row in feed["materials"]) == pytest.approx(1)
    assert sum(lift["waste_m3"] for lift in dig["lifts"]) == pytest.approx(
        dig["waste_m3"]["value"], rel=1e-9
    )
    assert sum(zone["waste_m3"]["value"] for zone in dig["zones"]) == pytest.approx(
        dig["waste_m3"]["value"], rel=1e-9
    )
    for product in document["products"]:
        assert sum(product["materials"].values()) == pytest.approx(
            product["wet_t"]["value"], rel=1e-9, abs=1e-9
        )


def test_the_range_of_a_sum_is_no_sum_of_ranges(estimate, document) -> None:
    made = estimate.draws.products
    both = made.wet_t("ferrous") + made.wet_t("nonferrous")
    assert document["headlines"]["metals_t"]["low"] == pytest.approx(np.quantile(both, 0.1))


def test_fuel_class_is_that_of_the_standard(document) -> None:
    # ISO 21640:2021, table 1: NCV 11.9 MJ/kg is class 4 (>= 10), chlorine 0.8 % class 3 (<= 1.0),
    # mercury 0.03 mg/MJ class 2 (<= 0.03).
    fuel = next(row for row in document["products"] if row["name"] == "fuel")
    assert fuel["fuel_class"] == "NCV 4; Cl 3; Hg 2"
    assert all(row["fuel_class"] is None for row in document["products"] if row is not fuel)


def test_purity_is_what_the_product_is_named_after(document) -> None:
    glass = next(row for row in document["products"] if row["name"] == "glass")
    assert glass["purity"] == pytest.approx(glass["materials"]["glass"] / glass["wet_t"]["value"])
    residue = next(row for row in document["products"] if row["name"] == "residue")
    assert residue["purity"] is None


def test_a_site_without_cores_has_no_composites(estimate) -> None:
    assert results(replace(estimate, core_summary=None))["core_composites"] == []


def test_limits_are_no_settings_of_the_user(document) -> None:
    keys = [row["key"] for row in document["settings"]]
    assert "excavation.lift_m" in keys
    assert not [key for key in keys if key.startswith("limits.")]
