"""The report in a browser: it works, it fits, it can be read by everyone, and it is quiet."""

from __future__ import annotations

import base64
import json
import re
import shutil
import subprocess
from importlib.resources import files
from itertools import pairwise

import pytest

LAYOUTS = ("consultant", "municipality", "geologist")
WIDTHS = (360, 768, 1280, 1600)


def press(chrome, selector):
    chrome.execute_script(
        "document.querySelector(arguments[0]).dispatchEvent("
        "new MouseEvent('click', {bubbles: true, cancelable: true}))",
        selector,
    )


@pytest.fixture
def report(folder):
    return folder / "consultant" / "report.html"


@pytest.mark.parametrize("layout", LAYOUTS)
def test_the_console_stays_silent(show, folder, layout) -> None:
    chrome = show(folder / layout / "report.html")
    assert chrome.get_log("browser") == []


def test_a_core_chosen_on_the_map_shows_its_log(show, report, demo_estimate) -> None:
    chrome = show(report)
    links = chrome.execute_script("return document.querySelectorAll('a.core').length")
    assert links == len(demo_estimate.site.cores.collars)
    press(chrome, "a.core:nth-of-type(2)")
    shown = chrome.execute_script("return document.getElementById('chosen').textContent")
    collar = demo_estimate.site.cores.collars.iloc[1]
    assert f"Core {collar['core_id']}" in shown
    notes = demo_estimate.site.cores.intervals
    for note in notes[notes["core_id"] == collar["core_id"]]["note"]:
        assert note in shown


def test_a_core_can_be_chosen_from_the_keyboard(show, report) -> None:
    from selenium.webdriver.common.keys import Keys

    chrome = show(report)
    core = chrome.find_element("css selector", "a.core:nth-of-type(3)")
    chrome.execute_script("arguments[0].focus()", core)
    assert chrome.execute_script("return document.activeElement.matches('a.core')")
    chrome.switch_to.active_element.send_keys(Keys.ENTER)
    assert "Core " in chrome.find_element("id", "chosen").text


def test_layers_of_the_map_can_be_hidden(show, report) -> None:
    chrome = show(report)
    look = "return getComputedStyle(document.querySelector('.layer-' + arguments[0])).display"
    for box in chrome.find_elements("css selector", "input[data-layer]"):
        name, checked = box.get_attribute("data-layer"), box.is_selected()
        assert (chrome.execute_script(look, name) != "none") == checked
        chrome.execute_script("arguments[0].click()", box)
        assert (chrome.execute_script(look, name) != "none") != checked


def test_the_panel_starts_at_the_estimate_and_moves_as_it_should(show, report, folder) -> None:
    document = json.loads((folder / "consultant" / "estimate.json").read_text(encoding="utf-8"))
    npv = document["headlines"]["npv"]
    chrome = show(report)

    def outcome():
        data = chrome.execute_script("return {...document.getElementById('panel-outcome').dataset}")
        return {name: float(value) for name, value in data.items()}

    start = outcome()
    assert start["npv"] == pytest.approx(npv["value"], rel=1e-9)
    assert start["low"] == pytest.approx(npv["low"], rel=1e-6)
    assert start["high"] == pytest.approx(npv["high"], rel=1e-6)
    assert start["chance"] == document["headlines"]["chance_npv_positive"]
    chrome.execute_script(
        "const s = document.querySelector('[data-driver=\"1\"]');"
        "s.value = s.max; s.dispatchEvent(new Event('input'))"
    )
    assert outcome()["npv"] > start["npv"]
    assert "million" in chrome.find_element("id", "panel-outcome").text
    chrome.execute_script(
        "const r = document.getElementById('rate'); r.value = '1';"
        "r.dispatchEvent(new Event('change'))"
    )
    assert outcome()["npv"] != pytest.approx(start["npv"], rel=1e-3)
    press(chrome, "#panel-reset")
    assert outcome() == start


def test_the_panel_words_a_range_as_the_report_does(show, report) -> None:
    chrome = show(report)
    answer = chrome.find_element("css selector", ".answer").text
    best, interval = re.search(
        r"net present value is (\S+ million \S+) \(P10 to P90: ([^)]+)\)", answer
    ).groups()
    shown = chrome.find_element("id", "panel-outcome").text
    assert best in shown
    assert interval in shown


