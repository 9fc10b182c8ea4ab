"""The command line as people use it: exit codes, messages, and what is left on disk."""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

from reclaim.cli import cli

DEMO = Path(__file__).parents[2] / "demo_site"
HEAVY = ("geopandas", "rasterio", "pandas", "scipy", "matplotlib", "shapely", "numpy", "pydantic")


@pytest.fixture(scope="module")
def demo(tmp_path_factory):
    folder = tmp_path_factory.mktemp("cli") / "demo"
    shown = CliRunner().invoke(cli, ["demo", str(folder)])
    assert shown.exit_code == 0, shown.output
    return folder


@pytest.fixture
def copy(demo, tmp_path):
    folder = tmp_path / "site"
    shutil.copytree(demo, folder)
    return folder


def run(*arguments):
    return CliRunner().invoke(cli, [str(argument) for argument in arguments])


def edit(path, old, new):
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), encoding="utf-8")


def test_help_imports_nothing_heavy():
    code = (
        "import sys\n"
        "from click.testing import CliRunner\n"
        "from reclaim.cli import cli\n"
        "assert CliRunner().invoke(cli, ['--help']).exit_code == 0\n"
        f"print([name for name in {HEAVY!r} if name in sys.modules])\n"
    )
    found = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert found.stdout.strip() == "[]"


def test_module_and_script_are_the_same():
    found = subprocess.run(
        [sys.executable, "-m", "reclaim", "--version"], capture_output=True, text=True, check=True
    )
    assert found.stdout.startswith("reclaim, version ")


def test_demo_does_not_overwrite(demo):
    shown = run("demo", demo)
    assert shown.exit_code == 2
    assert "not empty" in shown.stderr


def test_check_reports_and_writes_nothing(demo):
    before = sorted(path.name for path in demo.iterdir())
    shown = run("check", demo / "site.toml")
    assert shown.exit_code == 0, shown.output
    assert "Marrow Fen Tip" in shown.stdout
    assert sorted(path.name for path in demo.iterdir()) == before


def test_cores_alone_are_enough(copy):
    text = (copy / "site.toml").read_text(encoding="utf-8")
    names = text[text.index("[waste.names]") :].split("\n\n")[0]
    cores = text[text.index("[cores]") :].split("\n\n")[0]
    (copy / "cores.toml").write_text(f'[site]\nname = "Cores"\n\n{cores}\n\n{names}\n')
    shown = run("cores", copy / "cores.toml")
    assert shown.exit_code == 0, shown.output
    assert "Soil-like fines" in shown.stdout


def test_estimate_writes_the_result(copy, tmp_path):
    edit(copy / "site.toml", "draws = ", "draws = 50 # was ")
    out = tmp_path / "results"
    shown = run("estimate", copy / "site.toml", "--out", out)
    assert shown.exit_code == 0, shown.output
    assert str(out / "report.html") in shown.stdout
    numbers = json.loads((out / "estimate.json").read_text(encoding="utf-8"))
    assert numbers["run"]["draws"] == 50
    again = run("estimate", copy / "site.toml", "--out", out, "--quiet")
    assert again.exit_code == 0
    assert again.output == ""


def test_bad_input_leaves_the_old_result(copy, tmp_path):
    out = tmp_path / "results"
    out.mkdir()
    (out / "estimate.json").write_text("{}")
    edit(copy / "site.toml", "[footprint]", "[footprints]")
    shown = run("estimate", copy / "site.toml", "--out", out)
    assert shown.exit_code == 2
    assert "[footprints]" in shown.stderr
    assert "nothing was written" in shown.stderr
    assert (out / "estimate.json").read_text() == "{}"
    assert not shown.stdout


def test_two_surfaces_that_hold_no_waste(copy):
    text = (copy / "site.toml").read_text(encoding="utf-8")
    (copy / "site.toml").write_text(text.replace('base = "base.tif"', 'base = "survey.tif"'))
    shown = run("check", copy / "site.toml")
    assert shown.exit_code == 2
    assert "There is no waste to dig" in shown.stderr
    assert "Traceback" not in shown.output


def test_missing_site_file(tmp_path):
    shown = run("check", tmp_path / "none.toml")
    assert shown.exit_code == 2
    assert "none.toml" in shown.stderr


def test_wrong_words_are_a_users_error():
    found = subprocess.run(
        [sys.executable, "-m", "reclaim", "estimat"], capture_output=True, text=True, check=False
    )
    assert found.returncode == 2
    assert "estimat" in found.stderr
