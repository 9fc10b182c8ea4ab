"""What goes into the results folder."""

from __future__ import annotations

import gc
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, NoReturn

from reclaim.report.place import built_beside
from reclaim.site.problems import Check, SiteError

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from matplotlib.figure import Figure

    from reclaim.estimate import Estimate
    from reclaim.report.page import Image
    from reclaim.report.results import Document
    from reclaim.report.tables import Row
    from reclaim.site import CoreSite
    from reclaim.waste import CoreSummary

Progress = Callable[[str], None]

MARK = "estimate.json"
"""The file by which an earlier result is known."""

CORES_MARK = "cores.json"
"""The same for a result of the cores alone."""

OURS = frozenset(
    {
        MARK, CORES_MARK, "report.html", "report.pdf", "site_sheet.html", "tables.xlsx", "tables",
        "maps", "figures",
    }
)  # fmt: skip
"""What a results folder holds; anything else in it belongs to the user and is kept."""


@dataclass(frozen=True, slots=True)
class Outputs:
    """What is written beside the page, the numbers, the tables and the figures.

    Attributes
    ----------
    layout
        Who reads the page: a name of ``layouts.toml``.
    paper
        ``A4`` or ``letter``.
    pdf
        True for the page as PDF too; needs a browser on this machine.
    excel
        True for all tables as one workbook; needs the extra ``excel``.
    """

    layout: str = "consultant"
    paper: str = "A4"
    pdf: bool = False
    excel: bool = False

    def refuse_missing(self) -> None:
        """Check that what was asked for can be made, so that a long run does not fail at its end.

        Raises
        ------
        SiteError
            Where there is no browser to print with, or no package that writes workbooks.
        """
        from reclaim.report.pdf import find_browser
        from reclaim.report.workbook import need_writer

        if self.pdf:
            find_browser()
        if self.excel:
            need_writer()


def write_results(
    estimate: Estimate,
    out: Path,
    *,
    outputs: Outputs | None = None,
    progress: Progress | None = None,
) -> list[Path]:
    """Write everything people look at into a folder.

    The files are made in a hidden folder beside `out` and take its place in one step; see
    `reclaim.report.place`. Files of the user at the top of an earlier result are kept.

    Parameters
    ----------
    estimate
        From the main job.
    out
        The folder; it may be missing, empty, or an earlier result.
    outputs
        Layout of the page, paper, and whether PDF and workbook are wanted.
    progress
        Called with a few words before each part is written.

    Returns
    -------
    list of pathlib.Path
        The files written, in the order a reader should open them.

    Raises
    ------
    SiteError
        Where `out` is a file, holds something that is no earlier result, cannot be written, or
        is being written by another run; where a PDF or workbook is wanted and cannot be made here.
    """
    from reclaim.ground import side_slope_of, thickness_blocks
    from reclaim.report import figures
    from reclaim.report.confidence import write_draws
    from reclaim.report.maps import write_blocks, write_chance, write_thickness, write_vectors
    from reclaim.report.page import page
    from reclaim.report.results import as_json, results
    from reclaim.report.sitesheet import site_sheet
    from reclaim.report.tables import tables

    wanted = outputs or Outputs()
    wanted.refuse_missing()
    say = progress or (lambda _words: None)
    place = out.resolve()
    refuse_target(place, str(out))
    with _garbage_left_lying(), built_beside(place, str(out), OURS) as folder:
        document = results(estimate)
        say("figures")
        images = _write_figures(folder / "figures", figures.draw_all(estimate))
        say("report")
        text = page(estimate, document, images, layout=wanted.layout, paper=wanted.paper)
        _write_page(folder, text, wanted)
        sheet = site_sheet(document, paper=wanted.paper)
        (folder / "site_sheet.html").write_text(sheet, encoding="utf-8")
        say("tables")
        _write_tables(folder, tables(estimate, document), document, wanted)
        write_draws(folder / "tables" / "draws.csv", estimate)
        say("maps")
        (folder / "maps").mkdir()
        site = estimate.site
        blocks = thickness_blocks(
            site.footprint, site.grid, site.survey, site.base, side_slope=side_slope_of(site)
        )
        write_thickness(folder / "maps" / "thickness.tif", site.grid, blocks)
        if estimate.ground is not None:
            write_chance(folder / "maps" / "chance.tif", site.grid, estimate.ground.chance)
        write_blocks(folder / "maps" / "kriged_blocks.tif", estimate)
        write_vectors(folder / "maps" / "site.gpkg", estimate, document)
        (folder / MARK).write_text(as_json(document), encoding="utf-8")
        written = [path.relative_to(folder) for path in _in_reading_order(folder)]
    return [out / path for path in written]


