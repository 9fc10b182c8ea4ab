"""What do people look at?

Comes in: `Estimate`. Goes out: a results folder (page, numbers, tables, maps, figures) and text
for the terminal.
Does not do: any calculation that another room would need.
"""

from reclaim.report.terminal import check_text, cores_text, summary_text
from reclaim.report.writing import refuse_target, write_results

__all__ = ["check_text", "cores_text", "refuse_target", "summary_text", "write_results"]
