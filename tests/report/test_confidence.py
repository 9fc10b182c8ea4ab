"""How sure: what the page says, draws and writes about it."""

from __future__ import annotations

import csv
from dataclasses import replace

import numpy as np
import pytest

from reclaim.report import figures
from reclaim.report.confidence import confidence_tables, write_draws
from reclaim.report.results import results
from reclaim.report.sections.blocks import Table
from reclaim.report.sections.confidence import how_sure


def words_of(section):
    return " ".join(
        [
            section.finding,
            *(text for b in section.blocks if b.kind == "words" for text in b.paragraphs),
        ]
    )


def tables_of(section):
    return {block.caption: block for block in section.blocks if isinstance(block, Table)}


def unchangeable(estimate):
    knowing = estimate.confidence.knowing
    nothing = replace(knowing.everything, value=0.0, error=0.0, changes_choice=0.0)
    return replace(
        estimate,
        confidence=replace(
            estimate.confidence,
            knowing=replace(knowing, everything=nothing, groups=()),
        ),
    )


def test_the_sentence_names_drivers_and_the_next_step(document) -> None:
    finding = how_sure(document).finding
    assert "Most of the spread comes from fuel price (88%)" in finding
    assert "written offers (3)" in finding
    assert "81\u202f000\u00a0EUR more than it costs" in finding


def test_investigations_are_ranked_with_cost_worth_and_net(document) -> None:
    (table,) = [t for caption, t in tables_of(how_sure(document)).items() if "find out" in caption]
    assert [row[0] for row in table.rows] == ["written offers (3)", "more cores (10)"]
    assert "±" in table.rows[0][2]


def test_where_the_choice_cannot_change_it_says_so(estimate) -> None:
    section = how_sure(results(unchangeable(estimate)))
    assert "no investigation can change that choice" in section.finding
    assert "the choice cannot change" in words_of(section)
    assert not any("find out" in caption for caption in tables_of(section))
    assert "worth_of_knowing" not in figures.draw_all(unchangeable(estimate))


def test_scenarios_and_precision_are_told(document) -> None:
    section = how_sure(document)
    assert tables_of(section)["Scenarios"].rows[0][0] == "As the site file stands"
    captions = [block.caption for block in section.blocks if block.kind == "picture"]
    assert any("asked for was" in caption for caption in captions)


def test_without_drivers_the_section_stands(estimate) -> None:
    bare = replace(
        estimate, confidence=replace(estimate.confidence, drivers=None, knowing=None, scenarios=())
    )
    section = how_sure(results(bare))
    assert "Most of the spread" not in section.finding
    names = set(figures.draw_all(bare))
    assert {"exceedance", "convergence"} <= names
    assert not {"swings", "drivers", "worth_of_knowing"} & names
    assert confidence_tables(bare, results(bare))["drivers"] == []


@pytest.mark.parametrize(
    "name", ["exceedance", "swings", "drivers", "worth_of_knowing", "convergence"]
)
def test_every_axis_has_its_unit(estimate, name) -> None:
    figure = figures.draw_all(estimate)[name]
    for axes in figure.axes:
        assert "[" in axes.get_xlabel()
        assert "[" in axes.get_ylabel() or axes.get_yticklabels()
        assert axes.get_title(loc="left")


def test_swings_start_at_the_best_estimate(estimate) -> None:
    patches = figures.swing_chart(estimate).axes[0].patches
    starts = np.concatenate([p.get_path().vertices.reshape(-1, 5, 2)[:, 0, 0] for p in patches])
    central = estimate.confidence.drivers.central
    assert len(set(starts)) == 1
    assert starts[0] == pytest.approx(central) or 1e6 * starts[0] == pytest.approx(central)


def test_joint_draws_are_written_whole(estimate, tmp_path) -> None:
    path = tmp_path / "draws.csv"
    write_draws(path, estimate)
    with path.open(encoding="utf-8-sig", newline="") as file:
        rows = list(csv.DictReader(file))
    assert len(rows) == estimate.draws.appraisal.npv.size
    assert rows[0]["draw"] == "1"
    np.testing.assert_allclose(
        [float(row["npv"]) for row in rows], estimate.draws.appraisal.npv, rtol=1e-6
    )
    fuel = estimate.site.assumptions["money.price_fuel_per_t"]
    np.testing.assert_allclose(
        [float(row[fuel.key]) for row in rows], estimate.confidence.source.of(fuel), rtol=1e-6
    )
    assert "airspace.usable" not in rows[0]
