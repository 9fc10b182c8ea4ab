"""Rewrite the generated tables of the docs: `python docs/make_tables.py`."""

from __future__ import annotations

import re
from pathlib import Path

from reclaim.reference import (
    assumption_defaults,
    machine_settings,
    material_names,
    materials,
    read_rows,
    sources,
)

DOCS = Path(__file__).parent


def settings_table() -> str:
    """Return the plain numbers of the site file."""
    rows = [
        (f"`{row['key']}`", row["label"], row["value"] or "none", row["unit"], row["status"])
        for row in read_rows("settings.csv")
        if not row["key"].startswith("limits.")
    ]
    return _table(("key", "what it is", "default", "unit", "status"), rows)


def ceilings_table() -> str:
    """Return how much is read at most."""
    rows = [
        (
            f"`{row['name']}`",
            row["label"] + (f" ({row['note']})" if row["note"] else ""),
            row["value"],
            row["unit"],
            row["status"],
        )
        for row in read_rows("ceilings.csv")
    ]
    return _table(("name", "what it is", "default", "unit", "status"), rows)


def assumptions_table() -> str:
    """Return the uncertain numbers of the site file."""
    rows = []
    for default in assumption_defaults().values():
        number = default.quantity
        span = (
            f"{number.mode:g}"
            if number.low == number.high
            else f"{number.low:g} / {number.mode:g} / {number.high:g}"
        )
        label = f"{default.label} ({number.note})" if number.note else default.label
        rows.append((f"`{default.key}`", label, span, number.unit, number.status))
    return _table(("key", "what it is", "low / mode / high", "unit", "status"), rows)


def materials_table() -> str:
    """Return the materials."""
    rows = [(f"`{item.name}`", item.label, item.group) for item in materials()]
    assert len(rows) == len(material_names())
    return _table(("name", "material", "group"), rows)


def machines_table() -> str:
    """Return the kinds of machine, their outlets and what can be set on them."""
    settings: dict[str, list[str]] = {}
    for kind, name in machine_settings():
        settings.setdefault(kind, []).append(f"`{name}`")
    rows = [
        (
            f"`{row['kind']}`",
            row["label"],
            ", ".join(f"`{outlet}`" for outlet in row["outlets"].split()),
            ", ".join(settings[row["kind"]]),
        )
        for row in read_rows("machines.csv")
    ]
    return _table(("kind", "machine", "outlets, the rest first", "settings"), rows)


def regions_table() -> str:
    """Return the regions with the fines and plastics they are taken to have, by era."""
    labels = {row["key"]: row["label"] for row in read_rows("regions.csv")}
    shares: dict[tuple[str, str], dict[str, dict[str, str]]] = {}
    for row in read_rows("regional_compositions.csv"):
        shares.setdefault((row["region"], row["era"]), {})[row["material"]] = row
    rows = []
    for (region, era), materials_of in shares.items():
        cells = [
            " / ".join(
                f"{100 * sum(float(materials_of[name][end]) for name in names):.3g}"
                for end in ("low", "mode", "high")
            )
            for names in (("fines",), ("plastic_film", "plastic_dense"), ("stone_ceramic",))
        ]
        first = materials_of["fines"]
        rows.append((f"`{region}`", labels[region], era, *cells, first["source"], first["status"]))
    head = ("region", "where", "era", "fines [%]", "plastics [%]", "stone [%]", "source", "status")
    return _table(head, rows)


def regional_defaults_table() -> str:
    """Return the other defaults of a screening."""
    rows = [
        (
            f"`{row['key']}`",
            row["label"],
            row["mode"]
            if row["low"] == row["high"]
            else f"{row['low']} / {row['mode']} / {row['high']}",
            row["unit"],
            row["status"],
        )
        for row in read_rows("regional_defaults.csv")
    ]
    return _table(("key", "what it is", "low / mode / high", "unit", "status"), rows)


def sources_table() -> str:
    """Return every source by key."""
    return _table(
        ("key", "reference"), [(f"`{item.key}`", item.reference) for item in sources().values()]
    )


def commands() -> str:
    """Return the help of every command, as the program prints it."""
    from click.testing import CliRunner

    from reclaim.cli import cli

    parts = []
    for name in ["", *sorted(cli.commands)]:
        words = [name, "--help"] if name else ["--help"]
        shown = CliRunner().invoke(cli, words, prog_name="reclaim", terminal_width=100)
        assert shown.exit_code == 0
        heading = f"## reclaim {name}".rstrip() if name else "## All commands"
        parts.append(f"{heading}\n\n```text\n{shown.output.rstrip()}\n```")
    return "\n\n".join(parts)


TABLES = {
    "commands": commands,
    "settings": settings_table,
    "ceilings": ceilings_table,
    "assumptions": assumptions_table,
    "materials": materials_table,
    "machines": machines_table,
    "regions": regions_table,
    "regional_defaults": regional_defaults_table,
    "sources": sources_table,
}


def with_tables(text: str) -> str:
    """Return a page with its generated tables renewed."""
    return re.sub(
        r"(<!-- table: (\w+) -->\n).*?(<!-- end -->)",
        lambda found: f"{found[1]}\n{TABLES[found[2]]()}\n\n{found[3]}",
        text,
        flags=re.DOTALL,
    )


def _table(header: tuple[str, ...], rows: list[tuple[str, ...]]) -> str:
    lines = [header, tuple("---" for _ in header), *rows]
    safe = ([cell.replace("|", "/") for cell in line] for line in lines)
    return "\n".join(f"| {' | '.join(line)} |" for line in safe)


if __name__ == "__main__":
    for page in sorted(DOCS.glob("*.md")):
        page.write_text(with_tables(page.read_text(encoding="utf-8")), encoding="utf-8")
