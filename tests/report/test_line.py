"""The line in the report: limits, capacity, ways to dry, and their figures."""

from __future__ import annotations

import json
from pathlib import Path

import jsonschema
import pytest

from reclaim.report import figures
from reclaim.report.line import amount, limited, limits_of, line_document
from reclaim.report.results import finite, results
from reclaim.report.sections.plant import what_comes_out

SCHEMA = json.loads(
    (Path(__file__).parents[2] / "docs" / "estimate.schema.json").read_text(encoding="utf-8")
)


def texts(figure):
    figure.draw_without_rendering()
    found = [text.get_text() for text in figure.findobj(lambda a: hasattr(a, "get_text"))]
    return " ".join(" ".join(found).split())


def test_the_document_fits_the_schema(estimate) -> None:
    document = json.loads(json.dumps(finite(line_document(estimate))))
    jsonschema.validate(document, {**SCHEMA["properties"]["line"], "$defs": SCHEMA["$defs"]})
    assert document["limits"]
    assert [row["name"] for row in document["drying_choices"]] == ["box", "thermal", "none"]
    machines = [row["name"] for row in document["capacity"]["machines"]]
    assert machines == [machine.name for machine in estimate.site.line.machines]


def test_every_limit_has_words_and_an_amount(estimate) -> None:
    for check in limits_of(estimate):
        assert limited(check)
        assert amount(check, check.limit)[0].isdigit()
    glass = next(c for c in limits_of(estimate) if c.product == "glass" and c.limit == 25e-6)
    assert amount(glass, glass.limit) == "25\u00a0g/t"


def test_the_quality_panel_shows_every_limit_once(estimate) -> None:
    figure = figures.product_quality(estimate)
    checks = limits_of(estimate)
    (axes,) = figure.axes
    assert len(axes.get_yticks()) == len(checks)
    rows = {line.get_marker(): list(line.get_ydata()) for line in axes.lines}
    assert rows["o"] == [row for row, check in enumerate(checks) if check.passes]
    assert rows["X"] == [row for row, check in enumerate(checks) if not check.passes]


def test_the_drawing_names_every_machine_and_outlet(estimate) -> None:
    words = texts(figures.line_drawing(estimate))
    for label in figures.flow.machine_labels(estimate).values():
        if label != "Process water":
            assert label in words
    for stream in estimate.best.products.streams:
        assert stream.outlet.replace("_", " ") in words


def test_the_section_says_what_fails_and_what_would_help(estimate) -> None:
    section = what_comes_out(estimate, results(estimate))
    captions = [block.caption for block in section.blocks if block.kind == "table"]
    assert "Products against limits" in captions
    assert "What each machine must take" in captions
    assert "The same line dried in three ways, best estimate" in captions
    limits = next(
        block
        for block in section.blocks
        if getattr(block, "caption", "") == "Products against limits"
    )
    failing = [row for row in limits.rows if row[5].startswith("fails")]
    assert len(failing) == sum(not check.passes for check in limits_of(estimate))
    assert all(row[6] != "nothing needed" for row in failing)


@pytest.mark.parametrize("name", ["product_quality", "line_drawing"])
def test_figures_are_drawn_on_the_page(estimate, name) -> None:
    assert name in figures.draw_all(estimate)
