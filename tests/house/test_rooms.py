"""The structure of the house: which room may import which, and that every folder has its place."""

from __future__ import annotations

import ast
from dataclasses import fields, is_dataclass
from importlib import import_module
from pathlib import Path

import pytest

import reclaim

PACKAGE = Path(reclaim.__file__).parent
# Lowest first: a room imports only what stands before it.
ORDER = [
    "reference",
    "assumptions",
    "geostatistics",
    "site",
    "ground",
    "waste",
    "plant",
    "appraisal",
    "hazards",
    "uncertainty",
    "dig",
    "confidence",
    "estimate",
    "report",
    "demo",
    "portfolio",
    "ending",
    "allowances",
    "cli",
]
ROOMS = [name for name in ORDER if (PACKAGE / name).is_dir()]
SOURCES = sorted(PACKAGE.rglob("*.py"))


def room_of(path):
    return path.relative_to(PACKAGE).parts[0].removesuffix(".py")


def imported_rooms(path):
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom) and node.module and node.level == 0:
            names = [node.module]
            if node.module == "reclaim":
                names = [f"reclaim.{alias.name}" for alias in node.names]
        elif isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        else:
            continue
        for name in names:
            parts = name.split(".")
            if parts[0] == "reclaim" and len(parts) > 1:
                yield parts[1]


def test_every_folder_and_file_has_its_place() -> None:
    found = {
        entry.name.removesuffix(".py")
        for entry in PACKAGE.iterdir()
        if entry.suffix == ".py" or (entry.is_dir() and (entry / "__init__.py").exists())
    }
    assert found - set(ORDER) == {"__init__", "__main__"}


@pytest.mark.parametrize("path", SOURCES, ids=lambda path: str(path.relative_to(PACKAGE)))
def test_a_room_imports_only_rooms_before_it(path) -> None:
    room = room_of(path)
    if room in {"__init__", "__main__"}:
        return
    for other in imported_rooms(path):
        if other in ORDER:
            assert ORDER.index(other) <= ORDER.index(room), f"{path} imports {other}"


@pytest.mark.parametrize("path", SOURCES, ids=lambda path: str(path.relative_to(PACKAGE)))
def test_files_are_one_calculation_long(path) -> None:
    assert len(path.read_text(encoding="utf-8").splitlines()) <= 600


def test_there_is_no_drawer() -> None:
    for path in PACKAGE.rglob("*"):
        assert path.stem not in {"utils", "helpers", "common", "tools", "misc"}


@pytest.mark.parametrize("room", ROOMS)
def test_a_room_says_what_it_is_for(room) -> None:
    text = import_module(f"reclaim.{room}").__doc__
    assert "Comes in:" in text
    assert "Goes out:" in text
    assert "Does not do:" in text


def passed_between_rooms():
    for room in ROOMS:
        module = import_module(f"reclaim.{room}")
        for name in module.__all__:
            thing = getattr(module, name)
            if isinstance(thing, type) and is_dataclass(thing):
                yield pytest.param(thing, id=f"{room}.{name}")


@pytest.mark.parametrize("kind", list(passed_between_rooms()))
def test_what_passes_between_rooms_is_frozen_and_explained(kind) -> None:
    assert kind.__dataclass_params__.frozen
    for field in fields(kind):
        assert field.name in (kind.__doc__ or ""), f"{kind.__name__}.{field.name} is not explained"


def test_public_names_are_there() -> None:
    for name in reclaim.__all__:
        assert getattr(reclaim, name) is not None
    assert callable(reclaim.estimate)
    assert (PACKAGE / "py.typed").exists()
