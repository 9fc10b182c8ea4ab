"""A browser without a window, and the demo site's report in it.

Without a browser and its driver these tests are skipped, except where CI is set: there a missing
browser is a failure. `.ci/run` installs both.
"""

from __future__ import annotations

import os
import shutil
from pathlib import Path

import pytest

from reclaim.report.pdf import BROWSERS
from reclaim.report.writing import Outputs, write_core_results, write_results


@pytest.fixture(scope="session")
def programs():
    """The browser and its driver."""
    browser = next((found for name in BROWSERS if (found := shutil.which(name))), None)
    driver = shutil.which("chromedriver")
    if browser and driver:
        return browser, driver
    message = "no Chromium and chromedriver on this machine"
    if os.environ.get("CI"):
        pytest.fail(message)
    pytest.skip(message)
    raise AssertionError


@pytest.fixture(scope="session")
def folder(demo_estimate, tmp_path_factory):
    """The results of the demo site, with the report for each reader beside them."""
    place = tmp_path_factory.mktemp("report")
    for layout in ("consultant", "municipality", "geologist"):
        write_results(demo_estimate, place / layout, outputs=Outputs(layout))
    return place


@pytest.fixture(scope="session")
def cores_folder(demo_estimate, tmp_path_factory):
    from reclaim.estimate import summarise_site_cores

    place = tmp_path_factory.mktemp("cores") / "out"
    write_core_results(*summarise_site_cores(demo_estimate.site.path), place)
    return place


@pytest.fixture(scope="session")
def shots(tmp_path_factory):
    """Where screenshots go; named by RECLAIM_SHOTS they are kept."""
    kept = os.environ.get("RECLAIM_SHOTS")
    place = Path(kept) if kept else tmp_path_factory.mktemp("shots")
    place.mkdir(parents=True, exist_ok=True)
    return place


@pytest.fixture(scope="session")
def session(programs):
    from selenium.webdriver import Chrome, ChromeOptions
    from selenium.webdriver.chrome.service import Service

    browser, driver = programs
    options = ChromeOptions()
    options.binary_location = browser
    for flag in (
        "--headless",
        "--disable-gpu",
        "--hide-scrollbars",
        "--force-prefers-reduced-motion",
    ):
        options.add_argument(flag)
    if hasattr(os, "geteuid") and os.geteuid() == 0:
        options.add_argument("--no-sandbox")
    options.set_capability("goog:loggingPrefs", {"browser": "ALL"})
    chrome = Chrome(options=options, service=Service(driver))
    chrome.set_script_timeout(240)
    yield chrome
    chrome.quit()


@pytest.fixture
def show(session):
    """Return a function that opens a page and waits until its script has run."""
    from selenium.webdriver.support.wait import WebDriverWait

    def opened(page, width=1400, height=1000, *, dark=False):
        session.execute_cdp_cmd(
            "Emulation.setDeviceMetricsOverride",
            {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": False},
        )
        session.execute_cdp_cmd(
            "Emulation.setEmulatedMedia",
            {"features": [{"name": "prefers-color-scheme", "value": "dark" if dark else "light"}]},
        )
        session.get_log("browser")
        session.get(page.resolve().as_uri())
        WebDriverWait(session, 20).until(
            lambda chrome: chrome.execute_script(
                "return document.documentElement.dataset.ready === 'yes'"
            )
        )
        return session

    return opened
