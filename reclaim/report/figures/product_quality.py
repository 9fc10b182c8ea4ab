"""Products against the limits of those who take them, all on one scale: one is the limit."""

from __future__ import annotations

from textwrap import wrap
from typing import TYPE_CHECKING

import numpy as np
from matplotlib import rc_context
from matplotlib.lines import Line2D

from reclaim.report.figures.style import (
    FAINT,
    GRID,
    INK,
    STOP,
    STYLE,
    key_below,
    new_figure,
    thousands,
)
from reclaim.report.line import amount, limited, limits_of, product_words

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from reclaim.estimate import Estimate
    from reclaim.plant import LimitCheck

_GOOD = "#2a7f5f"
_ROW_IN = 0.34
_LEAST, _MOST = 0.01, 100.0


@rc_context(STYLE)
def product_quality(estimate: Estimate) -> Figure:
    """Draw each limited quantity over its limit; left of one passes, right of it fails.

    Parameters
    ----------
    estimate
        Read for its products; points are the best estimate, bars P10 to P90 of the draws. Of a
        lower limit the limit over the value is drawn, so that good is always on the left.
    """
    checks = [check for check in limits_of(estimate) if np.isfinite(check.value)]
    figure = new_figure(9.5, 1.5 + _ROW_IN * max(len(checks), 3))
    axes = figure.add_subplot()
    figure.suptitle(
        "Products against the limits of those who take them",
        x=0.01, ha="left", weight="bold", fontsize=10,
    )  # fmt: skip
    over = np.array(
        [[_over(check, v) for v in (check.low, check.value, check.high)] for check in checks]
    ).reshape(-1, 3)
    passes = np.array([check.passes for check in checks], bool)
    for good, colour, marker in ((True, _GOOD, "o"), (False, STOP, "X")):
        rows = np.flatnonzero(passes == good)
        axes.hlines(rows, over[rows, 0], over[rows, 2], color=colour, linewidth=3, alpha=0.35)
        axes.plot(over[rows, 1], rows, marker, color=colour, markersize=6)
    axes.axvline(1, color=INK, linewidth=1.0)
    axes.set_xscale("log")
    axes.set(
        xlim=(_LEAST * 0.8, _MOST * 1.25),
        ylim=(max(len(checks), 3) - 0.5, -0.5),
        xlabel="Value over limit [-]\n(of a lower limit, limit over value)",
    )
    thousands(axes, "x")
    axes.set_yticks(range(len(checks)), [_label(check) for check in checks])
    axes.grid(axis="x", color=GRID)
    axes.set_axisbelow(True)
    for row in range(1, len(checks)):
        if checks[row].product != checks[row - 1].product:
            axes.axhline(row - 0.5, color=FAINT, linewidth=0.5)
    key_below(figure, 3, _key())
    return figure


def _over(check: LimitCheck, value: float) -> float:
    """Return a value over its limit, kept inside the drawing."""
    ratio = value / check.limit if check.is_maximum else check.limit / max(value, 1e-12)
    return float(np.clip(ratio, _LEAST, _MOST)) if np.isfinite(ratio) else _MOST


def _label(check: LimitCheck) -> str:
    sign = "at most" if check.is_maximum else "at least"
    what = limited(check)
    text = (
        f"{product_words(check)}: {what}, {sign} {amount(check, check.limit)} "
        f"({check.specification})"
    )
    return "\n".join(wrap(text, 62))


def _key() -> list[Line2D]:
    return [
        Line2D([], [], color=_GOOD, marker="o", linestyle="", label="passes"),
        Line2D([], [], color=STOP, marker="X", linestyle="", label="fails"),
        Line2D([], [], color=FAINT, linewidth=3, alpha=0.5, label="P10 to P90"),
    ]
