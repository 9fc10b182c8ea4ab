"""The report as PDF: printed by a browser of this machine, from the very page that people read."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import NoReturn

from reclaim.site.problems import Check, SiteError

BROWSERS = (
    "chromium",
    "chromium-browser",
    "google-chrome-stable",
    "google-chrome",
    "chrome",
    "microsoft-edge-stable",
    "microsoft-edge",
    "msedge",
)
"""Programs that print a page without a window, looked for on the path in this order."""

_ELSEWHERE = {
    "darwin": (
        "/Applications/Google Chrome.app/Contents/MacOS/Google Chrome",
        "/Applications/Chromium.app/Contents/MacOS/Chromium",
        "/Applications/Microsoft Edge.app/Contents/MacOS/Microsoft Edge",
    ),
    "win32": (
        r"C:\Program Files\Google\Chrome\Application\chrome.exe",
        r"C:\Program Files (x86)\Microsoft\Edge\Application\msedge.exe",
    ),
}
_PATIENCE_S = 120


def find_browser() -> str:
    """Return the program that prints pages.

    Returns
    -------
    str
        What the environment variable RECLAIM_BROWSER names, else the first of `BROWSERS` found.

    Raises
    ------
    SiteError
        Where there is none; the message says how to get a PDF all the same.
    """
    named = os.environ.get("RECLAIM_BROWSER")
    if named:
        found = shutil.which(named)
        if found is None:
            _stop("RECLAIM_BROWSER", f"There is no program '{named}'.", "Name a browser's program.")
        return str(found)
    for name in BROWSERS:
        found = shutil.which(name)
        if found:
            return found
    for place in _ELSEWHERE.get(sys.platform, ()):
        if Path(place).is_file():
            return place
    return _stop(
        "--pdf",
        "No browser that can print a page was found on this machine.",
        "Install Chromium, or name one in RECLAIM_BROWSER; or leave --pdf out, open report.html "
        "in any browser and print it to a file.",
    )


def write_pdf(page: Path, target: Path, browser: str) -> None:
    """Print a page to a PDF file, on the paper that the page asks for.

    Parameters
    ----------
    page
        The HTML file.
    target
        The PDF file.
    browser
        From `find_browser`.

    Raises
    ------
    SiteError
        Where the browser did not write it.
    """
    with TemporaryDirectory(prefix="reclaim-print-") as profile:
        command = [
            browser,
            "--headless",
            "--disable-gpu",
            "--no-first-run",
            "--no-pdf-header-footer",
            f"--user-data-dir={profile}",
            f"--print-to-pdf={target}",
            page.resolve().as_uri(),
        ]
        if hasattr(os, "geteuid") and os.geteuid() == 0:
            command.insert(1, "--no-sandbox")  # a browser run by root refuses to start otherwise
        try:
            subprocess.run(command, capture_output=True, check=True, timeout=_PATIENCE_S)
        except (OSError, subprocess.SubprocessError) as error:
            _stop(
                "--pdf",
                f"The browser could not print the report: {type(error).__name__}.",
                "Leave --pdf out, open report.html in a browser and print it to a file.",
            )
    if not target.is_file():
        _stop(
            "--pdf",
            "The browser wrote no PDF.",
            "Leave --pdf out, open report.html in a browser and print it to a file.",
        )


def _stop(where: str, what: str, what_to_do: str) -> NoReturn:
    raise SiteError([Check("error", where, what, what_to_do)])
