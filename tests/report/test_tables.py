"""The tables: their columns, their sums, and cells that a spreadsheet must not run."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pandas as pd
import pytest

from reclaim.hazards import HazardAssessment
from reclaim.report.results import results
from reclaim.report.tables import EMPTY_COLUMNS, tables, write_table

COLUMNS = {
    "blocks": [
        "zone",
        "lift_top_m",
        "lift_bottom_m",
        "row",
        "column",
        "x_m",
        "y_m",
        "elevation_m",
        "cover_m3",
        "waste_m3",
        "share_inside",
    ],
    "hypsometry": ["elevation_m", "dug_below_m3", "open_area_m2"],
    "parallel_sections": ["station_m", "dug_area_m2"],
    "materials": ["material", "label", "wet_fraction", "wet_fraction_p10", "wet_fraction_p90"],
    "core_composites": ["core_id", "zone", "waste_m", "sampled_m", "samples", "wet_mass_kg"],
    "core_residuals": ["core_id", "base_logged_m", "base_surface_m", "base_residual_m"],
    "zone_composites": ["zone", "material", "wet_fraction"],
    "zones_and_lifts": ["zone", "lift_top_m", "lift_bottom_m", "cover_m3", "waste_m3"],
    "products": ["product", "label", "wet_t", "wet_t_p10", "wet_t_p90", "dry_t"],
    "product_makeup": ["product", "material", "wet_t"],
    "streams": ["origin", "outlet", "target", "wet_t"],
    "cash_flow": ["year", "group", "item", "label", "amount"],
    "courses": ["course", "label", "cost", "cost_p10", "cost_p90", "npv"],
    "methane": ["year", "leave", "cap", "haul", "mine", "mine_part"],
    "schedule": ["zone", "top_m", "bottom_m", "waste_m3", "start_year", "end_year"],
    "published_cases": ["name", "place", "year", "cost_per_m3", "soil_share"],
    "published_ranges": ["key", "label", "low", "high", "unit", "currency", "price_year"],
    "drivers": ["input", "label", "npv_at_p10", "npv_at_p90", "rank_correlation"],
    "driver_groups": ["group", "label", "npv_p10", "npv_p90", "first", "first_error", "total"],
    "investigations": ["key", "label", "cost", "net", "known", "value", "error"],
    "scenarios": ["name", "npv", "p10", "p90", "chance_above_zero", "fuel_t", "reclaimed_m3"],
    "assumptions": ["key", "label", "kind", "value", "low", "high", "spread", "unit", "given"],
    "settings": ["key", "label", "value", "unit", "source", "status", "given"],
    "material_properties": ["material", "property", "low", "mode", "high", "unit", "source"],
    "machine_shares": ["kind", "outlet", "material", "low", "mode", "high", "unit", "source"],
    "machine_settings": ["machine", "kind", "setting", "value", "unit", "distribution"],
    "particle_sizes": ["material", "property", "low", "mode", "high", "unit", "source"],
    "product_limits": ["product", "specification", "quantity", "materials", "value", "low"],
    "cautions": ["key", "topic", "level", "what", "why", "do", "who_decides", "source", "status"],
    "hazard_register": ["number", "key", "topic", "level", "hazard", "raised_by", "records"],
    "trigger_levels": ["gas", "label", "unit", "direction", "level", "value"],
    "gas_summary": ["gas", "label", "unit", "zone", "core", "readings"],
    "gas_trends": ["gas", "label", "unit", "along", "rising", "falling"],
    "finds": ["key", "dig", "line", "disposal", "codes", "tests"],
    "waste_codes": ["product", "wet_t", "code", "name", "mirror_code", "tests", "tests_us"],
    "checks": ["level", "where", "what", "what_to_do"],
    "gas_readings": ["core_id", "depth_m", "ch4_pct", "co2_pct", "o2_pct", "h2s_ppm", "co_ppm"],
}


@pytest.fixture(scope="module")
def written(estimate, document, tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("tables")
    for name, rows in tables(estimate, document).items():
        write_table(folder / f"{name}.csv", rows)
    return folder


def test_the_tables_are_those_of_the_docs(written) -> None:
    docs = (Path(__file__).parents[2] / "docs" / "results.md").read_text(encoding="utf-8")
    assert {path.stem for path in written.iterdir()} == set(COLUMNS)
    for name in COLUMNS:
        assert f"`{name}.csv`" in docs


@pytest.mark.parametrize("name", COLUMNS)
def test_columns_come_in_a_fixed_order(written, name) -> None:
    frame = pd.read_csv(written / f"{name}.csv")
    assert list(frame.columns)[: len(COLUMNS[name])] == COLUMNS[name]
    assert len(frame) > 0


def test_sums_agree_with_the_results(written, document) -> None:
    materials = pd.read_csv(written / "materials.csv")
    assert materials["wet_t"].sum() == pytest.approx(document["feed"]["waste_t"]["value"])
    lifts = pd.read_csv(written / "zones_and_lifts.csv")
    assert lifts["waste_m3"].sum() == pytest.approx(document["excavation"]["waste_m3"]["value"])
    cash = pd.read_csv(written / "cash_flow.csv")
    total = sum(sum(item["by_year"]) for item in document["value"]["cash_flow"])
    assert cash["amount"].sum() == pytest.approx(total)


def test_mass_into_each_machine_comes_out_again(written) -> None:
    streams = pd.read_csv(written / "streams.csv")
    for machine in set(streams["origin"]) - {"feed"}:
        enters = streams.loc[streams["target"] == machine, "wet_t"].sum()
        leaves = streams.loc[streams["origin"] == machine, "wet_t"].sum()
        assert enters == pytest.approx(leaves, rel=1e-9)


# OWASP, CSV injection: cells that begin with = + - @, tab or carriage return. From memory.
@pytest.mark.parametrize("start", ["=1+1", "+1", "-1+2", "@SUM(A1)", "\t=1", "\r=1", " =1+1"])
def test_text_that_looks_like_a_formula_is_made_harmless(tmp_path, start) -> None:
    write_table(tmp_path / "checks.csv", [{"where": start, "amount": -4.5, "unit": "-"}])
    frame = pd.read_csv(tmp_path / "checks.csv", dtype=str, keep_default_na=False)
    assert frame.loc[0, "where"] == f"'{start}"
    assert frame.loc[0, "amount"] == "-4.5"
    assert frame.loc[0, "unit"] == "-"


def test_quotes_commas_and_line_ends_stay_in_their_cell(tmp_path) -> None:
    text = 'a "quoted", cell\nof two lines'
    write_table(tmp_path / "checks.csv", [{"what": text, "n": 1}])
    frame = pd.read_csv(tmp_path / "checks.csv")
    assert frame.loc[0, "what"] == text


def test_what_is_not_known_is_an_empty_cell(tmp_path) -> None:
    write_table(tmp_path / "checks.csv", [{"a": float("nan"), "b": None, "c": True, "d": 2}])
    assert (tmp_path / "checks.csv").read_text(encoding="utf-8-sig").splitlines()[1] == ",,yes,2"


def test_tables_without_rows_keep_their_header(estimate, tmp_path) -> None:
    cores = estimate.site.cores
    empty = replace(
        estimate,
        site=replace(estimate.site, cores=replace(cores, gas=cores.gas.iloc[:0])),
        core_summary=None,
        hazards=HazardAssessment((), ()),
        checks=(),
    )
    for name, rows in tables(empty, results(empty)).items():
        write_table(tmp_path / f"{name}.csv", rows)
    for name in ("core_composites", "zone_composites", "cautions", "checks", "gas_readings"):
        assert list(pd.read_csv(tmp_path / f"{name}.csv").columns) == list(EMPTY_COLUMNS[name])
