"""The closer look at the ground on the page: what the study says, and what it leaves open."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from reclaim.ground import Restoration
from reclaim.report.maps import write_chance
from reclaim.report.results import results
from reclaim.report.sections.ground import how_much
from reclaim.report.sections.ground_study import closer_look
from reclaim.report.sitemap import site_map
from reclaim.report.tables import tables


def texts(blocks) -> str:
    return "\n".join(
        " ".join(block.paragraphs) if block.kind == "words" else block.caption for block in blocks
    )


def table(blocks, start: str):
    return next(
        block for block in blocks if block.kind == "table" and block.caption.startswith(start)
    )


def test_second_opinion_is_set_beside_the_grid(estimate, document) -> None:
    blocks = closer_look(estimate, document)
    rows = table(blocks, "Second opinion").rows
    assert [row[0].split()[0] for row in rows] == ["Grid,", "Parallel", "Parallel"]
    assert "of the stated error" in texts(blocks) or "the stated error of" in texts(blocks)


def test_an_opinion_outside_the_error_is_called_so(estimate) -> None:
    study = estimate.ground
    far = replace(study.second_opinion, prismoidal_m3=1e7)
    made = replace(estimate, ground=replace(study, second_opinion=far))
    assert "more than the stated error" in texts(closer_look(made, results(made)))


def test_without_a_shape_no_soil_is_short(estimate, document) -> None:
    blocks = closer_look(estimate, document)
    assert "No shape is asked for" in texts(blocks)
    assert not any("bring in" in row[0] for row in table(blocks, "Swell").rows)


@pytest.mark.parametrize(
    ("import_m3", "words"), [(800.0, "have to be brought in"), (0.0, "are left over")]
)
def test_soil_short_or_left_over_is_said(estimate, import_m3: float, words: str) -> None:
    study = estimate.ground
    one = np.array([import_m3])
    best = replace(study.best_soil, fill_m3=one, import_m3=one, export_m3=900 - one)
    many = np.linspace(0.9, 1.1, study.soil.fill_m3.size)
    soil = replace(
        study.soil, fill_m3=many, import_m3=import_m3 * many, export_m3=(900 - import_m3) * many
    )
    target = Restoration("flat at 12 m", 5000.0, 20.0, 0.0)
    made = replace(estimate, ground=replace(study, restoration=target, best_soil=best, soil=soil))
    text = texts(closer_look(made, results(made)))
    assert "shall be flat at 12 m" in text
    assert words in text
    assert "20" in text
    assert "are cut" in text


def test_blocks_table_adds_up(estimate, document) -> None:
    rows = tables(estimate, document)["blocks"]
    study = estimate.ground
    assert sum(row["waste_m3"] for row in rows) == pytest.approx(study.blocks.waste_m3.sum())
    assert {row["zone"] for row in rows} <= set(estimate.excavation.zones)
    curve = tables(estimate, document)["hypsometry"]
    assert curve[-1]["dug_below_m3"] == pytest.approx(study.blocks.volume_m3.sum(), rel=1e-6)


def test_chance_map_is_written_where_it_lies(estimate, tmp_path) -> None:
    import rasterio

    drawn = estimate.ground.chance
    write_chance(tmp_path / "chance.tif", estimate.site.grid, drawn)
    with rasterio.open(tmp_path / "chance.tif") as raster:
        assert raster.bounds.left == pytest.approx(drawn.west_m)
        assert raster.bounds.top == pytest.approx(drawn.north_m)
        assert raster.descriptions[0].endswith("[-]")
        np.testing.assert_allclose(raster.read(1), drawn.chance, rtol=1e-6)


def test_the_page_does_without_a_study(estimate) -> None:
    made = replace(estimate, ground=None)
    section = how_much(made, results(made))
    assert all(getattr(block, "name", "") != "chance_map" for block in section.blocks)
    assert tables(made, results(made))["blocks"] == []


def test_the_map_has_the_chances_as_a_layer_to_be_asked_for(estimate, document) -> None:
    """Every cell of the layer has the colour of its step in the key, and is clear if not known."""
    from base64 import b64decode
    from io import BytesIO

    from PIL import Image

    thickness, chance = site_map(estimate, document, ()).rasters
    assert (thickness.name, thickness.shown) == ("thickness", True)
    assert (chance.name, chance.shown) == ("chance", False)
    drawn = estimate.ground.chance
    assert f"thicker than {drawn.thicker_than_m:g} m" in chance.label
    data = b64decode(chance.source.partition(",")[2])
    cells = np.asarray(Image.open(BytesIO(data)).convert("RGBA"))
    assert cells.shape[:2] == drawn.chance.shape
    known = np.isfinite(drawn.chance)
    assert np.array_equal(cells[..., 3] == 255, known)
    limits = [float(words.split()[0]) / 100 for _, words in chance.key]
    step = np.searchsorted(limits, drawn.chance[known], side="right") - 1
    colours = np.array([[int(c[i : i + 2], 16) for i in (1, 3, 5)] for c, _ in chance.key])
    assert np.array_equal(cells[known][:, :3], colours[step])


def test_without_a_ground_study_the_map_has_no_such_layer(estimate, document) -> None:
    made = replace(estimate, ground=None)
    assert [raster.name for raster in site_map(made, document, ()).rasters] == ["thickness"]
