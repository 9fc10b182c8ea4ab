"""How every figure looks: colours stay apart in print and to colour-blind eyes.

Meaning never hangs on colour alone: each fill has its own hatch, and neighbours differ in
lightness.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from matplotlib.colors import LinearSegmentedColormap, ListedColormap
from matplotlib.figure import Figure
from matplotlib.ticker import FuncFormatter, NullFormatter

from reclaim.report.figures.layout import KnownSizes
from reclaim.report.wording import THIN_SPACE, number

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from matplotlib.artist import Artist
    from matplotlib.axes import Axes
    from matplotlib.cm import ScalarMappable

INK = "#1f2d33"
FAINT = "#6b777c"
GRID = "#d9dcd6"
STOP = "#9c2f2f"
WATER = "#9cc4d8"
GAS = "#c9b7d6"


@dataclass(frozen=True, slots=True)
class Fill:
    """Colour and hatch of one meaning."""

    colour: str
    hatch: str = ""

    @property
    def bar(self) -> dict[str, Any]:
        """Arguments for a filled shape."""
        return {"facecolor": self.colour, "hatch": self.hatch, "edgecolor": INK, "linewidth": 0.5}


COVER = Fill("#d8b26a", "....")
WASTE = Fill("#4b6b66", "")
SLOPES = Fill("#cfd3c4", "////")
NATURAL = Fill("#efe9db", "")

GROUPS = {
    "combustible": Fill("#d98f2b", ""),
    "metal": Fill("#1d4e6b", "xxx"),
    "mineral": Fill("#8fb8c4", "\\\\\\"),
    "fines": Fill("#8a7358", "..."),
    "hazardous": Fill("#9c2f2f", "+++"),
}

MONEY = {
    "capital": Fill("#2b3a42", ""),
    "operation": Fill("#a9b0b4", "///"),
    "disposal": Fill("#a8322e", "xx"),
    "products": Fill("#d98f2b", ""),
    "airspace": Fill("#2a7f8f", "\\\\\\"),
    "grant": Fill("#b59ad0", "++"),
    "avoided": Fill("#e3ead9", "..."),
}
MONEY_LABELS = {
    "capital": "capital",
    "operation": "operation",
    "disposal": "disposal",
    "products": "products, sold or paid to be taken",
    "airspace": "airspace won",
    "grant": "grant",
    "avoided": "costs avoided",
}

THICKNESS = LinearSegmentedColormap.from_list(
    "peat", ["#f4efdf", "#d9c48f", "#8fa487", "#3f7470", "#173a4a"]
)

CHANCES = (0.0, 0.05, 0.25, 0.5, 0.75, 0.95, 1.0)
"""Steps of a chance, for the colours below."""

CHANCE_COLOURS = ListedColormap(
    ["#f4efdf", "#e6d7ab", "#cfc58f", "#a9b68d", "#7fa08c", "#5c8a85"], "chance"
)
"""Light enough that the lines of a map stay plain on the surest ground."""

STYLE: Any = {
    "axes.edgecolor": FAINT,
    "axes.labelcolor": INK,
    "axes.labelsize": 9,
    "axes.linewidth": 0.7,
    "axes.spines.right": False,
    "axes.spines.top": False,
    "axes.titlelocation": "left",
    "axes.titlesize": 10,
    "axes.titleweight": "bold",
    "axes.titlecolor": INK,
    "axes.titley": 1.0,  # where it would come to stand anyway, without looking for it
    "figure.facecolor": "white",
    "font.family": "DejaVu Sans",
    "font.size": 9,
    "grid.color": GRID,
    "grid.linewidth": 0.6,
    "hatch.color": "#ffffff",
    "hatch.linewidth": 0.6,
    "legend.fontsize": 8,
    "legend.frameon": False,
    "savefig.facecolor": "white",
    "svg.fonttype": "path",
    "svg.hashsalt": "reclaim",
    "text.color": INK,
    "text.hinting": "none",  # at this size letters are as clear without, and drawn sooner
    "text.parse_math": False,
    "xtick.color": INK,
    "xtick.labelsize": 8,
    "ytick.color": INK,
    "ytick.labelsize": 8,
}


def new_figure(width_in: float, height_in: float) -> Figure:
    """Return an empty figure that lays itself out."""
    return Figure(figsize=(width_in, height_in), layout=KnownSizes())


def colour_bar(axes: Axes, drawn: ScalarMappable, label: str, ticks: Any = None) -> Axes:
    """Draw the scale of the colours of a map beside it, and return its axes."""
    figure = axes.figure
    assert isinstance(figure, Figure)
    place = figure.add_axes((0.9, 0.1, 0.02, 0.8))
    bar = figure.colorbar(drawn, cax=place, ticks=ticks)
    bar.set_label(label)
    bar.outline.set_linewidth(0.5)
    engine = figure.get_layout_engine()
    assert isinstance(engine, KnownSizes)
    engine.bars[axes] = place
    return place


def key_below(
    figure: Figure,
    columns: int,
    handles: Sequence[Artist] | None = None,
    words: Sequence[str] | None = None,
) -> None:
    """Draw the key of a figure along its lower edge, of what is labelled or of handles given."""
    given: dict[str, Any] = {} if handles is None else {"handles": handles}
    if words is not None:
        given["labels"] = words
    figure.legend(loc="lower center", ncols=columns, handlelength=2.2, **given)
    engine = figure.get_layout_engine()
    assert isinstance(engine, KnownSizes)
    engine.key_columns = columns


def thousands(axis_of: Axes, axes: Iterable[str]) -> None:
    """Write the tick labels of the axes named (``x``, ``y``) with thin spaces between thousands."""
    for name in axes:
        axis = axis_of.xaxis if name == "x" else axis_of.yaxis
        axis.set_major_formatter(FuncFormatter(tick_text))
        axis.set_minor_formatter(NullFormatter())


def tick_text(value: float, _position: int | None = None) -> str:
    """Return a round number as it stands, thousands set apart."""
    text = f"{abs(value):,.10g}".replace(",", THIN_SPACE)
    return f"\u2212{text}" if value < 0 else text


def tonnes(value: float) -> str:
    """Return a mass as it is written beside a shape."""
    return f"{number(value)} t"
