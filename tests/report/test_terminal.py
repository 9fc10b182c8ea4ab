"""Text for the terminal."""

from __future__ import annotations

from dataclasses import replace

from reclaim.report import check_text, cores_text, summary_text


def test_the_summary_has_the_headlines_and_what_stops_work(estimate) -> None:
    text = " ".join(summary_text(estimate).split())
    assert "net present value" in text
    assert "P10 to P90" in text
    assert "Local codes and licensed practice decide" in text
    stop, act = estimate.cautions
    assert stop.what in text
    assert act.what not in text
    assert "1 warning on the data" in text


def test_lines_fit_a_terminal_and_columns_line_up(estimate) -> None:
    lines = summary_text(estimate).splitlines()
    assert max(len(line) for line in lines) <= 100
    table = [line for line in lines if line.rstrip().endswith((" m3", " t", "EUR/t", " EUR"))]
    assert len({len(line) for line in table}) == 1


def test_summary_is_plain_for_a_plain_name(estimate) -> None:
    assert summary_text(estimate).isascii()


def test_cores_text_names_every_core_and_zone(estimate) -> None:
    text = cores_text("Marrow Fen Tip", estimate.site.cores, estimate.core_summary)
    for core_id in estimate.core_summary.per_core["core_id"]:
        assert core_id in text
    for zone in ("Zone north", "Zone south", "Whole site"):
        assert zone in text
    assert "default" not in text


def test_a_moisture_that_nobody_measured_is_called_a_default(estimate) -> None:
    summary = replace(estimate.core_summary, moisture_measured=False)
    assert "the one shown is a default" in cores_text("x", estimate.site.cores, summary)


def test_check_text_gives_the_verdict(estimate) -> None:
    text = check_text(estimate.site, estimate.excavation, estimate.checks)
    assert "can be used, with 1 warning" in text
    assert "2 zones" in text
    assert "nothing looks wrong" in check_text(estimate.site, estimate.excavation, ())
