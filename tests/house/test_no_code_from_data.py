"""Nothing that a user hands in can run as code: what could do that is not used at all."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

import reclaim

PACKAGE = Path(reclaim.__file__).parent
SOURCES = sorted(PACKAGE.rglob("*.py"))
MODULES = frozenset({"pickle", "cPickle", "marshal", "shelve", "dill", "cloudpickle", "joblib",
                     "yaml", "code", "codeop", "runpy"})  # fmt: skip
NAMES = frozenset({"eval", "exec", "compile", "__import__"})
ATTRIBUTES = frozenset({"system", "popen", "execv", "execl", "spawnl", "read_pickle", "to_pickle",
                        "getoutput", "getstatusoutput", "mktemp"})  # fmt: skip
STARTS_A_PROCESS = frozenset({"report/pdf.py"})


def offences(text: str, place: str) -> list[str]:
    found = []
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, (ast.Import, ast.ImportFrom)):
            names = [alias.name for alias in node.names]
            if isinstance(node, ast.ImportFrom):
                names = [node.module or "", *names]
            imported = {name.partition(".")[0] for name in names}
            found += [f"imports {name}" for name in imported & MODULES]
            if "subprocess" in imported and place not in STARTS_A_PROCESS:
                found.append("imports subprocess")
        if not isinstance(node, ast.Call):
            continue
        called = node.func
        if isinstance(called, ast.Name) and called.id in NAMES:
            found.append(f"line {node.lineno} calls {called.id}")
        if isinstance(called, ast.Attribute):
            is_pattern = isinstance(called.value, ast.Name) and called.value.id == "re"
            is_frame = isinstance(called.value, ast.Name) and called.value.id in {"pd", "pandas"}
            if called.attr in ATTRIBUTES | (NAMES - {"eval"}) and not is_pattern:
                found.append(f"line {node.lineno} calls {called.attr}")
            if is_frame and called.attr == "eval":
                found.append(f"line {node.lineno} calls eval of a frame")
        for keyword in node.keywords:
            if (
                keyword.arg in {"shell", "allow_pickle"}
                and getattr(keyword.value, "value", True) is not False
            ):
                found.append(f"line {node.lineno} gives {keyword.arg}")
    return found


@pytest.mark.parametrize("path", SOURCES, ids=lambda path: path.relative_to(PACKAGE).as_posix())
def test_no_module_runs_code_from_data(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    assert offences(text, path.relative_to(PACKAGE).as_posix()) == []


@pytest.mark.parametrize(
    "text",
    [
        "import pickle", "from yaml import load", "eval('1')", "exec('1')", "os.system('a')",
        "run('a', shell=True)", "np.load(a, allow_pickle=True)", "pd.read_pickle(a)",
        "import subprocess", "pd.eval('1')",
    ],
)  # fmt: skip
def test_an_offence_is_seen(text: str) -> None:
    assert len(offences(text, "site/any.py")) == 1
