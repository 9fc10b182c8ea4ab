"""The same line with its boxes, with thermal dryers, and without drying, side by side."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from reclaim.assumptions import default_assumption
from reclaim.plant.line import run_line
from reclaim.plant.machines import kind_of
from reclaim.reference import machine_settings

if TYPE_CHECKING:
    from collections.abc import Mapping

    import numpy as np

    from reclaim.assumptions import Assumption, Draws
    from reclaim.plant.products import Products
    from reclaim.site.plantfile import LineFile, MachineSpec
    from reclaim.waste import Feed

_THERMAL = "thermal_dryer"


@dataclass(frozen=True, slots=True)
class DryingChoice:
    """One way to dry, or not to, and what it makes of the fuel.

    Attributes
    ----------
    name
        ``box``, ``thermal`` or ``none``.
    moisture_out
        Of what leaves the dryers [-]; NaN without any.
    heat_bought_mwh, power_mwh
        Of the whole line [MWh].
    water_removed_t
        [t].
    fuel_t, fuel_ncv_mj_kg, fuel_purity
        Wet mass [t], net calorific value as received [MJ/kg] and share of combustible matter [-]
        of the fuel; NaN where the line makes none.
    """

    name: str
    moisture_out: float
    heat_bought_mwh: float
    power_mwh: float
    water_removed_t: float
    fuel_t: float
    fuel_ncv_mj_kg: float
    fuel_purity: float


def drying_choices(
    feed: Feed, line: LineFile, assumptions: Mapping[str, Assumption], best: Draws
) -> tuple[DryingChoice, ...]:
    """Run a line with boxes in three ways; empty for a line without a box.

    Parameters
    ----------
    feed
        Of the best estimate, one row.
    line, assumptions
        As in `run_line`.
    best
        The best estimate.
    """
    boxes = {item.name for item in line.machines if kind_of(item.kind).model == "box"}
    if not boxes:
        return ()
    lines = {"box": line, "thermal": _thermal(line, boxes), "none": _without(line, boxes)}
    return tuple(
        _choice(name, run_line(feed, other, assumptions, best)) for name, other in lines.items()
    )


def _thermal(line: LineFile, boxes: set[str]) -> LineFile:
    settings = {
        name: default_assumption(replace(default, key=f"plant.{_THERMAL}.{name}"))
        for (kind, name), default in machine_settings().items()
        if kind == _THERMAL
    }
    machines = tuple(
        replace(item, kind=_THERMAL, settings=settings) if item.name in boxes else item
        for item in line.machines
    )
    return replace(line, machines=machines)


def _without(line: LineFile, boxes: set[str]) -> LineFile:
    """Return the line with every box taken out and its inlets led to where its outlet led."""
    onward = {item.name: next(iter(item.outlets.values())) for item in line.machines}

    def after(target: str) -> str:
        while target in boxes:
            target = onward[target]
        return target

    def led_past(item: MachineSpec) -> MachineSpec:
        return replace(item, outlets={name: after(to) for name, to in item.outlets.items()})

    return replace(
        line,
        feed=after(line.feed),
        machines=tuple(led_past(item) for item in line.machines if item.name not in boxes),
    )


def _choice(name: str, made: Products) -> DryingChoice:
    fuel = made.names.index("fuel") if "fuel" in made.names else None

    def of_fuel(values: np.ndarray) -> float:
        return float("nan") if fuel is None else float(values[0, fuel])

    dried = made.drying.feed_t[0] > 0
    return DryingChoice(
        name=name,
        moisture_out=float(made.drying.moisture_out[0]) if dried else float("nan"),
        heat_bought_mwh=float(made.drying.heat_bought_mwh[0]),
        power_mwh=float(made.power_mwh[0]),
        water_removed_t=float(made.water_lost_t[0]),
        fuel_t=of_fuel(made.product_wet_t),
        fuel_ncv_mj_kg=of_fuel(made.ncv_mj_kg),
        fuel_purity=of_fuel(made.purity),
    )
