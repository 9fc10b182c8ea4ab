"""What do people look at?

Comes in: `Estimate`. Goes out: a results folder (page, numbers, tables, maps, figures) and text
for the terminal.
Does not do: any calculation that another room would need.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from reclaim.report.terminal import check_text, cores_text, summary_text
    from reclaim.report.writing import refuse_target, write_results

__all__ = ["check_text", "cores_text", "refuse_target", "summary_text", "write_results"]

_HOMES = {
    "check_text": "terminal",
    "cores_text": "terminal",
    "refuse_target": "writing",
    "summary_text": "terminal",
    "write_results": "writing",
}


def __getattr__(name: str) -> Any:
    """Import a name from its file when it is first asked for; `reclaim explain` needs none."""
    from importlib import import_module

    if name not in _HOMES:
        raise AttributeError(f"module 'reclaim.report' has no attribute {name!r}")
    return getattr(import_module(f"reclaim.report.{_HOMES[name]}"), name)
