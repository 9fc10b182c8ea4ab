"""The audit page names what is there, and all of it."""

from __future__ import annotations

import ast
import importlib
import inspect
import re
from pathlib import Path

import pytest

TESTS = Path(__file__).parents[1]
PAGE = (TESTS.parent / "docs" / "audit.md").read_text(encoding="utf-8")
ROOMS = ("ground", "waste", "plant", "appraisal", "hazards", "uncertainty", "geostatistics")
CODE = sorted(set(re.findall(r"`([a-z_.]+):([a-z_0-9]+)`", PAGE)))
HELD_BY = sorted(set(re.findall(r"`([a-z_/]+\.py)::(test_\w+)`", PAGE)))
COLUMNS = ["what", "formula", "source", "code", "test", "where it stops"]


def rows():
    """Rows of the tables of formulas, by column."""
    for line in PAGE.splitlines():
        cells = [cell.strip() for cell in line.strip().strip("|").split("|")]
        if len(cells) == len(COLUMNS) and cells[0] != "what" and not cells[0].startswith("---"):
            yield dict(zip(COLUMNS, cells, strict=True))


@pytest.mark.parametrize(("module", "name"), CODE)
def test_every_function_named_exists(module, name) -> None:
    found = getattr(importlib.import_module(f"reclaim.{module}"), name)
    assert inspect.isfunction(found)
    assert found.__module__ == f"reclaim.{module}"


def test_every_test_named_exists() -> None:
    for file in {file for file, _ in HELD_BY}:
        tree = ast.parse((TESTS / file).read_text(encoding="utf-8"))
        names = {node.name for node in ast.walk(tree) if isinstance(node, ast.FunctionDef)}
        missing = {name for where, name in HELD_BY if where == file} - names
        assert not missing, f"{file} has no {missing}"


@pytest.mark.parametrize("room", ROOMS)
def test_every_public_function_is_on_the_page(room) -> None:
    public = importlib.import_module(f"reclaim.{room}")
    for name in public.__all__:
        found = getattr(public, name)
        if inspect.isfunction(found):
            here = (found.__module__.removeprefix("reclaim."), name)
            assert here in CODE, f"docs/audit.md does not name {here[0]}:{name}"


def test_every_formula_has_source_code_test_and_limit() -> None:
    found = list(rows())
    assert len(found) > 60
    for row in found:
        assert all(row.values()), row
        assert re.search(r"`[a-z_.]+:\w+`", row["code"]), row["what"]
        assert "::test_" in row["test"], row["what"]
