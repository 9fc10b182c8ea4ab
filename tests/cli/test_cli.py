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


def test_a_blank_site_is_told_what_it_lacks_and_nothing_else(tmp_path):
    shown = run("new", tmp_path / "mine")
    assert shown.exit_code == 0, shown.output
    found = run("check", tmp_path / "mine" / "site.toml")
    assert found.exit_code == 2
    assert "survey.tif" in found.stderr
    assert "Traceback" not in found.output
    assert "Unknown" not in found.output
    assert run("new", tmp_path / "mine").exit_code == 2


def test_explain_as_text_and_json():
    shown = run("explain", "plant.capacity_t_y")
    assert shown.exit_code == 0
    assert "60 000 t/y" in shown.stdout
    document = json.loads(run("explain", "plant.capacity_t_y", "--json").stdout)
    assert document[0]["default"] == 60000
    slip = run("explain", "plant.capacty_t_y")
    assert slip.exit_code == 2
    assert "Did you mean 'plant.capacity_t_y'?" in slip.stderr


def test_check_and_cores_as_json(demo, copy):
    document = json.loads(run("check", demo / "site.toml", "--json").stdout)
    assert document["waste_m3"] > 0
    assert json.loads(run("cores", demo / "site.toml", "--json").stdout)["core_composites"]
    edit(copy / "site.toml", "[footprint]", "[footprints]")
    wrong = run("check", copy / "site.toml", "--json")
    assert wrong.exit_code == 2
    assert json.loads(wrong.stdout)["checks"][0]["level"] == "error"


def test_compare_says_why(copy, tmp_path):
    edit(copy / "site.toml", "draws = ", "draws = 40 # was ")
    assert run("estimate", copy / "site.toml", "--out", tmp_path / "a", "--quiet").exit_code == 0
    edit(copy / "site.toml", "capacity_t_y = 60000", "capacity_t_y = 50000")
    second = run("estimate", copy / "site.toml", "--out", tmp_path / "b", "--json")
    assert json.loads(second.stdout)["run"]["draws"] == 40
    shown = run("compare", tmp_path / "a", tmp_path / "b")
    assert shown.exit_code == 0, shown.output
    assert "One thing differs" in shown.stdout
    assert "60 000 -> 50 000 t/y" in shown.stdout
    assert run("compare", tmp_path / "a", tmp_path / "none").exit_code == 2


def test_pdf_and_workbook_are_refused_before_the_work_where_they_cannot_be_made(
    demo, tmp_path, monkeypatch
):
    monkeypatch.setenv("PATH", "")
    monkeypatch.delenv("RECLAIM_BROWSER", raising=False)
    monkeypatch.setattr("reclaim.report.pdf._ELSEWHERE", {})
    shown = run("estimate", demo / "site.toml", "--out", tmp_path / "out", "--pdf")
    assert shown.exit_code == 2
    assert "No browser" in shown.stderr
    assert "print it to a file" in shown.stderr
    assert not (tmp_path / "out").exists()
    assert run("cores", demo / "site.toml", "--pdf").exit_code == 2


def test_help_starts_within_three_times_bare_click():
    """The best of several starts each, so that other work on the machine does not count."""
    from time import perf_counter

    def best_start(code):
        times = []
        for _ in range(5):
            began = perf_counter()
            subprocess.run([sys.executable, "-c", code], capture_output=True, check=True)
            times.append(perf_counter() - began)
        return min(times)

    bare = "import click; click.command()(lambda: None)(['--help'])"
    ours = "from reclaim.cli import cli; cli(['--help'])"
    assert best_start(ours) < 3 * best_start(bare)


def test_completion_knows_commands_and_keys():
    import os

    def completed(words, place):
        found = subprocess.run(
            [sys.executable, "-m", "reclaim"],
            env={**os.environ, "_RECLAIM_COMPLETE": "bash_complete", "COMP_WORDS": words,
                 "COMP_CWORD": place},
            capture_output=True, text=True, check=False,
        )  # fmt: skip
        return found.stdout

    assert "explain" in completed("reclaim ex", "1")
    assert "waste.moisture" in completed("reclaim explain waste.m", "2")


def test_piped_output_has_no_colour_and_no_bar(demo):
    found = subprocess.run(
        [sys.executable, "-m", "reclaim", "check", str(demo / "site.toml")],
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    assert "\x1b" not in found.stdout + found.stderr
    assert "\r" not in found.stderr


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no such signal")
def test_ctrl_c_leaves_the_earlier_result_and_130(demo, tmp_path):
    import signal
    import time

    out = tmp_path / "results"
    out.mkdir()
    (out / "estimate.json").write_text('{"old": true}')
    running = subprocess.Popen(
        [sys.executable, "-m", "reclaim", "estimate", str(demo / "site.toml"), "--out", str(out)],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip
    time.sleep(2.5)
    running.send_signal(signal.SIGINT)
    _, told = running.communicate(timeout=60)
    assert running.returncode == 130
    assert "Stopped; nothing half-done was left." in told
    assert (out / "estimate.json").read_text() == '{"old": true}'
    assert [path.name for path in tmp_path.iterdir()] == ["results"]


def test_hostile_names_do_not_steer_the_terminal(copy):
    edit(copy / "site.toml", 'name = "Marrow Fen Tip"', 'name = "\\u001b[31mRed\\u202etfel"')
    shown = run("check", copy / "site.toml")
    assert shown.exit_code == 0, shown.output
    assert "\x1b" not in shown.output
    assert "\u202e" not in shown.output
