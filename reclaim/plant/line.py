"""Run a line: feed in, products out, every balance closed."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from reclaim.assumptions import Assumption, Draws, quantity_assumption
from reclaim.assumptions.records import cut, joined
from reclaim.plant.balances import closure
from reclaim.plant.clinging import Stickiness
from reclaim.plant.drying import all_drying, drying_terms
from reclaim.plant.flowsheet import circuits, solve_flows
from reclaim.plant.machines import Action, Machine, drawn_machine
from reclaim.plant.matter import ROTTING, STABLE, WATER, matter_of, wet_t
from reclaim.plant.particle_size import SIZE_SHARES, group_sizes, top_sizes
from reclaim.plant.products import Products, Stream, targets
from reclaim.plant.quality import between_lots, loose_density, product_quality, split_properties
from reclaim.plant.rows import RowDraws
from reclaim.reference import material_names, quantity_of, read_rows

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from reclaim.site.plantfile import LineFile
    from reclaim.waste import Feed

FloatArray = NDArray[np.floating[Any]]

# Rows worked on at a time, so that memory does not grow with the draws and arrays stay in cache.
_BLOCK = 1024
_PASSES = 200
_SETTLED = 1e-11


def run_line(
    feed: Feed, line: LineFile, assumptions: Mapping[str, Assumption], draws: Draws
) -> Products:
    """Send the feed through the line.

    Parameters
    ----------
    feed
        Tonnes and properties by material. Its arrays have one row per draw, or k rows per draw
        to run k feeds (zones, blocks) at once: the k of the first draw, then of the second.
    line
        Machines and where their outlets lead.
    assumptions
        The site's, for the keys of ``[plant]``.
    draws
        Source of the draws.

    Raises
    ------
    ValueError
        Where the rows of the feed are no multiple of the draws, a loop has no way out, or a
        loop does not settle.

    Notes
    -----
    Machines are taken from feed to end. What a machine does may depend on what reaches it (its
    moisture, what fines cling to), so a circuit of recycles is solved as a linear system with
    the shares of the moment, again and again until they no longer change; where they swing to
    and fro the next pass starts from their middle. The rows are worked on in blocks, which does
    not change the result.
    """
    n_rows = feed.dry_t.shape[0]
    if n_rows % draws.n_draws:
        raise ValueError(f"{n_rows} rows of feed are no multiple of {draws.n_draws} draws.")
    per_draw = n_rows // draws.n_draws
    probabilities: dict[str, NDArray[np.float64]] = {}
    parts = []
    for start in range(0, n_rows, _BLOCK):
        block = slice(start, min(start + _BLOCK, n_rows))
        rows = RowDraws(draws, np.arange(block.start, block.stop) // per_draw, probabilities)
        parts.append(_Run(_rows_of(feed, block), line, assumptions, rows).products())
    return joined(parts)


def _rows_of(feed: Feed, block: slice) -> Feed:
    return replace(
        feed,
        dry_t=feed.dry_t[block],
        water_t=feed.water_t[block],
        properties=cut(feed.properties, block),
    )


class _Run:
    """One block of rows on its way through the line."""

    def __init__(
        self,
        feed: Feed,
        line: LineFile,
        assumptions: Mapping[str, Assumption],
        rows: RowDraws,
    ) -> None:
        self.feed, self.line, self.assumptions, self.rows = feed, line, assumptions, rows
        self.parts = split_properties(
            feed.properties, rows.of(assumptions["plant.heat_per_kg_degraded_mj"])
        )
        self.machines = self._machines()
        self.outlets = [
            (machine.name, outlet, target)
            for machine in line.machines
            for outlet, target in machine.outlets.items()
        ]
        self.fresh = matter_of(feed, SIZE_SHARES)
        self.shapes = self._shapes()
        self.made = np.zeros((3, rows.n_rows, len(line.products), len(material_names())))
        self.streams = [Stream("feed", "dug waste", line.feed, feed.total_wet_t)]
        self.inflow: dict[str, FloatArray] = {}
        self.actions: dict[str, Action] = {}
        self._flow()

    def _machines(self) -> dict[str, Machine]:
        sizes = group_sizes(self.rows)
        top = top_sizes(self.line, self.rows)
        stickiness = Stickiness.drawn(self.assumptions, self.rows)
        terms = drying_terms(self.assumptions, self.rows)
        return {
            spec.name: drawn_machine(
                spec,
                self.rows,
                sizes,
                top[spec.name],
                stickiness,
                terms,
                self.feed.properties.box_loss,
                self.parts.rotting_ncv_mj_kg,
            )
            for spec in self.line.machines
        }

    def _shapes(self) -> dict[str, tuple[int, ...]]:
        """Return the shape of matter at each machine; sizes count up to the last screen."""
        screens = {name for name, item in self.machines.items() if item.kind.model == "screen"}
        sized = set(screens)
        while True:
            more = {origin for origin, _, target in self.outlets if target in sized} - sized
            if not more:
                break
            sized |= more
        whole = self.fresh.shape
        one = (whole[0], 1, *whole[2:])
        return {name: whole if name in sized else one for name in self.machines}

    def _flow(self) -> None:
        """Find what reaches each machine, and what it does with it."""
        arriving: dict[str, FloatArray] = {
            name: np.zeros(shape) for name, shape in self.shapes.items()
        }
        first = self.shapes[self.line.feed][1] > 1
        arriving[self.line.feed] = self.fresh if first else self.fresh.sum(axis=1, keepdims=True)
        links = [(origin, target) for origin, _, target in self.outlets if target in self.machines]
        for circuit in circuits(list(self.machines), links):
            if len(circuit) > 1 or (circuit[0], circuit[0]) in links:
                self._settle(circuit, arriving)
            else:
                (name,) = circuit
                self.actions[name] = self.machines[name].act(arriving[name])
                self.inflow[name] = _with_water(arriving[name], self.actions[name])
            self._send(circuit, arriving)

    def _send(self, circuit: Sequence[str], arriving: dict[str, FloatArray]) -> None:
        """Send on what a settled circuit lets out, to machines further on and to products."""
        for origin, outlet, target in self.outlets:
            if origin not in circuit:
                continue
            sent = self.actions[origin].sent(outlet, self.inflow[origin])
            together = sent.sum(axis=1, keepdims=True)
            self.streams.append(Stream(origin, outlet, target, wet_t(together)))
            if target in self.line.products:
                self.made[:, :, self.line.products.index(target)] += together[:, 0]
            elif target not in circuit:
                arriving[target] += sent if self.shapes[target][1] > 1 else together

    def _settle(self, circuit: list[str], arriving: Mapping[str, FloatArray]) -> None:
        """Solve a circuit until what its machines do agrees with what reaches them."""
        outside = {name: arriving[name] for name in circuit}
        inside = [link for link in self.outlets if link[0] in circuit and link[2] in circuit]
        actions = {name: self.machines[name].act(outside[name]) for name in circuit}
        before = np.inf
        for _ in range(_PASSES):
            transfers: dict[tuple[str, str], FloatArray] = {}
            for origin, outlet, target in inside:
                share = np.broadcast_to(actions[origin].onward(outlet), self.shapes[origin])
                other = transfers.get((origin, target))
                transfers[origin, target] = share if other is None else other + share
            entering = {name: _with_water(outside[name], actions[name]) for name in circuit}
            inflow = solve_flows(entering, transfers)
            acted = {
                name: self.machines[name].act(_without_water(inflow[name], actions[name]))
                for name in circuit
            }
            change = max(acted[name].change_from(actions[name]) for name in circuit)
            if change <= _SETTLED:
                self.actions.update(acted)
                self.inflow.update(inflow)
                return
            swings = change > before / 2
            actions = {
                name: action.midway_to(actions[name]) if swings else action
                for name, action in acted.items()
            }
            before = change
        raise ValueError(f"The loop through {circuit[0]!r} does not settle; take it apart.")

    def products(self) -> Products:
        """Return what comes out."""
        made, streams = self.made, list(self.streams)
        drying = []
        added = np.zeros(self.rows.n_rows)
        for name, action in self.actions.items():
            if action.dried is not None:
                account = action.dried.drying
                streams.append(Stream(name, "water", "water_lost", account.water_removed_t))
                streams.append(Stream(name, "gas", "gas_lost", account.solids_lost_t))
                drying.append(account)
            if action.water_added_t is not None:
                taken = action.water_added_t.sum(axis=(0, 2))
                streams.append(Stream("water_added", "process water", name, taken))
                added = added + taken
        dried = all_drying(drying, self.rows.n_rows)
        solid = made[STABLE] + made[ROTTING]
        quality = product_quality(made[STABLE], made[ROTTING], made[WATER], self.parts)
        median, p80 = between_lots(
            quality.mercury_mg_mj,
            self.rows.of(self.assumptions["plant.mercury_spread"])[:, None],
        )
        return Products(
            names=self.line.products,
            materials=self.feed.materials,
            dry_t=solid,
            water_t=made[WATER],
            ncv_mj_kg=quality.ncv_mj_kg,
            ncv_dry_mj_kg=quality.ncv_dry_mj_kg,
            ash=quality.ash,
            chlorine=quality.chlorine,
            carbon=quality.carbon,
            mercury_mg_mj=quality.mercury_mg_mj,
            mercury_median_mg_mj=median,
            mercury_p80_mg_mj=p80,
            heavy_metals_mg_kg=quality.heavy_metals_mg_kg,
            biogenic_share=quality.biogenic_share,
            biogenic_energy=quality.biogenic_energy,
            biogenic_mass=quality.biogenic_mass,
            bulk_density_t_m3=self._bulk_density(solid, made[WATER]),
            recovery=self._recovery(solid),
            water_lost_t=dried.water_removed_t,
            gas_lost_t=dried.solids_lost_t,
            water_added_t=added,
            streams=tuple(streams),
            drying=dried,
            machine_t={name: wet_t(self.inflow[name]) for name in self.machines},
            power_mwh=self._power_mwh() + dried.fan_mwh,
            balance=closure(self.fresh, made, self.inflow, self.actions, self.parts),
        )

    def _power_mwh(self) -> FloatArray:
        """Electricity of all machines [MWh], fans apart, shape ``(n_rows,)``."""
        demand = [
            wet_t(self.inflow[name]) * machine.numbers["power_kwh_t"] / 1000
            for name, machine in self.machines.items()
        ]
        return np.asarray(np.sum(demand, axis=0))

    def _bulk_density(self, dry_t: FloatArray, water_t: FloatArray) -> FloatArray:
        densities = np.stack(
            [
                self.rows.of(quantity_assumption("plant.loose_density", quantity_of(row)))
                for row in read_rows("loose_densities.csv")
            ],
            axis=1,
        )
        density = loose_density(dry_t, water_t, densities)
        for place, product in enumerate(self.line.products):
            last = {origin for origin, _, target in self.outlets if target == product}
            pressed = [self.machines[name].numbers.get("density_t_m3") for name in last]
            if all(item is not None for item in pressed):
                density[:, place] = np.where(
                    np.isnan(density[:, place]), np.nan, np.mean(np.asarray(pressed), axis=0)
                )
        return density

    def _recovery(self, dry_t: FloatArray) -> FloatArray:
        recovery = np.full(dry_t.shape[:2], np.nan)
        for place, product in enumerate(self.line.products):
            wanted = [material in targets(product) for material in self.feed.materials]
            fed = self.feed.dry_t[:, wanted].sum(axis=1)
            got = dry_t[:, place, wanted].sum(axis=1)
            np.divide(got, fed, out=recovery[:, place], where=fed > 0)
        return recovery


def _with_water(inflow: FloatArray, action: Action) -> FloatArray:
    """Return what reaches a machine with the process water it takes up."""
    return _changed(inflow, action, 1.0)


def _without_water(inflow: FloatArray, action: Action) -> FloatArray:
    return _changed(inflow, action, -1.0)


def _changed(inflow: FloatArray, action: Action, sign: float) -> FloatArray:
    if action.water_added_t is None:
        return inflow
    changed = inflow.copy()
    changed[WATER] += sign * action.water_added_t
    return changed
