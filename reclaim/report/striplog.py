"""Strip logs: each core drawn as a column of layers, with its samples and gas readings beside."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from reclaim.report.wording import as_stated, number

if TYPE_CHECKING:
    from reclaim.site import Cores

STRIPS_DRAWN = 120
"""With more cores than this the page names the tables instead of drawing every log."""

_METRE = 16.0
_TOP = 14.0


@dataclass(frozen=True, slots=True)
class Layer:
    """One logged interval: place and height in the drawing, and its words."""

    y: float
    height: float
    layer: str
    words: str
    note: str


@dataclass(frozen=True, slots=True)
class Mark:
    """A depth tick, or the place of a reading, with its words."""

    y: float
    words: str


@dataclass(frozen=True, slots=True)
class Strip:
    """One core as a drawing, 16 units to the metre.

    Attributes
    ----------
    id, core_id, title
        Address on the page, the core's name, and a line on it.
    height
        Of the drawing.
    layers, samples, ticks, readings
        From the log, the samples, the depth scale and the methane readings.
    cautions
        What was found in this core that raised a caution.
    """

    id: str
    core_id: str
    title: str
    height: float
    layers: tuple[Layer, ...]
    samples: tuple[Layer, ...]
    ticks: tuple[Mark, ...]
    readings: tuple[Mark, ...]
    cautions: tuple[str, ...]


def strips(cores: Cores, cautions: list[dict[str, Any]] | None = None) -> tuple[Strip, ...]:
    """Return a strip log for every core; none where there are too many to draw.

    Parameters
    ----------
    cores
        The core tables.
    cautions
        Of the results document; those that name a core are shown with it.
    """
    if len(cores.collars) > STRIPS_DRAWN:
        return ()
    return tuple(
        _strip(place, collar, cores, cautions or [])
        for place, collar in enumerate(cores.collars.to_dict("records"), start=1)
    )


def _strip(place: int, collar: Any, cores: Cores, cautions: list[dict[str, Any]]) -> Strip:
    core_id = str(collar["core_id"])
    intervals = cores.intervals[cores.intervals["core_id"] == collar["core_id"]]
    samples = cores.samples[cores.samples["core_id"] == collar["core_id"]]
    gas = cores.gas[cores.gas["core_id"] == collar["core_id"]]
    depth = max(float(collar["depth_m"]), float(intervals["to_m"].max() if len(intervals) else 0))
    zone = f", zone {collar['zone']}" if collar["zone"] else ""
    step = 1 if depth <= 12 else 2 if depth <= 30 else 5
    return Strip(
        id=f"core-{place}",
        core_id=core_id,
        title=(
            f"{number(depth)} m deep{zone}; collar at {number(float(collar['elevation_m']), 4)} m"
        ),
        height=round(_TOP + _METRE * depth + 10, 1),
        layers=tuple(
            _layer(row["from_m"], row["to_m"], str(row["layer"]), str(row["note"] or ""))
            for row in intervals.to_dict("records")
        ),
        samples=tuple(
            _layer(row["from_m"], row["to_m"], "sample", f"{number(row['wet_mass_kg'])} kg sorted")
            for row in samples.to_dict("records")
        ),
        ticks=tuple(
            Mark(_y(metres), str(metres)) for metres in range(0, int(depth) + 1, step)
        ),
        readings=tuple(
            Mark(_y(row["depth_m"]), f"{number(row['ch4_pct'], 2)}%")
            for row in gas.to_dict("records")
            if row["ch4_pct"] == row["ch4_pct"]
        ),
        cautions=tuple(
            caution["what"] for caution in cautions if core_id in caution.get("cores", ())
        ),
    )  # fmt: skip


def _layer(top: float, bottom: float, layer: str, note: str) -> Layer:
    return Layer(
        y=_y(top),
        height=round(_METRE * (bottom - top), 1),
        layer=layer,
        words=f"{as_stated(top)} to {as_stated(bottom)} m, {layer}",
        note=note,
    )


def _y(depth_m: float) -> float:
    return round(_TOP + _METRE * float(depth_m), 1)
