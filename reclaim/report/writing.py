"""The results folder: built whole beside its place, then swapped in."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from shutil import rmtree
from tempfile import mkdtemp
from typing import TYPE_CHECKING, NoReturn

from reclaim.site.problems import Check, SiteError

if TYPE_CHECKING:
    from reclaim.estimate import Estimate

Progress = Callable[[str], None]

MARK = "estimate.json"
"""The file by which an earlier result is known."""

OURS = frozenset({MARK, "report.html", "tables", "maps", "figures"})
"""What a results folder holds; anything else in it belongs to the user and is kept."""

FIGURE_DPI = 160


def write_results(estimate: Estimate, out: Path, *, progress: Progress | None = None) -> list[Path]:
    """Write everything people look at into a folder.

    The files are made in a hidden folder beside `out` and take its place in one move, so that a
    run that fails leaves the earlier result as it was. Files of the user at the top of an earlier
    result are kept.

    Parameters
    ----------
    estimate
        From the main job.
    out
        The folder; it may be missing, empty, or an earlier result.
    progress
        Called with a few words before each part is written.

    Returns
    -------
    list of pathlib.Path
        The files written, in the order a reader should open them.

    Raises
    ------
    SiteError
        Where `out` is a file, holds something that is no earlier result, or cannot be written.
    """
    from reclaim.ground import thickness_blocks
    from reclaim.report import figures
    from reclaim.report.maps import write_thickness, write_vectors
    from reclaim.report.page import page
    from reclaim.report.results import as_json, results
    from reclaim.report.tables import tables, write_table

    say = progress or (lambda _words: None)
    place = out.resolve()
    refuse_target(place, str(out))
    with _swapped_in(place, str(out)) as folder:
        document = results(estimate)
        say("figures")
        drawn = figures.draw_all(estimate)
        (folder / "figures").mkdir()
        for name, figure in drawn.items():
            figure.savefig(folder / "figures" / f"{name}.png", dpi=FIGURE_DPI)
        say("report")
        text = page(estimate, document, drawn)
        (folder / "report.html").write_text(text, encoding="utf-8")
        say("tables")
        (folder / "tables").mkdir()
        for name, rows in tables(estimate, document).items():
            write_table(folder / "tables" / f"{name}.csv", rows)
        say("maps")
        (folder / "maps").mkdir()
        site = estimate.site
        blocks = thickness_blocks(
            site.footprint, site.grid, site.survey, site.base, side_slope=site.side_slope
        )
        write_thickness(folder / "maps" / "thickness.tif", site.grid, blocks)
        write_vectors(folder / "maps" / "site.gpkg", estimate, document)
        (folder / MARK).write_text(as_json(document), encoding="utf-8")
        written = [path.relative_to(folder) for path in _in_reading_order(folder)]
    return [out / path for path in written]


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
    if place.is_dir() and any(place.iterdir()) and not (place / MARK).is_file():
        _stop(
            written,
            f"The folder is not empty and holds no earlier result (no {MARK}).",
            "Name an empty or a new folder; nothing in this one was touched.",
        )


@contextmanager
def _swapped_in(place: Path, written: str) -> Iterator[Path]:
    """Give a new folder on the same file system; when all went well, put it in place."""
    try:
        place.parent.mkdir(parents=True, exist_ok=True)
        folder = Path(mkdtemp(prefix=f".{place.name}.new-", dir=place.parent))
    except OSError as error:
        _stop(
            written,
            f"The folder cannot be made: {error.strerror}.",
            "Name a place you may write to.",
        )
    try:
        yield folder
        _open_to_readers(folder)
        _swap(folder, place)
    except OSError as error:
        rmtree(folder, ignore_errors=True)
        if error.errno is None:
            raise
        _stop(
            written,
            f"Writing failed: {error.strerror}.",
            "Free some space or name another place; an earlier result is as it was.",
        )
    except BaseException:
        rmtree(folder, ignore_errors=True)
        raise


def _swap(folder: Path, place: Path) -> None:
    """Put a finished folder in place; the earlier one goes only when that has worked."""
    if not place.exists():
        folder.rename(place)
        return
    earlier = folder.with_name(folder.name.replace(".new-", ".old-"))
    place.rename(earlier)
    try:
        folder.rename(place)
    except BaseException:
        earlier.rename(place)
        raise
    for kept in earlier.iterdir():
        if kept.name not in OURS:
            kept.rename(place / kept.name)
    rmtree(earlier, ignore_errors=True)


def _open_to_readers(folder: Path) -> None:
    """Give a folder made for its owner alone the rights that new folders have here."""
    mask = os.umask(0)
    os.umask(mask)
    folder.chmod(0o777 & ~mask)


def _in_reading_order(folder: Path) -> list[Path]:
    first = [folder / "report.html", folder / MARK]
    rest = sorted(path for path in folder.rglob("*") if path.is_file() and path not in first)
    return first + rest


def _stop(where: str, what: str, what_to_do: str) -> NoReturn:
    raise SiteError([Check("error", where, what, what_to_do)])
