"""What the sites of a portfolio are: site files, or rows of one layer over shared terrain."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path
from typing import TYPE_CHECKING, Any

from reclaim.site import Check, SiteError
from reclaim.site.spelling import suggestion
from reclaim.site.vectorfile import read_vector

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from geopandas import GeoDataFrame

    from reclaim.site import Findings

_COLUMNS = "columns"
_SHORT = {"name": "site.name", "opened": "site.opened", "closed": "site.closed"}
"""Keys that may be mapped without their section, and are mapped to columns of the same name."""

_NOT_FROM_ROWS = frozenset({"footprint.file", "surfaces.survey", "surfaces.base", "site.currency",
                            "site.price_year"})  # fmt: skip
_WHOLE_NUMBERS = frozenset({"site.opened", "site.closed"})


@dataclass(frozen=True, slots=True)
class Terrain:
    """Terrain that the sites of a layer share.

    Attributes
    ----------
    survey, base
        Rasters as the raster library opens them: a file, a mosaic, or a remote address. `base` is
        None where there is none.
    """

    survey: str
    base: str | None


@dataclass(frozen=True, slots=True)
class SiteJob:
    """One site of a portfolio, ready to be sent to a worker.

    Attributes
    ----------
    site_id
        Its own among all sites; draws and the place of its result hang on it.
    where
        What messages call it: the site file, or layer and row.
    path
        The site file, or the file with the shared assumptions.
    document
        For a row: what its site file would say; None for a site file, which is read by the worker.
    shape
        For a row: its outline as WKB in the terrain's coordinate system; None without one.
    terrain
        For a row: the shared terrain.
    name
        For a row: its name; a site file's is known once it is read.
    """

    site_id: str
    where: str
    path: str
    document: Mapping[str, Any] | None = None
    shape: bytes | None = None
    terrain: Terrain | None = None
    name: str = ""


def jobs_from_files(paths: Sequence[Path], findings: Findings) -> list[SiteJob]:
    """Return one job for each site file; a folder stands for every ``site.toml`` below it.

    A file named twice is warned of and taken once. What tells the sites apart is the end of the
    path that no other shares, so that a site keeps its draws wherever the files are moved.
    """
    places: dict[Path, None] = {}
    for path in paths:
        found = sorted(path.rglob("site.toml")) if path.is_dir() else [path]
        if not found:
            findings.warn(path.name, "The folder has no site.toml below it.", "Check the path.")
        for file in found:
            place = file.resolve()
            if place in places:
                findings.warn(file.name, "The site file is named twice.", "It was taken once.")
            places[place] = None
    ends = _distinct_ends(list(places))
    return [SiteJob(end, end, str(place)) for place, end in zip(places, ends, strict=True)]


def _distinct_ends(places: Sequence[Path]) -> list[str]:
    """Return the last parts of each path, two or as many as make it unlike the others."""
    ends = [""] * len(places)
    length, open_places = 2, list(range(len(places)))
    while open_places:
        by_end: dict[str, list[int]] = {}
        for number in open_places:
            by_end.setdefault("/".join(places[number].parts[1:][-length:]), []).append(number)
        open_places = []
        for end, numbers in by_end.items():
            if len(numbers) == 1 or length > len(places[numbers[0]].parts):
                for number in numbers:
                    ends[number] = end
            else:
                open_places.extend(numbers)
        length += 1
    return ends


def jobs_from_layer(
    path: Path,
    terrain: Terrain,
    *,
    shared: Path | None,
    mapping: Mapping[str, str],
    id_column: str | None,
    findings: Findings,
) -> list[SiteJob]:
    """Return one job for each row of a vector layer.

    Parameters
    ----------
    path
        The layer.
    terrain
        Shared survey and base.
    shared
        A site file without place, name and terrain: the assumptions of all rows; None takes the
        defaults. Its section ``[columns]`` maps keys to columns.
    mapping
        Key of the site file to column of the layer; goes before ``[columns]``.
    id_column
        Column that tells the sites apart; without one the number of the row does.
    findings
        Takes what is suspect about the layer.

    Raises
    ------
    SiteError
        Where the layer, the shared file or the mapping cannot be used at all.
    """
    from reclaim.portfolio.reader import check_shared

    document = _shared_document(shared)
    frame = _read_layer(path, findings)
    columns = [str(name) for name in frame.columns if name != frame.geometry.name]
    keys = _mapped_keys(document.pop(_COLUMNS, {}), mapping, columns, shared)
    ids = _identities(frame, id_column, columns, path)
    survey = check_shared(document, shared or Path(f"the defaults of {path.name}"), terrain)
    findings.extend(survey.checks)
    shapes = _in_terrain_crs(frame, survey.grid.crs_wkt, path, findings)
    records = frame[sorted(set(keys.values()))].to_dict("records")
    jobs = []
    for number, (site_id, shape, record) in enumerate(
        zip(ids, shapes, records, strict=True), start=1
    ):
        own = _copied(document)
        for key, column in keys.items():
            value = _plain_value(record[column], key)
            if value is not None:
                _put(own, key.split("."), value)
        site = own.setdefault("site", {})
        site.setdefault("name", f"Site {site_id}")
        own.setdefault("footprint", {})["file"] = path.name
        surfaces = own.setdefault("surfaces", {})
        surfaces["survey"] = shown_raster(terrain.survey)
        if terrain.base is not None and surfaces.get("base_elevation_m") is None:
            surfaces["base"] = shown_raster(terrain.base)
        jobs.append(
            SiteJob(
                site_id,
                f"{path.name} row {number}",
                str(shared) if shared else path.name,
                own,
                None if shape is None or shape.is_empty else bytes(shape.wkb),
                terrain,
                str(site["name"]),
            )
        )
    return jobs


def shown_raster(written: str) -> str:
    """Return what messages call a raster: its last part, never an absolute path."""
    return written.replace("\\", "/").rstrip("/").rsplit("/", 1)[-1]


def file_name(site_id: str) -> str:
    """Return a name for the files of a site: plain letters, and its own among all sites."""
    plain = "".join(c if c.isalnum() and c.isascii() else "-" for c in site_id.casefold())
    return (
        f"{plain.strip('-')[-48:].strip('-') or 'site'}-{sha256(site_id.encode()).hexdigest()[:8]}"
    )


def _stop(where: str, what: str, what_to_do: str) -> SiteError:
    return SiteError([Check("error", where, what, what_to_do)])


def _shared_document(shared: Path | None) -> dict[str, Any]:
    if shared is None:
        return {}
    try:
        return tomllib.loads(shared.read_bytes().decode("utf-8-sig"))
    except OSError as error:
        raise _stop(
            shared.name, f"The file cannot be read: {error.strerror}.", "Check the path."
        ) from error
    except (UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise _stop(
            shared.name, f"This is not valid TOML: {error}.", "Correct that line; save it as UTF-8."
        ) from error


def _read_layer(path: Path, findings: Findings) -> GeoDataFrame:
    if not path.exists():
        raise _stop(str(path), "There is no such file.", "Check the path.")
    problems = type(findings)()
    frame = read_vector(path, path.name, problems, wanted="one polygon for each site")
    findings.extend(check for check in problems.checks if check.level != "error")
    problems.stop_on_errors()
    assert frame is not None
    return frame


def _mapped_keys(
    in_file: Any, on_line: Mapping[str, str], columns: list[str], shared: Path | None
) -> dict[str, str]:
    """Return the column of every key that comes from the layer."""
    from reclaim.portfolio.regional import SCREENING
    from reclaim.reference import assumption_defaults
    from reclaim.site.settings import setting_defaults

    where = f"{shared.name} [columns]" if shared else "--map"
    if not isinstance(in_file, dict):
        raise _stop(where, "This must be a section.", "Write [columns] above its keys.")
    known = {
        *assumption_defaults(),
        *(key for key in setting_defaults() if not key.startswith(("limits.", "uncertainty."))),
        "site.name",
        "waste.climate",
        *(f"screening.{key}" for key in SCREENING),
    } - _NOT_FROM_ROWS
    errors = []
    keys = {full: column for short, full in _SHORT.items() for column in columns if column == short}
    for written, column in [*in_file.items(), *on_line.items()]:
        key = _SHORT.get(str(written), str(written))
        base = key.removesuffix(".low").removesuffix(".mode").removesuffix(".high")
        if base not in known:
            errors.append(
                Check("error", where, f"There is no key '{key}'.", suggestion(key, sorted(known)))
            )
        elif column not in columns:
            errors.append(
                Check(
                    "error",
                    f"{where} {key}",
                    f"The layer has no column '{column}'.",
                    suggestion(str(column), columns),
                )
            )
        else:
            keys[key] = column
    if errors:
        raise SiteError(errors)
    return keys


def _identities(
    frame: GeoDataFrame, column: str | None, columns: list[str], path: Path
) -> list[str]:
    """Return what tells the sites apart."""
    if column is None:
        return [f"{number}" for number in range(1, len(frame) + 1)]
    if column not in columns:
        raise _stop("--id", f"The layer has no column '{column}'.", suggestion(column, columns))
    ids = [_written(value) for value in frame[column].astype(object)]
    seen: set[str] = set()
    errors = []
    for number, site_id in enumerate(ids, start=1):
        if not site_id or site_id in seen:
            what = f"'{site_id}' stands in another row too." if site_id else "It is empty."
            errors.append(
                Check(
                    "error",
                    f"{path.name} row {number} column '{column}'",
                    what,
                    "Give each row a value of its own, or leave out --id.",
                )
            )
        seen.add(site_id)
    if errors:
        raise SiteError(errors)
    return ids


def _in_terrain_crs(frame: GeoDataFrame, crs_wkt: str, path: Path, findings: Findings) -> list[Any]:
    """Return the shapes in the terrain's coordinate system, None where there is none."""
    import numpy as np
    import shapely

    from reclaim.site.footprint import in_crs

    usable = frame.geometry.notna() & ~frame.geometry.is_empty
    if not usable.any():
        raise _stop(path.name, "The file has no shapes.", "Give one polygon for each site.")
    stated = frame[usable]
    if stated.crs is None or stated.crs.is_geographic:
        # May be refused as a whole, for degrees that are none and for none that look like some.
        problems = type(findings)()
        found = in_crs(stated, path.name, crs_wkt, problems)
        findings.extend(check for check in problems.checks if check.level != "error")
        problems.stop_on_errors()
        assert found is not None
    else:
        found = stated.to_crs(crs_wkt)
    good = np.isfinite(shapely.bounds(found.geometry.to_numpy())).all(axis=1)
    shapes: list[Any] = [None] * len(frame)
    for place, shape, is_good in zip(
        np.flatnonzero(usable.to_numpy()), found.geometry, good, strict=True
    ):
        shapes[place] = shape if is_good else None
    return shapes


