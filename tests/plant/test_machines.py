"""Machines one by one: clinging, damp loss, washing, and that shares stay shares."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from reclaim.assumptions import Draws, default_assumption
from reclaim.plant.clinging import Stickiness, with_clung_fines
from reclaim.plant.drying import drying_terms
from reclaim.plant.machines import drawn_machine
from reclaim.plant.matter import WATER, matter_of
from reclaim.plant.particle_size import SIZE_SHARES, group_sizes
from reclaim.plant.rows import RowDraws
from reclaim.reference import machine_settings, material_names, read_rows
from reclaim.site.plantfile import MachineSpec

KINDS = [row["kind"] for row in read_rows("machines.csv")]
SORTERS = [row["kind"] for row in read_rows("machines.csv") if row["model"] in {"sort", "screen"}]
FINES = material_names().index("fines")


@pytest.fixture
def make_machine(assumptions):
    def make(kind, draws=None, **changes):
        draws = draws or Draws.best_estimate()
        rows = RowDraws(draws, np.arange(draws.n_draws), {})
        stated = {**assumptions}
        for key, value in changes.items():
            stated[f"plant.{key}"] = replace(
                stated[f"plant.{key}"], kind="fixed", numbers=(float(value),)
            )
        settings = {
            setting: default_assumption(default)
            for (of, setting), default in machine_settings().items()
            if of == kind
        }
        outlets = next(
            row["outlets"].split() for row in read_rows("machines.csv") if row["kind"] == kind
        )
        n = draws.n_draws
        return drawn_machine(
            MachineSpec(kind, kind, dict.fromkeys(outlets, "fuel"), {}, settings),
            rows,
            group_sizes(rows),
            np.full(n, np.inf),
            Stickiness.drawn(stated, rows),
            drying_terms(stated, rows),
            np.full((n, len(material_names())), 0.1),
            np.full((n, len(material_names())), 20.0),
        )

    return make


@pytest.mark.parametrize("moisture", [0.10, 0.25, 0.45])
@pytest.mark.parametrize("draws", [Draws.best_estimate(), Draws(40, seed=3)])
@pytest.mark.parametrize("kind", KINDS)
def test_shares_add_to_one_wet_or_dry(make_machine, make_feed, kind, draws, moisture) -> None:
    matter = matter_of(make_feed(moisture=moisture, draws=draws), SIZE_SHARES)
    action = make_machine(kind, draws).act(matter)
    total = 0
    for share in action.shares.values():
        assert (share >= 0).all()
        total = total + np.broadcast_to(share, matter.shape)
    np.testing.assert_allclose(total, 1, rtol=1e-9)


def test_clung_fines_rise_with_moisture_and_can_be_turned_off(make_machine) -> None:
    sticky = make_machine("trommel").stickiness
    clung = [float(sticky.clung(np.array([m]))[0]) for m in (0.05, 0.17, 0.22, 0.27, 0.32, 0.5)]
    assert clung == sorted(clung)
    assert clung[0] == clung[1] < clung[2] < clung[4] == clung[5]
    off = make_machine("trommel", clinging=0).stickiness
    assert off.clung(np.array([0.5]))[0] == 0
    assert (off.caught(np.array([0.5])) == 1).all()


def test_fines_cling_to_what_takes_up_soil_and_to_nothing_where_nothing_does() -> None:
    dry = np.zeros((1, 1, len(material_names())))
    dry[..., FINES] = 10
    share = np.zeros((1, len(material_names())))
    share[:, material_names().index("plastic_film")] = 0.9
    alone = with_clung_fines(share, dry, np.array([0.3]))
    assert alone[0, FINES] == 0
    dry[..., material_names().index("plastic_film")] = 1
    film = with_clung_fines(share, dry, np.array([0.3]))
    assert film[0, FINES] == pytest.approx(0.3 * 0.9)


@pytest.mark.parametrize("kind", SORTERS)
def test_damp_waste_is_sorted_no_better(make_machine, make_feed, kind) -> None:
    machine = make_machine(kind)
    if not machine.kind.is_damp_sensitive:
        return
    dry = machine.act(matter_of(make_feed(moisture=0.12), SIZE_SHARES))
    wet = machine.act(matter_of(make_feed(moisture=0.40), SIZE_SHARES))
    caught = 0
    for outlet in machine.kind.outlets[1:]:
        for place, name in enumerate(material_names()):
            if name != "fines":
                assert np.all(
                    wet.shares[outlet][..., place] <= dry.shares[outlet][..., place] + 1e-12
                )
                caught += float(dry.shares[outlet][..., place].sum())
    assert caught > 0


def test_a_washer_takes_up_water_and_drains_to_its_moisture(make_machine, make_feed) -> None:
    matter = matter_of(make_feed(moisture=0.05), SIZE_SHARES)
    machine = make_machine("mineral_washer")
    action = machine.act(matter)
    inflow = matter.copy()
    inflow[WATER] += action.water_added_t
    washed = action.sent("washed", inflow).sum(axis=(1, 3))[:, 0]
    sludge = action.sent("sludge", inflow).sum(axis=(1, 3))[:, 0]
    assert action.water_added_t.sum() > 0
    assert washed[2] / washed.sum() == pytest.approx(machine.numbers["washed_moisture"][0], rel=0.2)
    assert sludge[2] / sludge.sum() == pytest.approx(machine.numbers["sludge_moisture"][0], rel=0.2)
    clean = action.sent("washed", inflow)
    dirt_left = clean[:2, ..., FINES].sum() / matter[:2, ..., FINES].sum()
    # Washing takes off 60 to 90 % of the dirt: ranges met in published work, from memory.
    assert 0.10 <= dirt_left <= 0.40