def write_core_results(
    site: CoreSite, summary: CoreSummary, out: Path, *, outputs: Outputs | None = None
) -> list[Path]:
    """Write the geologist's report of core tables alone: page, numbers, tables and a figure.

    Parameters
    ----------
    site, summary
        From `reclaim.estimate.summarise_site_cores`.
    out, outputs
        As in `write_results`; the layout is the geologist's.

    Returns
    -------
    list of pathlib.Path
        The files written, in the order a reader should open them.

    Raises
    ------
    SiteError
        As in `write_results`.
    """
    from reclaim.report.corereport import core_document, core_tables
    from reclaim.report.figures.core_study import core_study_figures
    from reclaim.report.figures.cores import core_makeup
    from reclaim.report.page import core_page
    from reclaim.report.results import as_json

    wanted = outputs or Outputs()
    wanted.refuse_missing()
    place = out.resolve()
    refuse_target(place, str(out))
    with built_beside(place, str(out), OURS) as folder:
        document = core_document(site, summary)
        drawn = {"core_makeup": core_makeup(summary), **core_study_figures(summary)}
        images = _write_figures(folder / "figures", drawn)
        _write_page(folder, core_page(site, summary, document, images, paper=wanted.paper), wanted)
        _write_tables(folder, core_tables(site, summary), document, wanted)
        (folder / CORES_MARK).write_text(as_json(document), encoding="utf-8")
        written = [path.relative_to(folder) for path in _in_reading_order(folder)]
    return [out / path for path in written]


def _write_figures(folder: Path, drawn: Mapping[str, Figure]) -> dict[str, Image]:
    """Write every figure as a picture file and return it as it goes into the page."""
    from concurrent.futures import ThreadPoolExecutor

    from reclaim.report.figures import rendering
    from reclaim.report.page import as_image

    folder.mkdir()
    with ThreadPoolExecutor(max_workers=1) as packing:
        # One figure is packed into its file while the next is drawn.
        files = {
            name: packing.submit(rendering.packed, rendering.drawn(figure))
            for name, figure in drawn.items()
        }
        images = {}
        for name, file in files.items():
            (folder / f"{name}.png").write_bytes(file.result())
            images[name] = as_image(file.result(), float(drawn[name].get_size_inches()[0]))
    return images


def _write_page(folder: Path, text: str, wanted: Outputs) -> None:
    page = folder / "report.html"
    page.write_text(text, encoding="utf-8")
    if wanted.pdf:
        from reclaim.report.pdf import find_browser, write_pdf

        write_pdf(page, folder / "report.pdf", find_browser())


def _write_tables(
    folder: Path, rows_of: Mapping[str, list[Row]], document: Document, wanted: Outputs
) -> None:
    from reclaim.report.tables import write_table

    (folder / "tables").mkdir()
    for name, rows in rows_of.items():
        write_table(folder / "tables" / f"{name}.csv", rows)
    if wanted.excel:
        from reclaim.report.workbook import write_workbook

        made = datetime.fromisoformat(document["run"]["made_on"])
        write_workbook(folder / "tables.xlsx", rows_of, document, made_at=made)


def refuse_target(place: Path, written: str) -> None:
    """Check that results may be put here, so that a long run does not fail at its end.

    Parameters
    ----------
    place
        The folder, resolved.
    written
        As the user wrote it, for the message.

    Raises
    ------
    SiteError
        Where it is a file, or holds something that is no earlier result.
    """
    if place.is_file():
        _stop(written, "This is a file, not a folder.", "Name another folder for the results.")
    ours = any((place / mark).is_file() for mark in (MARK, CORES_MARK))
    if place.is_dir() and any(place.iterdir()) and not ours:
        _stop(
            written,
            f"The folder is not empty and holds no earlier result (no {MARK}).",
            "Name an empty or a new folder; nothing in this one was touched.",
        )


@contextmanager
def _garbage_left_lying() -> Iterator[None]:
    """Stop the garbage collector for a while; drawing would make it look a hundred times."""
    was_enabled = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_enabled:
            gc.enable()


def _in_reading_order(folder: Path) -> list[Path]:
    known = ("report.html", "report.pdf", "site_sheet.html", MARK, CORES_MARK, "tables.xlsx")
    first = [folder / name for name in known if (folder / name).is_file()]
    rest = sorted(path for path in folder.rglob("*") if path.is_file() and path not in first)
    return first + rest


def _stop(where: str, what: str, what_to_do: str) -> NoReturn:
    raise SiteError([Check("error", where, what, what_to_do)])
