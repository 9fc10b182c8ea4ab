"""Estimate whether an old dump is worth digging up.

The public interface is small: `read_site` reads and checks a site file, `estimate` runs the main
job, `write_results` writes what people look at. Heavy packages load on first use only.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

__version__ = "0.1.0"

from reclaim.estimate import Estimate, estimate

if TYPE_CHECKING:
    from reclaim.report import write_results
    from reclaim.site import SiteError, read_site

__all__ = ["Estimate", "SiteError", "__version__", "estimate", "read_site", "write_results"]

_HOMES = {
    "SiteError": "reclaim.site",
    "read_site": "reclaim.site",
    "write_results": "reclaim.report",
}


def __getattr__(name: str) -> Any:
    """Import a public name from its room when it is first asked for."""
    from importlib import import_module

    if name not in _HOMES:
        raise AttributeError(f"module 'reclaim' has no attribute {name!r}")
    return getattr(import_module(_HOMES[name]), name)
