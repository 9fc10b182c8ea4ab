"""Courses of action for very many draws, net present values, and break-even values.

Courses cover 101 years of methane. The reference of net present values is pyxirr, a compiled
library, called once per draw on the yearly flows of mining; that of the courses is numpy adding up
as many yearly flows (30 lines of money of 32 years for each course).
"""

from __future__ import annotations

from dataclasses import replace

import measure
import numpy as np

from reclaim.appraisal import (
    Prices,
    appraise_quantities,
    breakevens,
    compare_courses,
    net_present_value,
)
from reclaim.appraisal.appraise import BREAKEVEN_KEYS
from reclaim.appraisal.quantities import DECAY_CLASSES, Quantities
from reclaim.assumptions import Draws, default_assumption
from reclaim.reference import assumption_defaults

SEED = 6
PRODUCT_SHARES = {
    "fuel": 0.19, "ferrous": 0.02, "nonferrous": 0.006, "glass": 0.005, "aggregate": 0.13,
    "soil": 0.42, "hazardous": 0.0015, "residue": 0.07,
}  # fmt: skip


def invented_quantities(n_draws: int) -> Quantities:
    """Make a bill of about 600 000 t, 20 per cent spread."""
    spread = np.random.default_rng(SEED).lognormal(0, 0.2, n_draws) if n_draws > 1 else np.ones(1)
    waste_t = 600_000 * spread
    made = {name: share * waste_t for name, share in PRODUCT_SHARES.items()}
    carbon = waste_t[:, None] * np.array([0.006, 0.002, 0.0005, 0.01][: len(DECAY_CLASSES)])
    return Quantities(
        area_m2=np.full(n_draws, 76_000.0),
        cover_m3=0.1 * waste_t,
        waste_m3=waste_t / 1.1,
        overdig_m3=np.full(n_draws, 21_000.0),
        waste_t=waste_t,
        cover_t=0.17 * waste_t,
        overdig_t=np.full(n_draws, 35_000.0),
        product_t=made,
        target_t={name: 0.85 * mass for name, mass in made.items()},
        fuel_gj=15 * made["fuel"],
        fuel_dry_t=0.85 * made["fuel"],
        fuel_chlorine_t=0.01 * made["fuel"],
        fuel_fossil_c_t=0.3 * made["fuel"],
        fuel_biogenic_c_t=0.15 * made["fuel"],
        aluminium_t=0.6 * made["nonferrous"],
        other_nonferrous_t=0.25 * made["nonferrous"],
        dried_t=0.95 * waste_t,
        power_mwh=0.03 * waste_t,
        heat_mwh=0.16 * waste_t,
        rotting_c_t=carbon,
        rotting_residue_c_t=0.1 * carbon,
        rotting_soil_c_t=0.4 * carbon,
        carbon_t=0.13 * waste_t,
    )


def assumptions():
    made = {key: default_assumption(row) for key, row in assumption_defaults().items()}
    for key, value in (
        ("plant.capacity_t_y", 60_000.0), ("airspace.fill_rate_m3_y", 30_000.0),
        ("money.avoided_aftercare_years", 28.0), ("options.cap_aftercare_years", 28.0),
    ):  # fmt: skip
        made[key] = replace(made[key], kind="fixed", numbers=(value,), given=True)
    return made


def courses(n_draws):
    quantities, given = invented_quantities(n_draws), assumptions()

    def work():
        found = compare_courses(
            quantities, quantities.times(0.5), "temperate_wet",
            Prices(given, Draws(n_draws, SEED)), methane_of=(),
        )  # fmt: skip
        return len(found)

    return work


def flows_added(n_draws, n_courses):
    generator = np.random.default_rng(SEED)

    def work():
        years = np.arange(32)
        for _ in range(n_courses):
            flow = np.zeros((n_draws, 32))
            for line in range(30):
                flow += generator.random(n_draws)[:, None] * (years >= line)
            (flow * 1.04**-years).sum(axis=1)

    return work


def yearly_flows(n_draws):
    return appraise_quantities(
        invented_quantities(n_draws), Prices(assumptions(), Draws(n_draws, SEED))
    ).net_flow


def present_values(n_draws):
    flows = yearly_flows(n_draws)
    return lambda: net_present_value(flows, np.full(n_draws, 0.04))


def present_values_by_library(n_draws):
    import pyxirr

    flows = yearly_flows(n_draws)
    return lambda: np.array([pyxirr.npv(0.04, flow.tolist()) for flow in flows])


def all_breakevens():
    one, given = invented_quantities(1), assumptions()
    return lambda: breakevens(BREAKEVEN_KEYS, one, given)


def one_appraisal():
    one, given = invented_quantities(1), assumptions()
    return lambda: appraise_quantities(one, Prices(given, Draws.best_estimate())).npv


def worst_distance(found):
    """Return how far a break-even value is from the zero at most, as a share of the value."""
    one, given, worst = invented_quantities(1), assumptions(), 0.0
    for key, value in found.items():
        if not np.isfinite(value):
            continue

        def npv(number, key=key):
            fixed = replace(given[key], kind="fixed", numbers=(number,), given=True)
            money = Prices({**given, key: fixed}, Draws.best_estimate())
            return appraise_quantities(one, money).npv[0]

        step = 1e-3 * max(abs(value), 1)
        left = npv(value)
        worst = max(worst, abs(left / ((npv(value + step) - left) / step) / value))
    return worst


def main() -> None:
    """Measure courses and present values at three numbers of draws, and break-even values."""
    given = measure.given(__doc__, sizes=(25_000, 50_000, 100_000), tiny=(2, 4, 8))
    with measure.Table("appraisal", "draws", given) as table:
        for n_draws in given.sizes:
            run = measure.alone(courses, n_draws)
            floor = measure.alone(flows_added, n_draws, run.answer)
            table.row("numpy, as many yearly flows", n_draws, floor)
            held = f"{run.answer} courses; {run.before_mb:.0f} MB before the run"
            of = ("as many yearly flows", floor)
            table.row("courses of action", n_draws, run, of=of, note=held)
        for n_draws in given.sizes:
            few = max(n_draws // 10, 2)
            theirs = measure.alone(present_values_by_library, few)
            table.row("pyxirr, one by one", few, theirs)
            ours = measure.alone(present_values, few, runs=5)
            apart = np.abs(ours.answer - theirs.answer).max() / np.abs(theirs.answer).max()
            table.row(
                "net present values", few, ours, of=("pyxirr", theirs),
                note=f"largest difference {apart:.1e}",
            )  # fmt: skip
        once = measure.alone(one_appraisal, runs=5)
        run = measure.alone(all_breakevens)
        far = worst_distance(run.answer)
        table.row(
            f"{len(run.answer)} break-even values", 1, run, of=("one appraisal", once),
            note=f"worst distance from the zero {far:.1e} of the input",
        )  # fmt: skip


if __name__ == "__main__":
    main()
