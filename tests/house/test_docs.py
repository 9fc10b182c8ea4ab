"""The docs say what is true: generated tables are fresh, links lead somewhere, commands exist."""

from __future__ import annotations

import re
import runpy
import tomllib
from pathlib import Path

import pytest

from reclaim.cli import cli

ROOT = Path(__file__).parents[2]
PAGES = sorted([*ROOT.glob("*.md"), *(ROOT / "docs").glob("*.md")])


@pytest.mark.parametrize("page", PAGES, ids=lambda path: path.name)
def test_generated_tables_are_fresh(page) -> None:
    text = page.read_text(encoding="utf-8")
    with_tables = runpy.run_path(str(ROOT / "docs" / "make_tables.py"))["with_tables"]
    assert with_tables(text) == text, "run: python docs/make_tables.py"


@pytest.mark.parametrize("page", PAGES, ids=lambda path: path.name)
def test_links_lead_to_files(page) -> None:
    for target in re.findall(r"\]\(([^)#]+)", page.read_text(encoding="utf-8")):
        if "://" not in target:
            assert (page.parent / target).exists(), target


def test_readme_names_every_command() -> None:
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    for name in cli.commands:
        assert f"`reclaim {name} " in text


def test_every_command_has_help_with_an_example() -> None:
    for name, command in cli.commands.items():
        assert "Example:" in command.help, name


def test_version_stands_once() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    assert project["tool"]["hatch"]["version"]["path"] == "reclaim/__init__.py"
    assert "version" in project["project"]["dynamic"]


def test_developers_map_names_every_room() -> None:
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    for room in (ROOT / "reclaim").iterdir():
        if (room / "__init__.py").exists() and room.is_dir():
            assert f"`{room.name}/`" in text


def test_nothing_names_a_path_of_a_machine() -> None:
    for path in [*ROOT.glob("*.md"), *(ROOT / "docs").iterdir(), *(ROOT / "reclaim").rglob("*.py")]:
        if path.is_file():
            text = path.read_text(encoding="utf-8")
            assert not re.search(r"/(root|home|work|Users)/", text), path
