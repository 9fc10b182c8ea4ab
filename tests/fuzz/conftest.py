"""Forms of files for the tests of this folder, made once."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))


@pytest.fixture(scope="session")
def forms(tmp_path_factory):
    from formats import formats

    return formats(tmp_path_factory.mktemp("forms"))
