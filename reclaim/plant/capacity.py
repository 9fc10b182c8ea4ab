"""Capacity: what each machine must take an hour, how many are needed, which is the bottleneck."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from reclaim.plant.machines import kind_of

if TYPE_CHECKING:
    from collections.abc import Mapping

    from reclaim.assumptions import Assumption
    from reclaim.plant.products import Products
    from reclaim.site.plantfile import LineFile

_DAYS_PER_YEAR = 365.0


@dataclass(frozen=True, slots=True)
class MachineLoad:
    """What one machine of the line has to do.

    Attributes
    ----------
    name, label
        Of the machine, and of its kind.
    load_t_h
        Wet tonnes an hour at the yearly rate of the plant [t/h].
    throughput_t_h
        What one machine takes [t/h].
    needed
        Machines side by side.
    use
        Load over what these take together [-].
    power_kwh_t
        Electricity per tonne fed to the machine, fans apart [kWh/t].
    """

    name: str
    label: str
    load_t_h: float
    throughput_t_h: float
    needed: int
    use: float
    power_kwh_t: float


@dataclass(frozen=True, slots=True)
class Capacity:
    """What the line can take.

    Attributes
    ----------
    machines
        In the order of the file.
    bottleneck
        The machine that runs full first, with the machines needed.
    feed_t_h
        Wet tonnes of waste an hour at the yearly rate [t/h].
    most_t_y
        Waste a year at which the bottleneck runs full [t/y].
    hours
        Hours that the whole dig takes at the yearly rate [h].
    power_kwh_t
        Electricity of the line per tonne of waste, fans included [kWh/t].
    buffer_t
        Waste that lies in the drying boxes at a time [t]; 0 without a box.
    """

    machines: tuple[MachineLoad, ...]
    bottleneck: str
    feed_t_h: float
    most_t_y: float
    hours: float
    power_kwh_t: float
    buffer_t: float


def line_capacity(
    products: Products, line: LineFile, assumptions: Mapping[str, Assumption]
) -> Capacity:
    """Return what every machine has to take at the yearly rate of the plant.

    Parameters
    ----------
    products
        The best estimate, one row.
    line
        Machines and where their outlets lead.
    assumptions
        The site's: ``plant.capacity_t_y``, ``plant.working_hours_y``, ``plant.drying_days``.

    Notes
    -----
    Boxes fill and empty in working hours but dry day and night; what lies in them is the buffer
    between digging and sorting.
    """
    hours_y = assumptions["plant.working_hours_y"].central
    rate_t_y = assumptions["plant.capacity_t_y"].central
    feed_t = float(next(s.wet_t[0] for s in products.streams if s.origin == "feed"))
    loads = []
    buffer_t = 0.0
    for machine in line.machines:
        share = float(products.machine_t[machine.name][0]) / feed_t
        one = machine.settings["throughput_t_h"].central
        kind = kind_of(machine.kind)
        load = share * rate_t_y / hours_y
        if kind.model == "box":
            load = share * rate_t_y / (_DAYS_PER_YEAR * 24)
            buffer_t += share * rate_t_y / _DAYS_PER_YEAR * assumptions["plant.drying_days"].central
        needed = max(math.ceil(load / one - 1e-9), 1)
        loads.append(
            MachineLoad(
                name=machine.name,
                label=kind.label,
                load_t_h=load,
                throughput_t_h=one,
                needed=needed,
                use=load / (needed * one),
                power_kwh_t=machine.settings["power_kwh_t"].central,
            )
        )
    fullest = max(loads, key=lambda item: item.use)
    return Capacity(
        machines=tuple(loads),
        bottleneck=fullest.name,
        feed_t_h=rate_t_y / hours_y,
        most_t_y=rate_t_y / fullest.use if fullest.use > 0 else math.inf,
        hours=feed_t / rate_t_y * hours_y,
        power_kwh_t=float(products.power_mwh[0]) / feed_t * 1000,
        buffer_t=buffer_t,
    )
