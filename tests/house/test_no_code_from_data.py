"""Nothing that a user hands in can run as code: what could do that is not used at all."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

import reclaim

PACKAGE = Path(reclaim.__file__).parent
MODULES = frozenset({"pickle", "cPickle", "marshal", "shelve", "dill", "cloudpickle", "joblib",
                     "yaml", "code", "codeop", "runpy"})  # fmt: skip
NAMES = frozenset({"eval", "exec", "compile", "__import__"})
ATTRIBUTES = frozenset({"system", "popen", "execv", "execl", "spawnl", "read_pickle", "to_pickle"})
STARTS_A_PROCESS = frozenset({"report/pdf.py"})


@pytest.mark.parametrize(
    "path", sorted(PACKAGE.rglob("*.py")), ids=lambda path: path.relative_to(PACKAGE).as_posix()
)
def test_no_module_runs_code_from_data(path: Path) -> None:
    place = path.relative_to(PACKAGE).as_posix()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, (ast.Import, ast.ImportFrom)):
            names = [alias.name for alias in node.names]
            if isinstance(node, ast.ImportFrom):
                names = [node.module or "", *names]
            imported = {name.partition(".")[0] for name in names}
            assert not imported & MODULES, f"{place} imports {imported & MODULES}"
            if "subprocess" in imported:
                assert place in STARTS_A_PROCESS
        if not isinstance(node, ast.Call):
            continue
        called = node.func
        if isinstance(called, ast.Name):
            assert called.id not in NAMES, f"{place} line {node.lineno} calls {called.id}"
        if isinstance(called, ast.Attribute):
            is_pattern = isinstance(called.value, ast.Name) and called.value.id == "re"
            assert is_pattern or called.attr not in ATTRIBUTES | (NAMES - {"eval"}), (
                f"{place} line {node.lineno} calls {called.attr}"
            )
        for keyword in node.keywords:
            if keyword.arg in {"shell", "allow_pickle"}:
                assert isinstance(keyword.value, ast.Constant)
                assert keyword.value.value is False, f"{place} line {node.lineno}"
