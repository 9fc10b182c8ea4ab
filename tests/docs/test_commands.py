"""What the docs tell people to type is typed here, in the order of each page."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import pytest
from click.testing import CliRunner

from reclaim.cli import cli

DOCS = Path(__file__).parents[2] / "docs"
BLOCK = re.compile(r"```(\w+)\n(.*?)```", re.DOTALL)


def commands_of(page):
    text = page.read_text(encoding="utf-8")
    return [
        line
        for language, block in BLOCK.findall(text)
        if language == "sh"
        for line in block.splitlines()
        if line.startswith("reclaim ")
    ]


def with_few_draws(folder):
    path = folder / "demo" / "site.toml"
    text = path.read_text(encoding="utf-8")
    assert "draws = 2000" in text
    path.write_text(text.replace("draws = 2000", "draws = 40"), encoding="utf-8")


@pytest.mark.parametrize(
    "page", [p for p in sorted(DOCS.glob("*.md")) if commands_of(p)], ids=lambda p: p.name
)
def test_commands_run(page, tmp_path, monkeypatch) -> None:
    monkeypatch.chdir(tmp_path)
    for line in commands_of(page):
        shown = CliRunner().invoke(cli, shlex.split(line)[1:])
        assert shown.exit_code == 0, f"{line}\n{shown.output}"
        if line == "reclaim demo demo":
            with_few_draws(tmp_path)


def test_the_python_tutorial_runs(tmp_path, monkeypatch, capsys) -> None:
    monkeypatch.chdir(tmp_path)
    assert CliRunner().invoke(cli, ["demo", "demo"]).exit_code == 0
    with_few_draws(tmp_path)
    text = (DOCS / "python.md").read_text(encoding="utf-8")
    blocks = [block for language, block in BLOCK.findall(text) if language == "python"]
    assert len(blocks) >= 7
    names: dict[str, object] = {}
    for block in blocks:
        exec(block, names)  # noqa: S102 - our own page
    assert "Marrow Fen Tip 17 cores" in capsys.readouterr().out
    assert (tmp_path / "results" / "report.html").is_file()


def test_every_command_stands_in_the_docs() -> None:
    text = (DOCS / "commands.md").read_text(encoding="utf-8")
    for name in cli.commands:
        assert f"## reclaim {name}\n" in text
