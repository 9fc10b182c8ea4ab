"""Nothing in the package runs text as code, starts a shell, or reads what can hold code."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

import reclaim

PACKAGE = Path(reclaim.__file__).parent
SOURCES = sorted(PACKAGE.rglob("*.py"))

MODULES = {"pickle", "cPickle", "cloudpickle", "dill", "marshal", "shelve", "yaml", "joblib"}
CALLS = {"eval", "exec", "compile", "__import__"}
METHODS = {
    ("os", "system"), ("os", "popen"), ("pd", "read_pickle"), ("pandas", "read_pickle"),
    ("pd", "eval"), ("pandas", "eval"), ("tempfile", "mktemp"),
    ("subprocess", "getoutput"), ("subprocess", "getstatusoutput"),
}  # fmt: skip


def offences(tree: ast.AST) -> list[str]:
    found = []
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            found += [alias.name for alias in node.names if alias.name.split(".")[0] in MODULES]
        elif isinstance(node, ast.ImportFrom) and (node.module or "").split(".")[0] in MODULES:
            found.append(str(node.module))
        elif isinstance(node, ast.Call):
            called = node.func
            if isinstance(called, ast.Name) and called.id in CALLS:
                found.append(called.id)
            if (
                isinstance(called, ast.Attribute)
                and isinstance(called.value, ast.Name)
                and (called.value.id, called.attr) in METHODS
            ):
                found.append(f"{called.value.id}.{called.attr}")
            for keyword in node.keywords:
                if (
                    keyword.arg in {"shell", "allow_pickle"}
                    and getattr(keyword.value, "value", True) is not False
                ):
                    found.append(f"{keyword.arg}=")
    return found


@pytest.mark.parametrize("path", SOURCES, ids=lambda path: str(path.relative_to(PACKAGE)))
def test_no_file_runs_text_as_code(path: Path) -> None:
    assert offences(ast.parse(path.read_text(encoding="utf-8"))) == []


@pytest.mark.parametrize(
    "text",
    [
        "import pickle", "from yaml import load", "eval('1')", "exec('1')", "os.system('a')",
        "subprocess.run('a', shell=True)", "np.load(a, allow_pickle=True)", "pd.read_pickle(a)",
    ],
)  # fmt: skip
def test_an_offence_is_seen(text: str) -> None:
    assert len(offences(ast.parse(text))) == 1
