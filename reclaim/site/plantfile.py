"""The plant file: which machines make up the line, and where each outlet leads."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from reclaim.assumptions import Assumption, default_assumption, stated_assumption
from reclaim.reference import (
    Default,
    Quantity,
    data_path,
    machine_settings,
    machine_shares,
    material_names,
    products,
    read_rows,
)
from reclaim.site.spelling import suggestion
from reclaim.site.tomlfile import read_document

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from reclaim.site.problems import Findings

DEFAULT_LINE = "lines/dry_then_separate.toml"


@dataclass(frozen=True, slots=True)
class MachineSpec:
    """One machine of the line.

    Attributes
    ----------
    name, kind
        Its own name, and its row in ``machines.csv``.
    outlets
        Outlet to machine or product, every outlet of the kind.
    shares
        Shares [-] that replace the reference, by (outlet, material); never of the rest outlet.
    settings
        Everything in ``machine_settings.csv`` that its kind has, by name (``power_kwh_t``,
        ``throughput_t_h``, ``cut_mm``): the file's number, else the reference.
    """

    name: str
    kind: str
    outlets: Mapping[str, str]
    shares: Mapping[tuple[str, str], Assumption] = field(default_factory=dict)
    settings: Mapping[str, Assumption] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class LineFile:
    """A line as its file states it, every name checked.

    Attributes
    ----------
    name, label
        For files and for readers.
    feed
        Name of the machine that takes the dug waste.
    machines
        In the order of the file.
    products
        Products that some outlet leads to, in reference order.
    source_file
        Path as written in the site file; ``default line`` where there is none.
    """

    name: str
    label: str
    feed: str
    machines: tuple[MachineSpec, ...]
    products: tuple[str, ...]
    source_file: str


class _Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, strict=True)


class _Line(_Strict):
    name: str = Field(min_length=1)
    label: str = Field(min_length=1)
    feed: str


class _Machine(BaseModel):
    """A machine; keys that are not named here are settings of its kind, checked later."""

    model_config = ConfigDict(extra="allow", frozen=True, strict=True)

    name: str = Field(min_length=1)
    kind: str
    outlets: dict[str, str]
    shares: dict[str, dict[str, Any]] = Field(default_factory=dict)


class _PlantDocument(_Strict):
    line: _Line
    machine: list[_Machine] = Field(min_length=1)


def shipped_lines() -> dict[str, Path]:
    """Return the lines that ship, by the name that the site file uses."""
    return {path.stem: path for path in sorted(data_path("lines").glob("*.toml"))}


def read_line(path: Path | None, written: str, findings: Findings) -> LineFile | None:
    """Read a line.

    Parameters
    ----------
    path
        The plant file; None for the default line.
    written
        Its path as written in the site file.
    findings
        Takes every problem of the file.

    Returns
    -------
    LineFile or None
        None where the file has errors.
    """
    if path is None:
        path, written = data_path(DEFAULT_LINE), "default line"
    document = _parse(path, written, findings)
    if document is None:
        return None
    before = len(findings.errors)
    _check_names(document, written, findings)
    machines = tuple(_machine(machine, written, findings) for machine in document.machine)
    if len(findings.errors) == before:
        _check_flow(document.line.feed, machines, written, findings)
        _check_shredders(machines, written, findings)
    if len(findings.errors) > before:
        return None
    used = {target for machine in machines for target in machine.outlets.values()}
    return LineFile(
        name=document.line.name,
        label=document.line.label,
        feed=document.line.feed,
        machines=machines,
        products=tuple(product for product in products() if product in used),
        source_file=written,
    )


def _parse(path: Path, written: str, findings: Findings) -> _PlantDocument | None:
    document = read_document(path, written, findings)
    if document is None:
        return None
    try:
        return _PlantDocument.model_validate(document)
    except ValidationError as errors:
        for problem in errors.errors(include_url=False):
            _tell(written, problem, findings)
    return None


def _tell(written: str, problem: Any, findings: Findings) -> None:
    path = [str(part + 1) if isinstance(part, int) else part for part in problem["loc"]]
    where = f"{written} {' '.join(path)}"
    if problem["type"] == "extra_forbidden":
        models: dict[int, type[BaseModel]] = {0: _PlantDocument, 1: _Line, 2: _Machine}
        known = list(models[min(len(path) - 1, 2)].model_fields)
        findings.error(where, f"There is no key '{path[-1]}'.", suggestion(path[-1], known))
    elif problem["type"] == "missing":
        findings.error(where, f"The key '{path[-1]}' is missing.", "Add it.")
    else:
        findings.error(where, f"{problem['msg']}.", "Correct it.")


def _kinds() -> dict[str, tuple[str, ...]]:
    """Return the outlets of every machine kind; the first takes what no other takes."""
    return {row["kind"]: tuple(row["outlets"].split()) for row in read_rows("machines.csv")}


def _check_names(document: _PlantDocument, written: str, findings: Findings) -> None:
    names = [machine.name for machine in document.machine]
    if document.line.feed not in names:
        findings.error(
            f"{written} line feed",
            f"There is no machine '{document.line.feed}'.",
            suggestion(document.line.feed, names),
        )
    for name in sorted({name for name in names if names.count(name) > 1}):
        findings.error(
            f"{written} machine '{name}'", "Two machines have this name.", "Rename one of them."
        )
    for name in sorted(set(names) & set(products())):
        findings.error(
            f"{written} machine '{name}'",
            "A product has this name too, so an outlet cannot tell them apart.",
            "Rename the machine.",
        )
    known = [*names, *products()]
    for machine in document.machine:
        for outlet, target in machine.outlets.items():
            if target not in known:
                findings.error(
                    f"{written} machine '{machine.name}' outlet '{outlet}'",
                    f"There is no machine or product '{target}'.",
                    suggestion(target, known),
                )


def _machine(machine: _Machine, written: str, findings: Findings) -> MachineSpec:
    """Return one machine, its outlets and overrides checked against the reference."""
    where = f"{written} machine '{machine.name}'"
    kinds = _kinds()
    if machine.kind not in kinds:
        findings.error(
            f"{where} kind", f"There is no kind '{machine.kind}'.", suggestion(machine.kind, kinds)
        )
        return MachineSpec(machine.name, machine.kind, machine.outlets)
    outlets = kinds[machine.kind]
    for outlet in machine.outlets:
        if outlet not in outlets:
            findings.error(
                f"{where} outlet '{outlet}'",
                f"The kind '{machine.kind}' has no such outlet.",
                suggestion(outlet, outlets),
            )
    for outlet in outlets:
        if outlet not in machine.outlets:
            findings.error(
                f"{where} outlet '{outlet}'",
                "This outlet leads nowhere.",
                "Name the machine or product that takes it.",
            )
    shares = _shares(machine, outlets, where, findings)
    settings = _settings(machine, where, findings)
    return MachineSpec(machine.name, machine.kind, machine.outlets, shares, settings)


def _shares(
    machine: _Machine, outlets: tuple[str, ...], where: str, findings: Findings
) -> dict[tuple[str, str], Assumption]:
    rest, *others = outlets
    shares: dict[tuple[str, str], Assumption] = {}
    for outlet, by_material in machine.shares.items():
        if outlet not in others:
            findings.error(
                f"{where} shares {outlet}",
                f"The outlet '{outlet}' takes what the others leave, so it has no shares."
                if outlet == rest
                else f"The kind '{machine.kind}' has no outlet '{outlet}'.",
                f"Give the shares of {', '.join(others)}."
                if others
                else "Take the shares out; this machine has one outlet.",
            )
            continue
        for material, stated in by_material.items():
            spot = f"{where} shares {outlet} {material}"
            if material not in material_names():
                findings.error(
                    spot,
                    f"There is no material '{material}'.",
                    suggestion(material, material_names()),
                )
                continue
            default = Default(
                key=f"plant.{machine.name}.{outlet}.{material}",
                label=f"Share of {material} that {machine.name} sends to {outlet}",
                quantity=Quantity(0.0, 0.0, 1.0, "fraction", "", "judgement", ""),
                minimum=0.0,
                maximum=1.0,
            )
            try:
                shares[outlet, material] = stated_assumption(default, stated)
            except ValueError as error:
                findings.error(spot, str(error), "Give a share between 0 and 1.")
    _check_sums(machine, others, shares, where, findings)
    return shares


def _check_sums(
    machine: _Machine,
    outlets: list[str],
    shares: Mapping[tuple[str, str], Assumption],
    where: str,
    findings: Findings,
) -> None:
    """Check that no material leaves by the outlets more than once."""
    reference = machine_shares()
    for material in dict.fromkeys(material for _, material in shares):
        total = 0.0
        for outlet in outlets:
            stated = shares.get((outlet, material))
            published = reference.get((machine.kind, outlet, material))
            if stated is not None:
                total += stated.central
            elif published is not None:
                total += published.mode
        if total > 1 + 1e-9:
            findings.error(
                f"{where} shares {material}",
                f"The outlets together take {total:.3g} of it, more than there is.",
                "Lower the shares of this material so that they add up to at most 1.",
            )


def _settings(machine: _Machine, where: str, findings: Findings) -> dict[str, Assumption]:
    """Return the machine's numbers: its own where the file states them, else its kind's."""
    stated = machine.model_extra or {}
    defaults = {
        name: default
        for (kind, name), default in machine_settings().items()
        if kind == machine.kind
    }
    for name in stated:
        if name not in defaults:
            known = [*_Machine.model_fields, *defaults]
            findings.error(
                f"{where} {name}",
                f"There is no key '{name}' for the kind '{machine.kind}'.",
                suggestion(name, known),
            )
    settings: dict[str, Assumption] = {}
    for name, default in defaults.items():
        own = replace(
            default,
            key=f"plant.{machine.name}.{name}",
            label=f"{name} of {machine.name}",
        )
        if name not in stated:
            settings[name] = default_assumption(own)
            continue
        try:
            settings[name] = stated_assumption(own, stated[name])
        except ValueError as error:
            findings.error(f"{where} {name}", str(error), f"Give it in {default.quantity.unit}.")
    return settings


def _check_flow(
    feed: str, machines: tuple[MachineSpec, ...], written: str, findings: Findings
) -> None:
    """Check that the feed reaches every machine, and that every machine has a way out."""
    targets = {machine.name: set(machine.outlets.values()) for machine in machines}
    reached = _reach({feed}, targets)
    sources = {
        name: {machine for machine in targets if name in targets[machine]}
        for name in [*targets, *products()]
    }
    way_out = _reach(set(products()), sources)
    unreached = [name for name in targets if name not in reached]
    first = [name for name in unreached if not sources[name]] or unreached
    for machine in machines:
        where = f"{written} machine '{machine.name}'"
        if machine.name in first:
            findings.error(
                where,
                "Nothing reaches this machine.",
                "Lead an outlet of another machine to it, or take it out.",
            )
        elif machine.name in reached and machine.name not in way_out:
            findings.error(
                where,
                "What enters this machine goes round for ever.",
                "Lead an outlet of the loop to a product.",
            )


def _check_shredders(machines: tuple[MachineSpec, ...], written: str, findings: Findings) -> None:
    """Check that no shredder sends its pieces back to itself.

    A shredder sets the size of pieces only where all ways to a machine lead through it.
    """
    targets = {machine.name: set(machine.outlets.values()) for machine in machines}
    for machine in machines:
        if "top_size_mm" in machine.settings and machine.name in _reach(
            targets[machine.name], targets
        ):
            findings.error(
                f"{written} machine '{machine.name}'",
                "What the shredder cuts comes back to it, and the size of pieces in such a loop "
                "cannot be followed.",
                "Lead it on to a screen that does not lead back.",
            )


def _reach(start: set[str], links: Mapping[str, set[str]]) -> set[str]:
    """Return all names that can be reached from `start`, itself included."""
    reached, waiting = set(start), list(start)
    while waiting:
        new = links.get(waiting.pop(), set()) - reached
        reached |= new
        waiting.extend(new)
    return reached
