"""Many shapes of one look as one: a figure of a hundred bars is drawn as fast as one of five."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.patches import PathPatch
from matplotlib.path import Path

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from numpy.typing import ArrayLike

    from reclaim.report.figures.style import Fill


def bars(
    axes: Axes,
    *,
    x: tuple[ArrayLike, ArrayLike],
    y: tuple[ArrayLike, ArrayLike],
    look: Fill,
    label: str | None = None,
) -> PathPatch:
    """Draw upright or lying bars of one look; those of no size are left out.

    Parameters
    ----------
    axes
        Where to.
    x, y
        The two ends of each bar on either axis, in data units; one-dimensional or single numbers.
    look
        Their fill.
    label
        Their words in the key.
    """
    ends = (np.asarray(end, float) for pair in (x, y) for end in pair)
    x_0, x_1, y_0, y_1 = (np.ravel(one) for one in np.broadcast_arrays(*ends))
    held = (x_0 != x_1) & (y_0 != y_1)
    corners = np.stack(
        [np.stack(pair, axis=-1) for pair in ((x_0, y_0), (x_1, y_0), (x_1, y_1), (x_0, y_1),
                                              (x_0, y_0))], axis=1,
    )[held]  # fmt: skip
    codes = np.tile(
        [Path.MOVETO, Path.LINETO, Path.LINETO, Path.LINETO, Path.CLOSEPOLY], len(corners)
    )
    patch = PathPatch(Path(corners.reshape(-1, 2), codes), label=label, **look.bar)
    patch.sticky_edges.x.append(0.0)
    patch.sticky_edges.y.append(0.0)
    axes.add_patch(patch)
    axes.autoscale_view()
    return patch


def lying_bars(
    axes: Axes,
    rows: ArrayLike,
    ends: tuple[ArrayLike, ArrayLike],
    *,
    height: ArrayLike,
    look: Fill,
    label: str | None = None,
) -> PathPatch:
    """Draw bars from one end to the other, each around the middle of its row."""
    middle, half = np.asarray(rows, float), np.asarray(height, float) / 2
    return bars(axes, x=ends, y=(middle - half, middle + half), look=look, label=label)


def ranges(
    axes: Axes,
    rows: ArrayLike,
    low: ArrayLike,
    high: ArrayLike,
    *,
    colour: str,
    width: float = 1.4,
    mark: float = 7.0,
) -> None:
    """Draw lying ranges with a short stroke at either end; rows without a range are left out."""
    ends = np.column_stack([np.ravel(low), np.ravel(high)]).astype(float)
    held = np.isfinite(ends).all(axis=1)
    at = np.column_stack([np.ravel(rows)] * 2).astype(float)[held]
    gap = np.full((held.sum(), 1), np.nan)
    look: dict[str, Any] = {"color": colour, "linewidth": width}
    axes.plot(
        np.hstack([ends[held], gap]).ravel(), np.hstack([at, gap]).ravel(), marker="|",
        markersize=mark, **look,
    )  # fmt: skip