def test_tables_sort_by_number_and_back(show, report) -> None:
    chrome = show(report)
    table = chrome.execute_script(
        "return Array.from(document.querySelectorAll('table')).find("
        "t => t.caption.textContent.startsWith('Tonnes of each material'))"
    )
    read = (
        "return Array.from(arguments[0].tBodies[0].rows).map(r => "
        "r.cells[3].textContent.replaceAll('\\u202f', ''))"
    )
    button = "arguments[0].tHead.rows[0].cells[3].querySelector('button').click()"
    chrome.execute_script(button, table)
    rising = [float(text) for text in chrome.execute_script(read, table)]
    assert all(low <= high for low, high in pairwise(rising))
    assert (
        chrome.execute_script(
            "return arguments[0].tHead.rows[0].cells[3].getAttribute('aria-sort')", table
        )
        == "ascending"
    )
    chrome.execute_script(button, table)
    assert [float(t) for t in chrome.execute_script(read, table)] == rising[::-1]


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
@pytest.mark.parametrize("layout", LAYOUTS)
def test_accessibility_rules_hold(show, folder, layout, dark) -> None:
    """Rules of the axe engine: WCAG 2.1 A and AA, and its best practices."""
    engine = files("axe_core_python").joinpath("axe.min.js")
    chrome = show(folder / layout / "report.html", dark=dark)
    # The page lets no script but its own run; the driver's own channel is not bound by that.
    chrome.execute_script(engine.read_text(encoding="utf-8"))
    found = chrome.execute_async_script(
        "const done = arguments[arguments.length - 1]; "
        "axe.run(document, {resultTypes: ['violations']}).then(done)"
    )
    broken = [
        (rule["id"], [node["html"][:200] for node in rule["nodes"][:4]])
        for rule in found["violations"]
    ]
    assert broken == []
    assert len(found["passes"]) > 15


@pytest.mark.parametrize("width", WIDTHS)
def test_it_fits_the_screen(show, report, shots, width) -> None:
    """Nothing sticks out sideways at any width; the screenshots are for the eye."""
    chrome = show(report, width=width)
    inner = chrome.execute_script("return document.documentElement.scrollWidth")
    assert inner <= width
    taken = chrome.execute_cdp_cmd(
        "Page.captureScreenshot", {"format": "png", "captureBeyondViewport": True}
    )
    (shots / f"report-{width}.png").write_bytes(base64.b64decode(taken["data"]))


def test_links_lead_somewhere(show, report) -> None:
    chrome = show(report)
    dead = chrome.execute_script(
        "return Array.from(document.querySelectorAll('a[href^=\"#\"]')).map(a => "
        "a.getAttribute('href').slice(1)).filter(id => !document.getElementById(id))"
    )
    assert dead == []


def test_it_is_painted_before_its_script_works(show, report) -> None:
    chrome = show(report)
    painted = chrome.execute_script(
        "return performance.getEntriesByName('first-contentful-paint')[0]?.startTime"
    )
    assert painted is not None
    assert painted < 3000
    script = chrome.execute_script(
        "return document.scripts[document.scripts.length - 1] === document.body.lastElementChild"
    )
    assert script


def test_without_script_everything_is_there(session, report) -> None:
    session.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": True})
    try:
        session.get(report.resolve().as_uri())
        text = session.page_source
    finally:
        session.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": False})
    assert "Logs of all" in text
    assert '<div class="panel" id="panel" hidden="">' in text


@pytest.mark.parametrize(("paper", "size"), [("A4", (595, 842)), ("letter", (612, 792))])
def test_it_prints_on_the_paper_asked_for(demo_estimate, programs, tmp_path, paper, size) -> None:
    from reclaim.report.pdf import write_pdf
    from reclaim.report.writing import Outputs, write_results

    write_results(demo_estimate, tmp_path / "out", outputs=Outputs("municipality", paper))
    write_pdf(tmp_path / "out" / "report.html", tmp_path / "report.pdf", programs[0])
    data = (tmp_path / "report.pdf").read_bytes()
    boxes = re.findall(rb"/MediaBox\s*\[\s*0\s+0\s+([\d.]+)\s+([\d.]+)\s*\]", data)
    assert {(round(float(w)), round(float(h))) for w, h in boxes} == {size}
    pages = len(re.findall(rb"/Type\s*/Page\b", data))
    assert pages == 2
    reader = shutil.which("pdftotext")
    if reader:
        text = subprocess.run(
            [reader, str(tmp_path / "report.pdf"), "-"],
            capture_output=True, text=True, check=True,
        ).stdout  # fmt: skip
        assert "Measures of worth" in text


def test_the_geologists_short_report(show, cores_folder) -> None:
    chrome = show(cores_folder / "report.html")
    assert chrome.get_log("browser") == []
    assert "What the cores are made of" in chrome.find_element("tag name", "main").text
    assert {path.name for path in cores_folder.iterdir()} == {
        "report.html", "cores.json", "tables", "figures",
    }  # fmt: skip
