"""Run a line: feed in, products out, every balance closed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from reclaim.assumptions import Assumption, Draws, quantity_assumption
from reclaim.plant.drying import Dried, DryingTerms, dry
from reclaim.plant.flowsheet import solve_flows
from reclaim.plant.products import Balance, Drying, Products, Stream
from reclaim.plant.quality import Parts, product_quality, split_properties
from reclaim.plant.shares import Outlet, line_outlets
from reclaim.reference import quantity_of, read_rows

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from reclaim.site.plantfile import LineFile
    from reclaim.waste import Feed

FloatArray = NDArray[np.floating[Any]]

_PASSES = 60
_SETTLED = 1e-13


@dataclass(frozen=True, slots=True)
class Matter:
    """Dry matter that cannot rot, dry matter that can, and water [t], any common shape."""

    stable: FloatArray
    rotting: FloatArray
    water: FloatArray

    @property
    def wet_t(self) -> FloatArray:
        """Mass of all three together [t]."""
        return np.asarray(self.stable + self.rotting + self.water)


def run_line(
    feed: Feed, line: LineFile, assumptions: Mapping[str, Assumption], draws: Draws
) -> Products:
    """Send the feed through the line.

    Parameters
    ----------
    feed
        Tonnes and properties by material.
    line
        Machines and where their outlets lead.
    assumptions
        The site's, for the keys of ``[plant]``.
    draws
        Source of the draws of machine shares.

    Raises
    ------
    ValueError
        Where a loop has no way out or a dryer in a loop does not settle.

    Notes
    -----
    Each machine sends a share of each material to each outlet, so the line is a linear system.
    Only a dryer depends on what reaches it; the system is solved again with its shares until
    they no longer change, which without recycles takes one pass per dryer and one to confirm.
    """
    outlets = line_outlets(line, draws)
    parts = split_properties(
        feed.properties, draws.of(assumptions["plant.heat_per_kg_degraded_mj"])
    )
    fresh = Matter(
        stable=feed.dry_t * (1 - feed.properties.degradable),
        rotting=feed.dry_t * feed.properties.degradable,
        water=feed.water_t,
    )
    dryers = [machine.name for machine in line.machines if machine.kind == "drying_box"]
    terms = _drying_terms(assumptions, draws)
    inflow, dried = _settle(
        fresh, line, outlets, dryers, feed.properties.box_loss, parts.rotting_ncv_mj_kg, terms
    )
    made = _collect(line.products, outlets, inflow, dried)
    quality = product_quality(made.stable, made.rotting, made.water, parts)
    return Products(
        names=line.products,
        materials=feed.materials,
        dry_t=made.stable + made.rotting,
        water_t=made.water,
        ncv_mj_kg=quality.ncv_mj_kg,
        ncv_dry_mj_kg=quality.ncv_dry_mj_kg,
        ash=quality.ash,
        chlorine=quality.chlorine,
        mercury_mg_mj=quality.mercury_mg_mj,
        biogenic_share=quality.biogenic_share,
        water_lost_t=_sum(draws, [item.drying.water_removed_t for item in dried.values()]),
        gas_lost_t=_sum(draws, [item.drying.solids_lost_t for item in dried.values()]),
        streams=_streams(line, outlets, inflow, dried, feed),
        drying=_all_drying(draws, [item.drying for item in dried.values()]),
        machine_t={name: matter.wet_t.sum(axis=1) for name, matter in inflow.items()},
        power_mwh=_power(line, inflow, draws),
        balance=_closure(fresh, made, inflow, dried, parts),
    )


def _drying_terms(assumptions: Mapping[str, Assumption], draws: Draws) -> DryingTerms:
    return DryingTerms(
        target_moisture=draws.of(assumptions["plant.target_moisture"]),
        days=draws.of(assumptions["plant.drying_days"]),
        heat_use=draws.of(assumptions["plant.heat_use"]),
        evaporation_mj_kg=draws.of(assumptions["plant.evaporation_mj_kg"]),
        bought_heat_share=draws.of(assumptions["plant.bought_heat_share"]),
    )


def _settle(
    fresh: Matter,
    line: LineFile,
    outlets: Sequence[Outlet],
    dryers: Sequence[str],
    box_loss: FloatArray,
    rotting_heat_mj_kg: FloatArray,
    terms: DryingTerms,
) -> tuple[dict[str, Matter], dict[str, Dried]]:
    """Solve the line until what the dryers take agrees with what reaches them."""
    dried: dict[str, Dried] = {}
    inflow = _solve(fresh, line, outlets, dried)
    for _ in range(_PASSES):
        previous = dried
        dried = {
            name: dry(
                inflow[name].stable,
                inflow[name].rotting,
                inflow[name].water,
                box_loss,
                rotting_heat_mj_kg,
                terms,
            )
            for name in dryers
        }
        if previous.keys() == dried.keys() and all(
            np.all(np.abs(item.evaporated_share - previous[name].evaporated_share) <= _SETTLED)
            for name, item in dried.items()
        ):
            return inflow, dried
        inflow = _solve(fresh, line, outlets, dried)
    raise ValueError("A dryer in a loop does not settle; take it out of the loop.")


def _solve(
    fresh: Matter, line: LineFile, outlets: Sequence[Outlet], dried: Mapping[str, Dried]
) -> dict[str, Matter]:
    machines = [machine.name for machine in line.machines]
    nothing = np.zeros_like(fresh.stable)

    def flows(part: str) -> dict[str, FloatArray]:
        feed = dict.fromkeys(machines, nothing)
        feed[line.feed] = getattr(fresh, part)
        transfers: dict[tuple[str, str], FloatArray] = {}
        for outlet in outlets:
            if outlet.target in feed:
                pair = (outlet.machine, outlet.target)
                share = outlet.share * _kept(part, dried.get(outlet.machine))
                transfers[pair] = transfers.get(pair, nothing) + share
        return solve_flows(feed, transfers)

    stable, rotting, water = flows("stable"), flows("rotting"), flows("water")
    return {name: Matter(stable[name], rotting[name], water[name]) for name in machines}


def _kept(part: str, dried: Dried | None) -> FloatArray:
    """Share of a part that stays in the solids, broadcasting over ``(n_draws, n_materials)``."""
    if dried is None or part == "stable":
        return np.ones(1)
    if part == "rotting":
        return np.asarray(1 - dried.lost_share)
    return np.asarray(1 - dried.evaporated_share[:, None])


def _sent(outlet: Outlet, inflow: Mapping[str, Matter], dried: Mapping[str, Dried]) -> Matter:
    """Return what an outlet sends on, shape ``(n_draws, n_materials)``."""
    matter, taken = inflow[outlet.machine], dried.get(outlet.machine)
    return Matter(
        stable=outlet.share * matter.stable,
        rotting=outlet.share * matter.rotting * _kept("rotting", taken),
        water=outlet.share * matter.water * _kept("water", taken),
    )


def _collect(
    products: Sequence[str],
    outlets: Sequence[Outlet],
    inflow: Mapping[str, Matter],
    dried: Mapping[str, Dried],
) -> Matter:
    """Return what reaches each product, shape ``(n_draws, n_products, n_materials)``."""
    shape = next(iter(inflow.values())).stable.shape
    made = Matter(*(np.zeros((shape[0], len(products), shape[1])) for _ in range(3)))
    for outlet in outlets:
        if outlet.target in products:
            row = products.index(outlet.target)
            sent = _sent(outlet, inflow, dried)
            made.stable[:, row] += sent.stable
            made.rotting[:, row] += sent.rotting
            made.water[:, row] += sent.water
    return made


def _streams(
    line: LineFile,
    outlets: Sequence[Outlet],
    inflow: Mapping[str, Matter],
    dried: Mapping[str, Dried],
    feed: Feed,
) -> tuple[Stream, ...]:
    streams = [Stream("feed", "dug waste", line.feed, feed.total_wet_t)]
    for outlet in outlets:
        sent = _sent(outlet, inflow, dried).wet_t.sum(axis=1)
        streams.append(Stream(outlet.machine, outlet.outlet, outlet.target, sent))
    for name, item in dried.items():
        streams.append(Stream(name, "water", "water_lost", item.drying.water_removed_t))
        streams.append(Stream(name, "gas", "gas_lost", item.drying.solids_lost_t))
    return tuple(streams)


def _all_drying(draws: Draws, parts: Sequence[Drying]) -> Drying:
    """All dryers of the line as one account; moistures are those of the feeds together."""
    feed = _sum(draws, [part.feed_t for part in parts])
    removed = _sum(draws, [part.water_removed_t for part in parts])
    lost = _sum(draws, [part.solids_lost_t for part in parts])
    water_in = _sum(draws, [part.feed_t * part.moisture_in for part in parts])
    left = feed - removed - lost
    return Drying(
        feed_t=feed,
        moisture_in=np.divide(water_in, feed, out=np.zeros_like(feed), where=feed > 0),
        moisture_out=np.divide(water_in - removed, left, out=np.zeros_like(feed), where=left > 0),
        water_removed_t=removed,
        solids_lost_t=lost,
        heat_needed_mwh=_sum(draws, [part.heat_needed_mwh for part in parts]),
        heat_own_mwh=_sum(draws, [part.heat_own_mwh for part in parts]),
        heat_bought_mwh=_sum(draws, [part.heat_bought_mwh for part in parts]),
    )


def _sum(draws: Draws, parts: Sequence[FloatArray]) -> FloatArray:
    return np.sum(parts, axis=0) if parts else np.zeros(draws.n_draws)


def _power(line: LineFile, inflow: Mapping[str, Matter], draws: Draws) -> FloatArray:
    """Electricity of the line [MWh], shape ``(n_draws,)``."""
    reference = {row["kind"]: quantity_of(row) for row in read_rows("machines.csv")}
    total = np.zeros(draws.n_draws)
    for machine in line.machines:
        demand = machine.power_kwh_t or quantity_assumption(
            f"power {machine.name}", reference[machine.kind]
        )
        total = total + inflow[machine.name].wet_t.sum(axis=1) * draws.of(demand) / 1000
    return total


def _closure(
    fresh: Matter,
    made: Matter,
    inflow: Mapping[str, Matter],
    dried: Mapping[str, Dried],
    parts: Parts,
) -> Balance:
    """Relative difference of in and out, the worst draw of each balance."""
    rotted = np.zeros_like(fresh.rotting)
    evaporated = np.zeros(fresh.rotting.shape[0])
    for name, item in dried.items():
        rotted = rotted + inflow[name].rotting * item.lost_share
        evaporated = evaporated + inflow[name].water.sum(axis=1) * item.evaporated_share
    water_in = fresh.water.sum(axis=1)
    water_out = made.water.sum(axis=(1, 2)) + evaporated
    mass_in = fresh.wet_t.sum(axis=1)
    mass_out = made.wet_t.sum(axis=(1, 2)) + evaporated + rotted.sum(axis=1)
    stable_out = made.stable.sum(axis=1)
    rotting_out = made.rotting.sum(axis=1) + rotted
    elements = [
        _worst((fresh.stable * part).sum(axis=1), (stable_out * part).sum(axis=1))
        for part in (parts.stable_chlorine, parts.stable_mercury_mg_kg)
    ]
    return Balance(
        mass=_worst(mass_in, mass_out),
        water=_worst(water_in, water_out),
        energy=_worst(
            _energy(fresh.stable, fresh.rotting, parts), _energy(stable_out, rotting_out, parts)
        ),
        elements=max(elements),
    )


def _energy(stable_t: FloatArray, rotting_t: FloatArray, parts: Parts) -> FloatArray:
    """Dry calorific value carried [GJ], shape ``(n_draws,)``."""
    by_material = stable_t * parts.stable_ncv_mj_kg + rotting_t * parts.rotting_ncv_mj_kg
    return np.asarray(by_material.sum(axis=1))


def _worst(entering: FloatArray, leaving: FloatArray) -> float:
    scale = np.where(entering > 0, entering, 1.0)
    return float(np.max(np.abs(entering - leaving) / scale))
