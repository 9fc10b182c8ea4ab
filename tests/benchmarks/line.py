"""The largest shipped line: all draws in one call, beside one draw a call and a bare numpy kernel.

The kernel is the same line as bare arrays: shares drawn by one formula, flows added by hand. Its
tonnes and calorific values are those of the line to nine digits, compared on every 1000th draw.
"""

from __future__ import annotations

from pathlib import Path

import measure
import numpy as np

from reclaim.assumptions import Draws, default_assumption
from reclaim.assumptions.records import cut
from reclaim.plant import run_line
from reclaim.plant.drying import dry, drying_terms
from reclaim.plant.particle_size import SIZE_SHARES, group_sizes, shredded_size, top_sizes
from reclaim.plant.quality import product_quality, split_properties
from reclaim.plant.rows import RowDraws
from reclaim.reference import (
    assumption_defaults,
    data_path,
    machine_shares,
    material_names,
    material_properties,
    read_rows,
)
from reclaim.site import Findings
from reclaim.site.plantfile import read_line
from reclaim.waste import Feed, material_moisture, moisture_pattern, properties_of_site

LINE = "screen_dry_separate_wash"
BLOCK = 1024
MADE_OF = {
    "fines": 55, "plastic_film": 8, "plastic_dense": 4, "paper_card": 4, "wood": 5, "textiles": 4,
    "rubber_leather": 1.2, "ferrous": 2.2, "aluminium": 0.33, "other_nonferrous": 0.17,
    "glass": 1.5, "stone_ceramic": 11, "garden_food": 2, "hazardous": 0.2,
}  # fmt: skip
NAMES = material_names()
FINES = NAMES.index("fines")
UPTAKE = np.array([material_properties()[name, "soil_uptake"].mode for name in NAMES])


def make_feed(draws, assumptions):
    share = np.array([MADE_OF.get(name, 0.0) for name in NAMES])
    share = np.tile(share / share.sum(), (draws.n_draws, 1))
    water = material_moisture(share, moisture_pattern(), np.full(draws.n_draws, 0.33))
    return Feed(
        materials=NAMES,
        dry_t=1e5 * share * (1 - water),
        water_t=1e5 * share * water,
        bulk_density_t_m3=np.full(draws.n_draws, 1.1),
        cover_t=np.zeros(draws.n_draws),
        overdig_t=np.zeros(draws.n_draws),
        properties=properties_of_site(1961, 1987, 2025, "temperate_wet", assumptions, draws),
    )


def triangular(p, low, mode, high):
    span = np.where(high > low, high - low, 1.0)
    rising = low + np.sqrt(p * span * (mode - low))
    falling = high - np.sqrt((1 - p) * span * (high - mode))
    return np.where(p < (mode - low) / span, rising, falling)


