"""A drawing as a picture: drawn once, for the page and for its file alike."""

from __future__ import annotations

from io import BytesIO
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from matplotlib.figure import Figure

DPI = 150
"""A little finer than the page shows it on a common screen; clear on paper."""

_COLOURS = 128
"""Drawings use few colours; this many keep a map's shading smooth at a third of the size."""


def as_png(figure: Figure) -> bytes:
    """Return a figure as a PNG file in memory.

    Parameters
    ----------
    figure
        From this folder.
    """
    from matplotlib import rc_context
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from PIL import Image

    from reclaim.report.figures.style import STYLE

    with rc_context(STYLE):
        figure.set_dpi(DPI)
        canvas = FigureCanvasAgg(figure)
        canvas.draw()  # type: ignore[no-untyped-call]
    pixels = np.asarray(canvas.buffer_rgba())[..., :3]  # type: ignore[no-untyped-call]
    picture = Image.fromarray(pixels).quantize(
        _COLOURS, method=Image.Quantize.FASTOCTREE, dither=Image.Dither.NONE
    )
    buffer = BytesIO()
    picture.save(buffer, "PNG", dpi=(DPI, DPI))
    return buffer.getvalue()