def _plain_value(value: Any, key: str) -> Any:
    """Return an attribute as a site file would have it; None where it is missing."""
    if value is None or value != value or value == "":  # noqa: PLR0124 - not a number
        return None
    if key in {"site.name", "screening.region", "waste.climate"}:
        return _written(value)
    text = value.strip().replace(",", ".") if isinstance(value, str) else value
    if text == "":
        return None
    try:
        number = float(text)
    except (TypeError, ValueError):
        return value if isinstance(value, str) else str(value)  # told by the reader of the row
    return int(number) if key in _WHOLE_NUMBERS and number.is_integer() else number


def _written(value: Any) -> str:
    if value is None or value != value:  # noqa: PLR0124 - not a number
        return ""
    whole = isinstance(value, float) and value.is_integer()
    return str(int(value) if whole else value).strip()


def _put(document: dict[str, Any], path: list[str], value: Any) -> None:
    """Put a value under a path of keys; a range may be put in part by part."""
    for name in path[:-1]:
        if not isinstance(document.get(name), dict):
            document[name] = {}
        document = document[name]
    document[path[-1]] = value


def _copied(document: Mapping[str, Any]) -> dict[str, Any]:
    """Return a document that may be changed; sections and tables within are copied."""
    return {
        name: _copied(part) if isinstance(part, dict) else part for name, part in document.items()
    }
