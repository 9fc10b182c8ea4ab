"""Courses of action for very many draws, and break-even values: time, memory, ratio to a reference.

Run it by hand: ``python tests/benchmarks/appraisal.py``. The reference is pyxirr, a compiled
library, called once per draw on the yearly flows of mining.
"""

from __future__ import annotations

import resource
from dataclasses import replace
from time import perf_counter

import numpy as np
import pyxirr

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

N_DRAWS = 100_000
YEARS = 30
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


def peak_mb() -> float:
    """Return the most memory this process has held [MB]."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def main() -> None:
    """Print size, time, peak memory and the ratio to the reference."""
    assumptions = {key: default_assumption(row) for key, row in assumption_defaults().items()}
    for key, value in (
        ("plant.capacity_t_y", 60_000.0), ("airspace.fill_rate_m3_y", 30_000.0),
        ("money.avoided_aftercare_years", 28.0), ("options.cap_aftercare_years", 28.0),
    ):  # fmt: skip
        assumptions[key] = replace(assumptions[key], kind="fixed", numbers=(value,), given=True)
    quantities = invented_quantities(N_DRAWS)
    before = peak_mb()
    start = perf_counter()
    courses = compare_courses(
        quantities, quantities.times(0.5), "temperate_wet",
        Prices(assumptions, Draws(N_DRAWS, SEED)),
        methane_of=(),
    )  # fmt: skip
    seconds = perf_counter() - start
    print(
        f"{N_DRAWS} draws x {YEARS} years and more x {len(courses)} courses, 101 years of methane"
    )
    print(f"  {seconds:.1f} s, peak {peak_mb():.0f} MB of which {before:.0f} MB inputs and imports")

    few = 2000
    flows = appraise_quantities(
        invented_quantities(few), Prices(assumptions, Draws(few, SEED))
    ).net_flow
    ours_s, theirs_s = [], []
    for _ in range(5):
        start = perf_counter()
        ours = net_present_value(flows, np.full(few, 0.04))
        ours_s.append(perf_counter() - start)
        start = perf_counter()
        theirs = np.array([pyxirr.npv(0.04, flow.tolist()) for flow in flows])
        theirs_s.append(perf_counter() - start)
    print(f"net present value of {few} flows of {flows.shape[1]} years")
    print(
        f"  {1e3 * min(ours_s):.1f} ms; pyxirr {1e3 * min(theirs_s):.1f} ms, "
        f"{min(theirs_s) / min(ours_s):.0f} times as long"
    )
    print(f"  largest difference {np.abs(ours - theirs).max() / np.abs(theirs).max():.1e}")

    start = perf_counter()
    one = invented_quantities(1)
    found = breakevens(BREAKEVEN_KEYS, one, assumptions)
    seconds = perf_counter() - start
    worst = 0.0
    for key, value in found.items():
        if np.isfinite(value):
            fixed = replace(assumptions[key], kind="fixed", numbers=(value,), given=True)
            money = Prices({**assumptions, key: fixed}, Draws.best_estimate())
            left = appraise_quantities(one, money).npv[0]
            near = replace(fixed, numbers=(value + 1e-3 * max(abs(value), 1),))
            slope = (
                appraise_quantities(
                    one, Prices({**assumptions, key: near}, Draws.best_estimate())
                ).npv[0]
                - left
            ) / (1e-3 * max(abs(value), 1))
            worst = max(worst, abs(left / slope / value))
    print(f"{len(found)} break-even values")
    print(f"  {seconds:.2f} s, worst distance from the zero {worst:.1e} of the input")


if __name__ == "__main__":
    main()