class Kernel:
    """The same line as bare arrays: shares drawn by one formula, flows added by hand."""

    def __init__(self, line, assumptions, draws):
        self.line, self.assumptions, self.draws = line, assumptions, draws
        self.kinds = {row["kind"]: row for row in read_rows("machines.csv")}
        self.shares = {}
        for machine in line.machines:
            for outlet in self.kinds[machine.kind]["outlets"].split()[1:]:
                rows = [machine_shares().get((machine.kind, outlet, name)) for name in NAMES]
                self.shares[machine.name, outlet] = np.array(
                    [(0, 0, 0) if r is None else (r.low, r.mode, r.high) for r in rows]
                ).T
        self.probabilities = {}

    def run(self, feed):
        parts = [
            self.block(feed, slice(start, min(start + BLOCK, self.draws.n_draws)))
            for start in range(0, self.draws.n_draws, BLOCK)
        ]
        return {key: np.concatenate([part[key] for part in parts]) for key in parts[0]}

    def block(self, feed, block):
        rows = RowDraws(self.draws, np.arange(block.start, block.stop), self.probabilities)
        properties = cut(feed.properties, block)
        of = {
            key[6:]: rows.of(item) for key, item in self.assumptions.items() if key[:6] == "plant."
        }
        parts = split_properties(properties, of["heat_per_kg_degraded_mj"])
        terms = drying_terms(self.assumptions, rows)
        sizes, top = group_sizes(rows), top_sizes(self.line, rows)
        span = np.maximum(of["sticky_up_to_moisture"] - of["sticky_from_moisture"], 0.01)
        rot = feed.dry_t[block] * properties.degradable
        fed = np.stack([feed.dry_t[block] - rot, rot, feed.water_t[block]])
        arriving = {self.line.feed: fed[:, None] * SIZE_SHARES[:, None, None]}
        screens = ("first_screen", "second_screen", "coarse_screen")
        sized = {*screens, "bulky_picking", "shredder", "drying_box"}
        n = block.stop - block.start
        made = np.zeros((3, n, len(self.line.products), len(NAMES)))
        order = {name: place for place, name in enumerate(self.line.products)}
        for machine in self.line.machines:
            inflow = arriving.pop(machine.name)
            kind = self.kinds[machine.kind]
            rest, *named = kind["outlets"].split()
            shares = {}
            if kind["damp"] == "yes":
                solids = inflow[0] + inflow[1]
                water = inflow[2].sum(axis=0).sum(axis=1)
                wet = np.divide(water, water + solids.sum(axis=0).sum(axis=1))
                damp = np.clip((wet - of["sticky_from_moisture"]) / span, 0, 1)
                clung = of["clung_fines_dry"] + damp * np.maximum(
                    of["clung_fines_wet"] - of["clung_fines_dry"], 0
                )
                carried = solids.sum(axis=0) @ UPTAKE
            for outlet in named:
                if kind["model"] == "screen":
                    cut_mm, sharp = (rows.of(machine.settings[k]) for k in ("cut_mm", "sharpness"))
                    size = shredded_size(sizes, top[machine.name])
                    share = np.exp(-np.log(2) * (size / cut_mm[:, None]) ** sharp[:, None])
                    share = share if outlet == "undersize" else 1 - share
                else:
                    stream = f"share {machine.name} {outlet}"
                    if stream not in self.probabilities:
                        self.probabilities[stream] = self.draws.uniform(stream)
                    p = self.probabilities[stream][block][:, None]
                    share = triangular(p, *self.shares[machine.name, outlet])
                shares[outlet] = share
            total = np.maximum(sum(shares.values()), 1.0) if len(named) > 1 else 1.0
            left = 1.0
            for outlet in named:
                share = shares[outlet] / total
                if kind["damp"] == "yes":
                    if kind["model"] == "sort":
                        kept = 1 - of["damp_loss"] * damp
                        fines = share[:, FINES].copy()
                        share *= kept[:, None]
                        share[:, FINES] = fines
                    mean = np.divide(
                        (solids * share).sum(axis=0) @ UPTAKE,
                        carried,
                        out=np.zeros(n),
                        where=carried > 0,
                    )
                    part = np.where(carried > 0, clung, 0.0)
                    share[..., FINES] = (1 - part) * share[..., FINES] + part * mean
                shares[outlet] = share
                left = left - share
            shares[rest] = np.maximum(left, 0.0)
            if kind["model"] == "washer":
                solids = inflow[0] + inflow[1]
                held = {}
                for outlet, share in shares.items():
                    key = "washed_moisture" if outlet == rest else "sludge_moisture"
                    drained = rows.of(machine.settings[key])[:, None]
                    held[outlet] = solids * share * drained / (1 - drained)
                wanted = sum(held.values())
                inflow = inflow.copy()
                inflow[2] += np.maximum(wanted - inflow[2], 0)
            if kind["model"] == "box":
                whole = inflow.sum(axis=1)
                dried = dry(*whole, properties.box_loss, parts.rotting_ncv_mj_kg, terms)
                inflow = inflow.copy()
                inflow[1] *= 1 - dried.lost_share
                inflow[2] *= 1 - dried.evaporated_share[:, None]
            for outlet, target in machine.outlets.items():
                sent = inflow * shares[outlet]
                if kind["model"] == "washer":
                    sent[2] = inflow[2] * np.divide(
                        held[outlet], wanted, out=np.zeros_like(wanted), where=wanted > 0
                    )
                if target in order:
                    made[:, :, order[target]] += sent.sum(axis=1)
                    continue
                if target not in sized:
                    sent = sent.sum(axis=1, keepdims=True)
                before = arriving.get(target)
                arriving[target] = sent if before is None else before + sent
        quality = product_quality(made[0], made[1], made[2], parts)
        return {
            "dry_t": made[0] + made[1],
            "water_t": made[2],
            "ncv": quality.ncv_mj_kg,
            "chlorine": quality.chlorine,
        }


def set_up(n_draws):
    findings = Findings()
    line = read_line(Path(data_path(f"lines/{LINE}.toml")), LINE, findings)
    assert not findings.errors
    assumptions = {k: default_assumption(d) for k, d in assumption_defaults().items()}
    draws = Draws(n_draws, seed=1)
    return line, assumptions, draws, make_feed(draws, assumptions)


def of_products(found):
    """Return every 1000th draw of what comes out, to compare."""
    return [np.asarray(part)[::1000] for part in found]


def together(n_draws):
    line, assumptions, draws, feed = set_up(n_draws)
    run_line(make_feed(Draws(64, 1), assumptions), line, assumptions, Draws(64, 1))

    def work():
        made = run_line(feed, line, assumptions, draws)
        worst = max(made.balance.mass, made.balance.water, made.balance.elements)
        return of_products((made.dry_t, made.water_t, made.ncv_mj_kg)), worst

    return work


def one_by_one(calls):
    line, assumptions, _, one = set_up(1)

    def work():
        for seed in range(calls):
            run_line(one, line, assumptions, Draws(1, seed=seed))

    return work


def bare(n_draws):
    line, assumptions, draws, feed = set_up(n_draws)

    def work():
        made = Kernel(line, assumptions, draws).run(feed)
        return of_products((made["dry_t"], made["water_t"], made["ncv"]))

    return work


def main() -> None:
    """Measure the line at three numbers of draws."""
    given = measure.given(__doc__, sizes=(15_000, 30_000, 60_000), tiny=(2, 4, 8))
    calls = 2 if given.tiny else 200
    with measure.Table("line", "draws", given) as table:
        single = measure.alone(one_by_one, calls)
        table.row("one draw a call", calls, single)
        for n_draws in given.sizes:
            kernel = measure.alone(bare, n_draws)
            table.row("bare numpy kernel", n_draws, kernel)
            run = measure.alone(together, n_draws)
            found, worst = run.answer
            for ours, theirs in zip(found, kernel.answer, strict=True):
                np.testing.assert_allclose(ours, theirs, rtol=1e-9, atol=1e-9)
            faster = single.cpu_s / calls / (run.cpu_s / n_draws)
            table.row(
                "all draws in one call", n_draws, run, of=("bare numpy kernel", kernel),
                note=f"a draw {faster:,.0f} times faster than by itself, worst closure {worst:.1e}",
            )  # fmt: skip


if __name__ == "__main__":
    main()
