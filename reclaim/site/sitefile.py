"""The site file: TOML in, validated sections, settings and assumptions out."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, TypeVar

from pydantic import ValidationError

from reclaim.assumptions import (
    Assumption,
    Correlations,
    default_assumption,
    stated_assumption,
)
from reclaim.reference import Default, Quantity, assumption_defaults, material_names, materials
from reclaim.site.coretables import LAYERS
from reclaim.site.drawplan import Scenarios, read_correlations, read_scenarios
from reclaim.site.settings import Setting, limit, setting_defaults
from reclaim.site.sitesections import (
    CORE_TABLES,
    SECTIONS,
    CoresSection,
    Section,
    SiteSection,
    SurfacesSection,
    UncertaintySection,
    WasteSection,
)
from reclaim.site.spelling import suggestion
from reclaim.site.tablewords import units_of
from reclaim.site.tomlfile import read_document

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping
    from pathlib import Path

    from reclaim.site.problems import Findings


SCENARIOS = "scenarios"
_SectionT = TypeVar("_SectionT", bound=Section)


@dataclass(frozen=True, slots=True)
class SiteFile:
    """A validated site file; a section is None where the file does not have it.

    Attributes
    ----------
    path
        The file.
    sections
        Every section of `SECTIONS` that the file has, or that needs no key.
    settings
        Every setting by key, given or default.
    assumptions
        Every assumption by key, given or default.
    composition
        Material shares of ``[waste.composition]``; empty where there are none.
    scenarios
        Assumptions that each scenario changes, by its name.
    correlations
        Which assumptions move together, stated or by default.
    """

    path: Path
    sections: Mapping[str, Section]
    settings: Mapping[str, Setting]
    assumptions: Mapping[str, Assumption]
    composition: Mapping[str, Assumption]
    scenarios: Scenarios
    correlations: Correlations

    def section(self, kind: type[_SectionT]) -> _SectionT | None:
        """Return the section of a kind, or None."""
        return next((part for part in self.sections.values() if isinstance(part, kind)), None)

    def number(self, key: str) -> float:
        """Return a setting that has a default or was given."""
        value = self.settings[key].value
        assert value is not None, f"{key} has neither a value nor a default"
        return value


def read_site_file(
    path: Path,
    required: Collection[str],
    findings: Findings,
    document: dict[str, Any] | None = None,
) -> SiteFile | None:
    """Read and validate a site file.

    Parameters
    ----------
    path
        The TOML file.
    required
        Names of sections that must be there.
    findings
        Takes every problem of the file.
    document
        What the file would say, where it is not to be read; parts of it are taken out.

    Returns
    -------
    SiteFile or None
        None where the file is no TOML at all.
    """
    document = read_document(path, path.name, findings) if document is None else document
    if document is None:
        return None
    reader = _DocumentReader(path, document, findings)
    reader.check_section_names(required)
    stated = reader.split_assumptions()
    scenarios = read_scenarios(document.pop(SCENARIOS, {}), stated, path.name, findings)
    sections = reader.sections()
    reader.check_rules(sections)
    uncertainty = sections.get("uncertainty")
    return SiteFile(
        path=path,
        sections=sections,
        settings=reader.settings(sections),
        assumptions=stated,
        composition=reader.composition(sections.get("waste")),
        scenarios=scenarios,
        correlations=read_correlations(
            uncertainty.correlations if isinstance(uncertainty, UncertaintySection) else (),
            stated,
            f"{path.name} [uncertainty.correlations]",
            findings,
        ),
    )


class _DocumentReader:
    """Takes one parsed document apart and tells `findings` all that is wrong with it."""

    def __init__(self, path: Path, document: dict[str, Any], findings: Findings) -> None:
        self._path = path
        self._document = document
        self._findings = findings
        self._defaults = assumption_defaults()
        self._assumption_sections = {key.split(".")[0] for key in self._defaults}

    def _where(self, section: str, key: str = "") -> str:
        return f"{self._path.name} [{section}]" + (f" {key}" if key else "")

    def check_section_names(self, required: Collection[str]) -> None:
        known = list(dict.fromkeys([*SECTIONS, SCENARIOS, *sorted(self._assumption_sections)]))
        for name, content in self._document.items():
            if name not in known:
                self._findings.error(
                    self._where(name),
                    f"There is no section '{name}'."
                    if isinstance(content, dict)
                    else f"The key '{name}' stands outside every section.",
                    suggestion(name, known),
                )
            elif not isinstance(content, dict):
                self._findings.error(
                    self._where(name), "This must be a section.", f"Write [{name}] above its keys."
                )
        for name in required:
            if name not in self._document:
                self._findings.error(
                    self._path.name,
                    f"The section [{name}] is missing.",
                    f"Add [{name}] and its keys.",
                )

    def _content(self, section: str) -> dict[str, Any]:
        content = self._document.get(section, {})
        return content if isinstance(content, dict) else {}

    def split_assumptions(self) -> dict[str, Assumption]:
        """Take the assumptions out of the document; what is left belongs to the sections."""
        assumptions = {key: default_assumption(row) for key, row in self._defaults.items()}
        for section in sorted(self._assumption_sections):
            self._take_assumptions(section, self._content(section), assumptions)
        return assumptions

    def _take_assumptions(
        self, prefix: str, table: dict[str, Any], assumptions: dict[str, Assumption]
    ) -> None:
        for name in list(table):
            key = f"{prefix}.{name}"
            if key in self._defaults:
                try:
                    assumptions[key] = stated_assumption(self._defaults[key], table.pop(name))
                except ValueError as error:
                    self._findings.error(
                        self._key_where(key), str(error), "Correct the number, or leave it out."
                    )
            elif isinstance(table[name], dict) and any(
                known.startswith(f"{key}.") for known in self._defaults
            ):
                self._take_assumptions(key, table[name], assumptions)
                if not table[name]:
                    del table[name]

    def _key_where(self, key: str) -> str:
        section, name = key.split(".", 1)
        return self._where(section, name)

    def sections(self) -> dict[str, Section]:
        """Validate every section; those with errors are left out."""
        sections: dict[str, Section] = {}
        for name, kind in SECTIONS.items():
            needs_keys = any(field.is_required() for field in kind.model_fields.values())
            if name not in self._document and (needs_keys or kind.only_where_written):
                continue
            try:
                sections[name] = kind.model_validate(self._content(name))
            except ValidationError as error:
                known = [*kind.model_fields, *self._assumption_names(name)]
                for problem in error.errors(include_url=False):
                    self._tell(name, known, problem)
        for name in self._assumption_sections - set(SECTIONS):
            for key in self._content(name):
                self._tell_unknown(name, key, self._assumption_names(name))
        return sections

    def _assumption_names(self, section: str) -> list[str]:
        return [key.split(".", 1)[1] for key in self._defaults if key.startswith(f"{section}.")]

    def _tell(self, section: str, known: list[str], problem: Any) -> None:
        key = ".".join(str(part) for part in problem["loc"])
        where = self._where(section, key)
        if problem["type"] == "extra_forbidden":
            self._tell_unknown(section, key, known)
        elif problem["type"] == "missing":
            self._findings.error(where, f"The key '{key}' is missing.", "Add it.")
        elif problem["type"] == "string_pattern_mismatch":
            self._findings.error(
                where,
                f"'{problem['input']}' is not a currency code.",
                "Use the three capital letters of ISO 4217, such as EUR.",
            )
        elif problem["type"] == "string_type" and isinstance(problem["input"], list):
            self._findings.error(
                where,
                "Several files are given where one is read.",
                "Name one; further files of points go into survey_tiles, and rasters are joined in "
                "a mosaic (VRT) first."
                if section == "surfaces"
                else "Name one, with everything in it.",
            )
        else:
            self._findings.error(
                where,
                f"Got {problem['input']!r}.",
                f"{problem['msg'].removeprefix('Input ')}.".replace("should", "It should"),
            )

    def _tell_unknown(self, section: str, key: str, known: list[str]) -> None:
        self._findings.error(
            self._where(section, key), f"There is no key '{key}'.", suggestion(key, known)
        )

    def settings(self, sections: Mapping[str, Section]) -> dict[str, Setting]:
        """Return all settings, those given checked against their bounds."""
        settings: dict[str, Setting] = {}
        for key, default in setting_defaults().items():
            section, name = key.split(".", 1)
            stated = getattr(sections.get(section), name, None)
            settings[key] = default
            if stated is not None:
                try:
                    settings[key] = default.stated(float(stated))
                except ValueError as error:
                    self._findings.error(
                        self._where(section, name), str(error), "Correct the number."
                    )
        return settings

    def composition(self, waste: Section | None) -> dict[str, Assumption]:
        """Return the stated shares by material, each an assumption between 0 and 1."""
        if not isinstance(waste, WasteSection):
            return {}
        labels = {material.name: material.label for material in materials()}
        shares: dict[str, Assumption] = {}
        for name, stated in waste.composition.items():
            where = self._where("waste.composition", name)
            if name not in labels:
                self._findings.error(
                    where, f"There is no material '{name}'.", suggestion(name, material_names())
                )
                continue
            try:
                shares[name] = stated_assumption(_share_of(name, labels[name]), stated)
            except ValueError as error:
                self._findings.error(where, str(error), "Give a share of wet mass between 0 and 1.")
        total = sum(share.central for share in shares.values())
        if len(shares) == len(waste.composition) > 0 and abs(total - 1) > limit("composition_sum"):
            self._findings.error(
                self._where("waste.composition"),
                f"The shares add up to {total:.3g}, not to 1.",
                "Give every material's share of wet mass so that together they make 1.",
            )
        return shares

    def check_rules(self, sections: Mapping[str, Section]) -> None:
        """Check what keys say about each other."""
        site, surfaces = sections.get("site"), sections.get("surfaces")
        cores, waste = sections.get("cores"), sections.get("waste")
        if (
            isinstance(site, SiteSection)
            and site.opened is not None
            and site.closed is not None
            and site.opened > site.closed
        ):
            self._findings.error(
                self._where("site", "closed"),
                f"The site closed in {site.closed}, before it opened in {site.opened}.",
                "Correct one of the years.",
            )
        if isinstance(surfaces, SurfacesSection):
            self._check_surface_rules(surfaces, has_cores="cores" in self._document)
        if isinstance(cores, CoresSection):
            self._check_core_words(cores)
        if isinstance(waste, WasteSection):
            for word, material in waste.names.items():
                if material not in material_names():
                    self._findings.error(
                        self._where("waste.names", f'"{word}"'),
                        f"There is no material '{material}'.",
                        suggestion(material, material_names()),
                    )
            if isinstance(cores, CoresSection) and cores.samples and waste.composition:
                self._findings.error(
                    self._where("waste.composition"),
                    "The composition is given here and in the core samples.",
                    "Keep one: take out this table, or the key 'samples' of [cores].",
                )

    def _check_core_words(self, cores: CoresSection) -> None:
        """Check that collars and logs are named, and that words and units are known."""
        for key in ("collars", "intervals"):
            if not cores.ags and not getattr(cores, key):
                self._findings.error(
                    self._where("cores", key),
                    f"The key '{key}' is missing.",
                    "Add it, or name an AGS4 file with ags.",
                )
        for word, layer in cores.layers.items():
            if layer not in LAYERS:
                self._findings.error(
                    self._where("cores.layers", f'"{word}"'),
                    f"There is no layer '{layer}'.",
                    suggestion(layer, LAYERS),
                )
        for name, unit in cores.units.items():
            known = units_of(name)
            if unit not in known:
                self._findings.error(
                    self._where("cores.units", name),
                    f"'{name}' cannot be in '{unit}'.",
                    f"It can be in: {', '.join(known)}."
                    if known
                    else "Only columns that end with their unit, and fractions, have units here.",
                )
        for table in cores.sheets:
            if table not in CORE_TABLES:
                self._findings.error(
                    self._where("cores.sheets", table),
                    f"There is no table '{table}'.",
                    suggestion(table, CORE_TABLES),
                )

    def _check_surface_rules(self, surfaces: SurfacesSection, *, has_cores: bool) -> None:
        given = [
            key
            for key in ("base", "base_elevation_m", "base_from_cores")
            if getattr(surfaces, key) not in (None, False)
        ]
        if len(given) != 1:
            self._findings.error(
                self._where("surfaces"),
                f"The base is given {len(given)} times ({', '.join(given)})."
                if given
                else "The base of the waste is not given.",
                "Give exactly one of base (a file), base_elevation_m (a number) and "
                "base_from_cores = true.",
            )
        if surfaces.cover_m is not None and surfaces.cover_from_cores:
            self._findings.error(
                self._where("surfaces", "cover_m"),
                "The cover is given here and asked for from the cores.",
                "Keep one of cover_m and cover_from_cores.",
            )
        if surfaces.base_correct_to_cores and surfaces.base_from_cores:
            self._findings.error(
                self._where("surfaces", "base_correct_to_cores"),
                "The base comes from the cores already.",
                "Keep one of base_from_cores and base_correct_to_cores.",
            )
        if surfaces.base_breaklines and not surfaces.base:
            self._findings.error(
                self._where("surfaces", "base_breaklines"),
                "There is no base of points or contour lines for the breaklines.",
                "Name the points with base, or take the breaklines out.",
            )
        for key in ("base_from_cores", "base_correct_to_cores", "cover_from_cores"):
            if getattr(surfaces, key) and not has_cores:
                self._findings.error(
                    self._where("surfaces", key),
                    "There are no cores to read it from.",
                    "Add the section [cores] with collars and intervals.",
                )


def _share_of(material: str, label: str) -> Default:
    share = Quantity(0.0, 0.0, 1.0, "-", "", "judgement", "")
    return Default(f"waste.composition.{material}", f"Share of {label}", share, 0.0, 1.0)
