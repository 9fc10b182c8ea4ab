"""Every test asserts something: a test that only runs code can hardly fail."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

TESTS = Path(__file__).parents[1]
FILES = sorted(TESTS.rglob("test_*.py"))
FUNCTIONS = (ast.FunctionDef, ast.AsyncFunctionDef)
HELPERS = ("assert_", "check_")
EXPECTED = {"raises", "warns"}


def called_name(call):
    match call.func:
        case ast.Name(name) | ast.Attribute(_, name):
            return name.removeprefix("_")
    return ""


def asserts_itself(function):
    for node in ast.walk(function):
        if isinstance(node, ast.Assert):
            return True
        match node:
            # `assert_allclose` and its like of numpy, pandas and shapely; `pytest.raises`.
            case ast.Call(ast.Attribute(ast.Name("pytest"), name)) if name in EXPECTED:
                return True
            case ast.Call(ast.Attribute(_, name)) if name.startswith("assert_"):
                return True
    return False


def functions_of(tree):
    return [node for node in ast.walk(tree) if isinstance(node, FUNCTIONS)]


def silent_tests(tree, helpers):
    """Return the names of tests that assert nothing, with the helpers that do assert."""
    for function in functions_of(tree):
        if function.name.startswith("test") and not asserts_itself(function):
            calls = [node for node in ast.walk(function) if isinstance(node, ast.Call)]
            if not any(called_name(call) in helpers for call in calls):
                yield function.name


def asserting_helpers(trees):
    return {
        name
        for tree in trees
        for function in functions_of(tree)
        if (name := function.name.removeprefix("_")).startswith(HELPERS)
        and asserts_itself(function)
    }


def test_every_test_asserts() -> None:
    trees = {path: ast.parse(path.read_text(encoding="utf-8")) for path in TESTS.rglob("*.py")}
    helpers = asserting_helpers(trees.values())
    silent = [
        f"{path.relative_to(TESTS)}: {name}"
        for path in FILES
        for name in silent_tests(trees[path], helpers)
    ]
    assert silent == []


@pytest.mark.parametrize(
    ("body", "silent"),
    [
        ("run()", True),
        ("check_nothing()", True),
        ("assert run()", False),
        ("check_sum(run())", False),
        ("with pytest.raises(ValueError): run()", False),
        ("np.testing.assert_allclose(run(), 1)", False),
    ],
)
def test_a_silent_test_is_seen(body, silent) -> None:
    helpers = "def check_sum(x):\n    assert x\ndef check_nothing():\n    run()\n"
    tree = ast.parse(f"{helpers}def test_it():\n    {body}\n")
    assert bool(list(silent_tests(tree, asserting_helpers([tree])))) is silent
