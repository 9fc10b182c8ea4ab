"""The same invented estimate as the report's tests have."""

from __future__ import annotations

import sys
from importlib.util import module_from_spec, spec_from_file_location
from pathlib import Path

import pytest

_SPEC = spec_from_file_location(
    "report_conftest", Path(__file__).parents[1] / "report" / "conftest.py"
)
_MAKER = module_from_spec(_SPEC)
sys.modules[_SPEC.name] = _MAKER  # dataclasses look their module up there
_SPEC.loader.exec_module(_MAKER)


@pytest.fixture(scope="session")
def estimate():
    return _MAKER.make_estimate()
