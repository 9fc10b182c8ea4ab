"""Three readers, one list of sections: what each layout shows comes from the same parts."""

from __future__ import annotations

import re
from base64 import b64encode
from hashlib import sha256

import pytest

from reclaim.report.figures import draw_all
from reclaim.report.layouts import layouts
from reclaim.report.page import Image, page
from reclaim.report.results import results
from reclaim.report.sections import all_sections
from reclaim.report.sections.blocks import Picture, Table
from reclaim.report.sections.cores import core_sections


@pytest.fixture(scope="module")
def parts(demo_estimate):
    document = results(demo_estimate)
    return document, (
        *all_sections(demo_estimate, document),
        *core_sections(
            demo_estimate.site.cores, demo_estimate.core_summary, results(demo_estimate)
        ),
    )


@pytest.fixture(scope="module")
def pages(demo_estimate, parts):
    images = dict.fromkeys(draw_all(demo_estimate), Image("data:image/png;base64,AAAA", 40.0))
    return {name: page(demo_estimate, parts[0], images, layout=name) for name in layouts()}


def test_every_named_part_exists(parts) -> None:
    known = {section.id: section for section in parts[1]}
    for layout in layouts().values():
        for pick in layout.sections:
            assert pick.id in known, f"{layout.name} names {pick.id}"
            names = [
                block.name if isinstance(block, Picture) else block.caption
                for block in known[pick.id].blocks
                if isinstance(block, Picture | Table)
            ]
            for start in pick.keep or ():
                assert any(name.startswith(start) for name in names), f"{pick.id}: {start}"


def test_the_consultant_gets_everything_but_the_cores_twice(parts, pages) -> None:
    for section in parts[1]:
        assert (f'id="{section.id}"' in pages["consultant"]) != section.id.startswith("core")


def test_no_reader_goes_without_the_cautions_that_stop_work(demo_estimate, pages) -> None:
    stops = [caution for caution in demo_estimate.cautions if caution.level == "stop"]
    assert stops
    for text in pages.values():
        for caution in stops:
            assert caution.what in text
        assert "Local codes and licensed practice decide" in text


def test_the_geologist_sees_no_money(pages) -> None:
    assert "EUR" not in re.sub(r"<style>.*?</style>", "", pages["geologist"], flags=re.DOTALL)
    assert "Core by core" in pages["geologist"]


def test_the_municipality_sees_space_money_and_no_panel(pages) -> None:
    text = pages["municipality"]
    assert "Measures of worth" in text
    assert 'id="card-airspace_reclaimed_m3"' in text
    assert 'id="panel"' not in text
    assert "Properties of the materials" not in text


def test_only_our_own_script_may_run(pages) -> None:
    for text in pages.values():
        policy = re.search(r'Content-Security-Policy" content="([^"]+)"', text).group(1)
        assert "default-src 'none'" in policy.replace("&#39;", "'")
        script = re.search(r"<script>(.*?)</script>", text, re.DOTALL).group(1)
        digest = b64encode(sha256(script.encode()).digest()).decode()
        assert f"sha256-{digest}" in policy


def test_paper_is_as_asked(demo_estimate, parts) -> None:
    images = dict.fromkeys(draw_all(demo_estimate), Image("data:image/png;base64,AAAA", 40.0))
    assert "size: letter" in page(demo_estimate, parts[0], images, paper="letter")
