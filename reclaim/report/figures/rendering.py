"""A drawing as a picture: drawn once, for the page and for its file alike."""

from __future__ import annotations

from dataclasses import dataclass
from io import BytesIO
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from matplotlib.figure import Figure
    from numpy.typing import NDArray

DPI = 144
"""Half as fine again as a common screen, 96 to the inch; clear on paper."""

_COLOURS = 128
"""Drawings use few colours; this many keep a map's shading smooth at a third of the size."""

_PACKING = 4
"""Of 1 to 9: a tenth larger than the smallest file, in a third of the time."""


@dataclass(frozen=True, slots=True)
class Pixels:
    """A drawing that is not packed into a file yet.

    Attributes
    ----------
    width, height
        Size in pixels.
    rgba
        Four bytes a pixel, row by row from the top, shape ``(height, width, 4)``.
    """

    width: int
    height: int
    rgba: NDArray[np.uint8]


def drawn(figure: Figure) -> Pixels:
    """Draw a figure from this folder."""
    from matplotlib import rc_context
    from matplotlib.backends.backend_agg import FigureCanvasAgg

    from reclaim.report.figures.style import STYLE

    with rc_context(STYLE):
        figure.set_dpi(DPI)
        canvas = FigureCanvasAgg(figure)
        canvas.draw()  # type: ignore[no-untyped-call]
    width, height = canvas.get_width_height()
    return Pixels(width, height, np.asarray(canvas.buffer_rgba()))  # type: ignore[no-untyped-call]


def packed(pixels: Pixels) -> bytes:
    """Return a drawing as a PNG file in memory; it leaves other threads room to draw."""
    from PIL import Image

    size = (pixels.width, pixels.height)
    picture = Image.frombuffer("RGBA", size, pixels.rgba, "raw", "RGBA", 0, 1)
    picture = picture.convert("RGB").quantize(
        _COLOURS, method=Image.Quantize.FASTOCTREE, dither=Image.Dither.NONE
    )
    buffer = BytesIO()
    picture.save(buffer, "PNG", dpi=(DPI, DPI), compress_level=_PACKING)
    return buffer.getvalue()
