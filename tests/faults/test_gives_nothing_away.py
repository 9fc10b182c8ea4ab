"""What is handed on tells nothing of the machine and the person it was made by."""

from __future__ import annotations

import json
import os
import socket
import subprocess
import zipfile
import zlib
from io import BytesIO
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path
    from types import SimpleNamespace

USER, FOLDER = "telltaleuser", "telltalefolder"


def texts(name: str, data: bytes) -> Iterator[tuple[str, bytes]]:
    """Yield the bytes of a file, and those of what is packed in it."""
    yield name, data
    if data.startswith(b"PK"):
        with zipfile.ZipFile(BytesIO(data)) as packed:
            for part in packed.namelist():
                yield f"{name}: {part}", packed.read(part)
    if data.startswith(b"\x89PNG"):
        at = 8
        while at < len(data):
            size, kind = int.from_bytes(data[at : at + 4]), data[at + 4 : at + 8]
            chunk = data[at + 8 : at + 8 + size]
            assert kind not in {b"eXIf", b"tIME"}, name
            if kind == b"zTXt":
                yield f"{name}: {kind!r}", zlib.decompress(chunk.partition(b"\0")[2][1:])
            at += 12 + size


def told(folder: Path, words: tuple[str, ...]) -> list[str]:
    found = []
    for path in sorted(folder.rglob("*")):
        if not path.is_file():
            continue
        for name, data in texts(str(path.relative_to(folder)), path.read_bytes()):
            for word in words:
                for form in (word.encode(), word.encode("utf-16-le")):
                    if form.lower() in data.lower():
                        found.append(f"{name}: {word}")
    return found


@pytest.mark.parametrize(
    "command",
    [
        ("estimate", "--excel"),
        ("cores", "--excel"),
        pytest.param(("portfolio", "--reports", "1", "--excel"), marks=pytest.mark.slow),
    ],
    ids=lambda words: words[0],
)
def test_no_file_names_a_folder_a_user_or_the_machine(
    tmp_path: Path, runs: SimpleNamespace, command: tuple[str, ...]
) -> None:
    """Also where the site file itself has full paths."""
    home = tmp_path / FOLDER / USER
    home.mkdir(parents=True)
    site = runs.write_small_site(home / "site")
    text = site.read_text(encoding="utf-8")
    for name in ("survey.tif", "samples.csv", "footprint.geojson"):
        assert f'"{name}"' in text
        text = text.replace(f'"{name}"', json.dumps(str(site.with_name(name))))
    text = text.replace("survey_sd_m = 0.05", "survey_sd_m = 4.0")
    site.write_text(text, encoding="utf-8")
    out = home / "out"
    run = subprocess.run(
        runs.command(command[0], site, "--out", out, *command[1:]),
        env={
            **runs.environment(HOME=str(home), USER=USER, LOGNAME=USER, USERNAME=USER),
            "MPLCONFIGDIR": os.environ.get("MPLCONFIGDIR", str(tmp_path / "mpl")),
        },
        capture_output=True,
        text=True,
        check=False,
    )
    assert run.returncode == 0, run.stderr
    assert any(out.rglob("*.html"))
    machine = socket.gethostname()
    words = (USER, FOLDER, str(tmp_path), *((machine,) if len(machine) > 5 else ()))
    assert told(out, words) == []
