"""The core study on the page, in tables and figures."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import geopandas
import jsonschema
import numpy as np
import pandas as pd
import pytest
import rasterio
import shapely

from reclaim.assumptions import default_assumption
from reclaim.reference import assumption_defaults, material_names
from reclaim.report.core_study import core_study_document, core_study_tables, laboratory_rows
from reclaim.report.figures.core_study import (
    core_study_figures,
    skill_chart,
    ternary_plot,
    variogram_chart,
)
from reclaim.report.maps import write_blocks, write_vectors
from reclaim.report.results import finite, results
from reclaim.report.sections.blocks import Table
from reclaim.report.sections.core_study import core_study_section
from reclaim.site import Cores
from reclaim.site.model import Grid
from reclaim.waste import Blocks, LabFit, LabMean, core_composites, study_cores, summarise_cores

ROOT = Path(__file__).parents[2]


def core_tables(count, patterned):
    """Cores on a jittered net; with a pattern the fines fall from west to east."""
    rng = np.random.default_rng(1)
    places = rng.uniform(0, 400, (count, 2))
    names = [f"C{number:02}" for number in range(count)]
    rows = []
    for name, (x, _) in zip(names, places, strict=True):
        fines = (80 - 0.15 * x if patterned else 50.0) + rng.normal(0, 2)
        for top in (1.0, 3.0):
            masses = dict.fromkeys(material_names(), 0.0)
            masses |= {"fines": fines, "wood": 60 - fines / 2, "glass": rng.uniform(5, 15)}
            head = {"core_id": name, "from_m": top, "to_m": top + 2, "moisture": 0.3,
                    "bulk_density_t_m3": 1.1, "wet_mass_kg": sum(masses.values())}  # fmt: skip
            rows.append(head | masses)
    return Cores(
        collars=pd.DataFrame(
            {"core_id": names, "zone": "a", "x_m": places[:, 0], "y_m": places[:, 1],
             "elevation_m": 20.0, "method": "auger", "diameter_mm": 900.0}
        ),
        intervals=pd.DataFrame(
            {"core_id": names, "from_m": 1.0, "to_m": 5.0, "layer": "waste", "note": ""}
        ),
        samples=pd.DataFrame(rows),
        lab=pd.DataFrame(columns=["core_id", "from_m", "to_m"]),
        gas=pd.DataFrame(),
    )  # fmt: skip


def summary_of(count, *, patterned):
    cores = core_tables(count, patterned)
    composites = core_composites(cores)
    middle = np.arange(20.0, 400, 40)
    places = np.stack(np.meshgrid(middle, middle), axis=-1).reshape(-1, 2)
    blocks = Blocks(places, np.zeros(100, dtype=int), np.full(100, 8000.0), (40.0, 40.0))
    study = study_cores(
        cores, composites, seed=1, lift_m=3.0, years=(1961, 1987),
        outline=shapely.box(0, 0, 400, 400), blocks=blocks, zones=["a"],
    )  # fmt: skip
    assumptions = {key: default_assumption(row) for key, row in assumption_defaults().items()}
    return replace(summarise_cores(composites, assumptions, 1), study=study)


@pytest.fixture(scope="module")
def kriged():
    return summary_of(60, patterned=True)


@pytest.fixture(scope="module")
def few():
    return summary_of(8, patterned=False)


def section_of(study):
    told = finite({"core_study": core_study_document(study), "run": {"draws": 1}})
    return core_study_section(study, told)


def test_method_and_reason_stand_in_the_results(kriged, few) -> None:
    found = core_study_document(kriged.study)
    assert found["method"] == "kriging"
    assert "Kriging is used." in found["why"]
    assert found["model"]["range_m"] > 0
    assert len(found["next_cores"]) == 5
    other = core_study_document(few.study)
    assert other["method"] == "zone mean"
    assert other["model"] is None
    assert "too few" in other["why"]
    assert core_study_document(None) is None


def test_zone_mean_and_kriged_stand_side_by_side(kriged) -> None:
    table = pd.DataFrame(core_study_tables(kriged.study)["core_statistics"])
    fines = table[(table["zone"] == "a") & (table["material"] == "fines")].iloc[0]
    assert fines["used"] == "kriged"
    assert abs(fines["kriged"] - fines["mean"]) < 0.05
    shares = table[table["zone"] == "site"]
    assert shares["kriged"].sum() == pytest.approx(1)
    assert shares["mean"].sum() == pytest.approx(1)


def test_tables_without_rows_are_left_out(few, kriged) -> None:
    assert "kriged_blocks" not in core_study_tables(few.study)
    assert len(core_study_tables(kriged.study)["kriged_blocks"]) == 100
    assert core_study_tables(None) == {}


def test_the_section_says_which_method_and_how_sure(kriged, few) -> None:
    assert "kriging between the cores" in section_of(kriged.study).finding
    section = section_of(few.study)
    assert "the mean of each zone's cores" in section.finding
    words = " ".join(
        text for block in section.blocks if block.kind == "words" for text in block.paragraphs
    )
    assert "biased for tonnage" in words
    assert "Never found" in words
    for table in (block for block in section.blocks if block.kind == "table"):
        assert all(len(row) == len(table.columns) for row in table.rows)


def test_every_picture_of_the_section_is_drawn(kriged, few) -> None:
    for summary in (kriged, few):
        drawn = core_study_figures(summary)
        named = {
            block.name for block in section_of(summary.study).blocks if block.kind == "picture"
        }
        assert named - {"next_cores"} == set(drawn)


def test_pairs_stand_at_the_points_of_the_variogram(kriged) -> None:
    axes = variogram_chart(kriged.study).axes[0]
    pairs = [int(text.get_text()) for text in axes.texts]
    assert pairs == kriged.study.spatial.variogram.pairs.tolist()
    assert "[m]" in axes.get_xlabel()


def test_skill_is_drawn_only_where_there_is_a_model(kriged, few) -> None:
    axes = skill_chart(kriged.study).axes[0]
    assert len(axes.patches) == int(np.isfinite(kriged.study.spatial.skill.by_material).sum())
    with pytest.raises(ValueError, match="no model"):
        skill_chart(few.study)


def test_a_core_of_fines_alone_stands_in_its_corner(few) -> None:
    core = few.per_core.copy()
    core[list(material_names())] = 0.0
    core["fines"] = 1.0
    axes = ternary_plot(replace(few, per_core=core)).axes[0]
    marks = next(line for line in axes.lines if line.get_marker() == "o")
    np.testing.assert_allclose(marks.get_xdata(), 1)
    np.testing.assert_allclose(marks.get_ydata(), 0)


def test_every_table_stands_in_the_docs(kriged) -> None:
    docs = (ROOT / "docs" / "results.md").read_text(encoding="utf-8")
    for name in core_study_tables(kriged.study):
        assert f"`{name}.csv`" in docs


def test_the_document_is_what_the_schema_says(kriged, few) -> None:
    schema = json.loads((ROOT / "docs" / "estimate.schema.json").read_text(encoding="utf-8"))
    for study in (kriged.study, few.study, None):
        found = json.loads(json.dumps(finite({"study": core_study_document(study)})))
        part = jsonschema.Draft202012Validator(schema["properties"]["core_study"])
        assert list(part.iter_errors(found["study"])) == []


def test_next_cores_and_blocks_are_layers_of_the_map(estimate, kriged, tmp_path) -> None:
    found = replace(estimate, core_summary=kriged)
    write_vectors(tmp_path / "site.gpkg", found, results(found))
    proposed = geopandas.read_file(tmp_path / "site.gpkg", layer="next_cores")
    assert proposed["order"].tolist() == [1, 2, 3, 4, 5]
    unit = estimate.site.grid.crs_unit_m
    np.testing.assert_allclose(
        np.column_stack([proposed.geometry.x, proposed.geometry.y]) * unit,
        kriged.study.next_cores.places_m,
    )
    blocks = geopandas.read_file(tmp_path / "site.gpkg", layer="kriged_blocks")
    np.testing.assert_allclose(blocks[list(material_names())].sum(axis=1), 1)


def test_kriged_blocks_as_a_raster(kriged, tmp_path) -> None:
    # The blocks of `summary_of` are squares of 40 m from (0, 400) on; read with rasterio.
    study = kriged.study
    grid = Grid(0.0, 400.0, 10.0, 10.0, 40, 40, "EPSG:25832")
    told = SimpleNamespace(
        core_study=study,
        site=SimpleNamespace(grid=grid),
        thickness_map=SimpleNamespace(west_m=0.0, north_m=400.0),
    )
    path = tmp_path / "kriged_blocks.tif"
    write_blocks(path, told)
    with rasterio.open(path) as raster:
        assert raster.crs.to_epsg() == 25832
        assert (raster.width, raster.height) == (10, 10)
        fines = raster.read(raster.descriptions.index("fines") + 1)
        volume = raster.read(raster.descriptions.index("volume_m3") + 1)
        found = [next(raster.sample([tuple(place)]))[raster.descriptions.index("fines")]
                 for place in study.blocks.places_m]  # fmt: skip
    assert volume.sum() == pytest.approx(study.blocks.volume_m3.sum())
    expected = study.block_estimates.wet_fraction[:, material_names().index("fines")]
    np.testing.assert_allclose(found, expected, rtol=1e-6)
    assert fines[:, 0].mean() > fines[:, -1].mean()  # fines fall eastwards in `core_tables`


def test_without_a_model_there_is_no_raster(tmp_path) -> None:
    told = SimpleNamespace(core_study=None, site=SimpleNamespace(grid=None), thickness_map=None)
    write_blocks(tmp_path / "kriged_blocks.tif", told)
    assert list(tmp_path.iterdir()) == []


def test_measured_moistures_are_shown_and_tabled(kriged) -> None:
    dried = pd.DataFrame(
        {"material": ["wood"], "samples": [2], "wet_mass_kg": [40.0], "moisture": [0.45]}
    )
    study = replace(kriged.study, moistures=dried)
    assert core_study_tables(study)["material_moisture"][0]["moisture"] == 0.45
    captions = [block.caption for block in section_of(study).blocks
                if isinstance(block, Table)]  # fmt: skip
    assert any("dried one by one" in caption for caption in captions)


def test_laboratory_rows() -> None:
    fit = LabFit(LabMean("ash", 0.7, 0.01, 9), of_materials=0.72, used=0.7)
    (row,) = laboratory_rows([fit])
    assert row == {
        "quantity": "ash", "measured": 0.7, "standard_error": 0.01, "cores": 9,
        "of_materials": 0.72, "used": 0.7,
    }  # fmt: skip
