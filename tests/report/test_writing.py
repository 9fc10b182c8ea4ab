"""The results folder appears whole or not at all."""

from __future__ import annotations

import json
import stat

import pytest

from reclaim.report import refuse_target, writing
from reclaim.report import write_results as write
from reclaim.site import SiteError


@pytest.fixture(scope="module")
def folder(estimate, tmp_path_factory):
    out = tmp_path_factory.mktemp("once") / "results"
    files = write(estimate, out)
    return out, files


@pytest.fixture
def quick(monkeypatch):
    """Leave drawings and page out, where a test is about the folder alone."""
    monkeypatch.setattr("reclaim.report.figures.draw_all", lambda _estimate: {})
    monkeypatch.setattr("reclaim.report.page.page", lambda *_args, **_options: "page")


def leftovers(out) -> list[str]:
    return [path.name for path in out.parent.iterdir() if path != out]


def test_everything_is_there(folder) -> None:
    out, files = folder
    assert all(path.is_file() for path in files)
    assert files[0] == out / "report.html"
    assert {path.name for path in out.iterdir()} == writing.OURS - {
        "cores.json",
        "report.pdf",
        "tables.xlsx",
    }
    assert sorted(files) == sorted(path for path in out.rglob("*") if path.is_file())
    assert leftovers(out) == []


def test_figures_are_pictures(folder) -> None:
    from PIL import Image

    out, _ = folder
    figures = list((out / "figures").glob("*.png"))
    assert len(figures) >= 7
    for path in figures:
        with Image.open(path) as picture:
            assert picture.format == "PNG"
            assert picture.width > 900


def test_others_may_read_the_folder_as_any_new_one(folder, tmp_path) -> None:
    out, _ = folder
    (tmp_path / "plain").mkdir()
    assert stat.S_IMODE(out.stat().st_mode) == stat.S_IMODE((tmp_path / "plain").stat().st_mode)


@pytest.mark.usefixtures("quick")
def test_an_earlier_result_is_replaced_and_the_users_files_stay(estimate, tmp_path) -> None:
    out = tmp_path / "results"
    out.mkdir()
    (out / "estimate.json").write_text("{}")
    (out / "report.html").write_text("old")
    (out / "notes.txt").write_text("mine")
    write(estimate, out)
    assert json.loads((out / "estimate.json").read_text())["site"]["name"] == "Marrow Fen Tip"
    assert (out / "report.html").read_text() != "old"
    assert (out / "notes.txt").read_text() == "mine"
    assert leftovers(out) == []


@pytest.mark.usefixtures("quick")
@pytest.mark.parametrize("error", [RuntimeError("broken"), OSError(28, "No space"), SystemExit(1)])
def test_a_failure_in_the_middle_leaves_the_earlier_result(
    estimate, tmp_path, monkeypatch, error
) -> None:
    out = tmp_path / "results"
    out.mkdir()
    (out / "estimate.json").write_text('{"old": true}')

    def fail(*_args, **_kwargs) -> None:
        raise error

    monkeypatch.setattr("reclaim.report.maps.write_vectors", fail)
    expected = SiteError if isinstance(error, OSError) else type(error)
    with pytest.raises(expected):
        write(estimate, out)
    assert (out / "estimate.json").read_text() == '{"old": true}'
    assert leftovers(out) == []


def test_a_folder_that_is_no_result_is_refused_untouched(estimate, tmp_path) -> None:
    (tmp_path / "thesis.docx").write_text("years of work")
    with pytest.raises(SiteError, match="holds no earlier result"):
        write(estimate, tmp_path)
    assert (tmp_path / "thesis.docx").read_text() == "years of work"


def test_an_empty_folder_is_taken(tmp_path) -> None:
    refuse_target(tmp_path, "out")
    assert list(tmp_path.iterdir()) == []


def test_a_file_is_refused(estimate, tmp_path) -> None:
    (tmp_path / "out").write_text("a file")
    with pytest.raises(SiteError, match="a file, not a folder"):
        write(estimate, tmp_path / "out")


def test_a_parent_that_is_a_file_is_refused(estimate, tmp_path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(SiteError, match="cannot be made"):
        write(estimate, tmp_path / "file" / "out")


def test_a_place_that_may_not_be_written_is_refused(estimate, tmp_path, monkeypatch) -> None:
    def refuse(**_kwargs) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr("reclaim.report.place.mkdtemp", refuse)
    with pytest.raises(SiteError, match="cannot be made: Permission denied"):
        write(estimate, tmp_path / "out")


@pytest.mark.usefixtures("quick")
def test_progress_is_told_in_order(estimate, tmp_path) -> None:
    told: list[str] = []
    write(estimate, tmp_path / "out", progress=told.append)
    assert told == ["figures", "report", "tables", "maps"]
