"""Numbers in words where only their size is known: two digits that count, no more."""

from __future__ import annotations

import math


def rough(value: float) -> str:
    """Return a number rounded to two digits that count.

    Examples
    --------
    >>> rough(1234.5), rough(0.01234), rough(96.0), rough(0.0)
    ('1,200', '0.012', '96', '0')
    """
    if value == 0 or not math.isfinite(value):
        return f"{value:g}"
    decimals = 1 - math.floor(math.log10(abs(value)))
    return f"{round(value, decimals):,.{max(0, decimals)}f}"
