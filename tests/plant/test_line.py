from __future__ import annotations

from dataclasses import fields, replace

import numpy as np
import pytest

from reclaim.assumptions import Draws, default_assumption
from reclaim.plant import run_line
from reclaim.reference import data_path, machine_settings, read_rows
from reclaim.reference import products as products_of_the_trade
from reclaim.site import Findings
from reclaim.site.plantfile import LineFile, MachineSpec, read_line


@pytest.mark.parametrize("draws", [Draws.best_estimate(), Draws(300, seed=7)])
def test_balances_close(make_feed, default_line, assumptions, draws) -> None:
    feed = make_feed(draws=draws)
    products = run_line(feed, default_line, assumptions, draws)
    for error in (
        products.balance.mass,
        products.balance.water,
        products.balance.energy,
        products.balance.elements,
        products.balance.metals,
        products.balance.carbon,
    ):
        assert error < 1e-9
    out = products.product_wet_t.sum(axis=1) + products.water_lost_t + products.gas_lost_t
    np.testing.assert_allclose(out, feed.total_wet_t, rtol=1e-9)
    ash_in = (feed.dry_t * feed.properties.ash).sum(axis=1)
    ash_out = (products.ash * products.product_dry_t).sum(axis=1)
    np.testing.assert_allclose(ash_out, ash_in, rtol=1e-9)
    chlorine_in = (feed.dry_t * feed.properties.chlorine).sum(axis=1)
    chlorine_out = (products.chlorine * products.product_dry_t).sum(axis=1)
    np.testing.assert_allclose(chlorine_out, chlorine_in, rtol=1e-9)
    metals_in = np.einsum("dm,dmk->dk", feed.dry_t, feed.properties.heavy_metals_mg_kg)
    metals_out = np.einsum("dp,dpk->dk", products.product_dry_t, products.heavy_metals_mg_kg)
    np.testing.assert_allclose(metals_out, metals_in, rtol=1e-9)


def test_streams_balance_at_every_machine(make_feed, default_line, assumptions, best) -> None:
    products = run_line(make_feed(), default_line, assumptions, best)
    for machine in default_line.machines:
        entering = sum(s.wet_t[0] for s in products.streams if s.target == machine.name)
        leaving = sum(s.wet_t[0] for s in products.streams if s.origin == machine.name)
        assert leaving == pytest.approx(entering, rel=1e-9)
        assert products.machine_t[machine.name][0] == pytest.approx(entering, rel=1e-9)


def test_one_draw_of_fixed_numbers_is_the_best_estimate(
    make_feed, default_line, assumptions
) -> None:
    fixed = {
        key: replace(item, kind="fixed", numbers=(item.central,))
        for key, item in assumptions.items()
    }
    best = run_line(make_feed(), default_line, fixed, Draws.best_estimate())
    again = run_line(make_feed(), default_line, fixed, Draws.best_estimate())
    np.testing.assert_array_equal(best.dry_t, again.dry_t)


def test_drier_target_leaves_less_water(make_feed, default_line, assumptions, best) -> None:
    def fuel_moisture(target):
        item = replace(
            assumptions["plant.target_moisture"], kind="fixed", numbers=(target,), given=True
        )
        products = run_line(
            make_feed(), default_line, {**assumptions, "plant.target_moisture": item}, best
        )
        assert products.drying.moisture_out[0] == pytest.approx(target, rel=1e-9)
        return products.moisture[0, products.names.index("fuel")]

    assert fuel_moisture(0.10) < fuel_moisture(0.15) < fuel_moisture(0.25)


def test_without_bought_heat_old_waste_stays_wet(
    make_feed, default_line, assumptions, best
) -> None:
    none = replace(assumptions["plant.bought_heat_share"], numbers=(0.0,))
    products = run_line(
        make_feed(), default_line, {**assumptions, "plant.bought_heat_share": none}, best
    )
    assert products.drying.heat_bought_mwh[0] == 0
    assert products.drying.moisture_out[0] > 0.30


def test_waste_drier_than_the_target_is_left_alone(
    make_feed, default_line, assumptions, best
) -> None:
    products = run_line(make_feed(moisture=0.10), default_line, assumptions, best)
    assert products.water_lost_t[0] == 0
    assert products.drying.heat_bought_mwh[0] == 0


def read(name):
    findings = Findings()
    line = read_line(data_path(f"lines/{name}.toml"), name, findings)
    assert not findings.errors
    return line


SHIPPED = sorted(path.stem for path in data_path("lines").glob("*.toml"))


def test_four_lines_ship() -> None:
    assert SHIPPED == [
        "dry_then_separate",
        "mobile_small_site",
        "screen_dry_separate_wash",
        "separate_only",
    ]


@pytest.mark.parametrize("draws", [Draws.best_estimate(), Draws(100, seed=4)])
@pytest.mark.parametrize("name", SHIPPED)
def test_every_shipped_line_runs_and_closes(make_feed, assumptions, name, draws) -> None:
    feed = make_feed(draws=draws)
    products = run_line(feed, read(name), assumptions, draws)
    for error in vars_of(products.balance):
        assert error < 1e-9
    out = products.product_wet_t.sum(axis=1) + products.water_lost_t + products.gas_lost_t
    np.testing.assert_allclose(out, feed.total_wet_t + products.water_added_t, rtol=1e-9)
    assert (products.dry_t >= 0).all()
    assert (products.water_t >= 0).all()


def vars_of(record):
    return [getattr(record, field.name) for field in fields(record)]


def recycled(line, machine, outlet, target):
    return replace(
        line,
        machines=tuple(
            replace(item, outlets={**item.outlets, outlet: target})
            if item.name == machine
            else item
            for item in line.machines
        ),
    )


def test_a_recycle_through_the_dryer_settles(make_feed, default_line, assumptions, best) -> None:
    line = recycled(default_line, "heavy_separator", "middlings", "drying_box")
    products = run_line(make_feed(), line, assumptions, best)
    assert products.balance.mass < 1e-9
    assert products.balance.water < 1e-9
    once = run_line(make_feed(), default_line, assumptions, best)
    assert products.wet_t("fuel")[0] > once.wet_t("fuel")[0]


def test_a_recycle_through_the_washer_settles(make_feed, assumptions) -> None:
    draws = Draws(50, seed=2)
    line = recycled(read("screen_dry_separate_wash"), "mineral_washer", "floats", "drying_box")
    products = run_line(make_feed(draws=draws), line, assumptions, draws)
    assert max(vars_of(products.balance)) < 1e-9
    assert (products.water_added_t > 0).all()


def random_line(seed, size):
    """A line of real machines, wired at random, a third of the outlets leading back."""
    rng = np.random.default_rng(seed)
    kinds = [row for row in read_rows("machines.csv") if row["model"] != "shredder"]
    ends = list(products_of_the_trade())
    names = [f"m{place}" for place in range(size)]
    machines = []
    for place, name in enumerate(names):
        row = kinds[rng.integers(len(kinds))]
        outlets = {}
        for number, outlet in enumerate(row["outlets"].split()):
            if number == 0 and place + 1 < size:
                outlets[outlet] = names[place + 1]
            elif rng.random() < 1 / 3:
                outlets[outlet] = names[rng.integers(max(place, 1))]
            else:
                outlets[outlet] = str(rng.choice(ends))
        settings = {
            setting: default_assumption(default)
            for (kind, setting), default in machine_settings().items()
            if kind == row["kind"]
        }
        machines.append(MachineSpec(name, row["kind"], outlets, {}, settings))
    used = {target for machine in machines for target in machine.outlets.values()}
    made = tuple(end for end in ends if end in used)
    return LineFile("random", "Random", names[0], tuple(machines), made, "made in a test")


@pytest.mark.parametrize(("seed", "size"), [(1, 12), (2, 40), (3, 200)])
def test_random_lines_with_recycles_close(make_feed, assumptions, best, seed, size) -> None:
    line = random_line(seed, size)
    assert any(
        target in {machine.name for machine in line.machines[: place + 1]}
        for place, machine in enumerate(line.machines)
        for target in machine.outlets.values()
    )
    products = run_line(make_feed(), line, assumptions, best)
    assert max(vars_of(products.balance)) < 1e-9


def test_several_zones_in_one_run_are_the_zones_one_by_one(
    make_feed, default_line, assumptions
) -> None:
    draws = Draws(7, seed=5)
    wet, dry = make_feed(moisture=0.40, draws=draws), make_feed(moisture=0.25, draws=draws)

    def woven(a, b):
        return np.stack([a, b], axis=1).reshape(14, -1)

    both = replace(
        wet,
        dry_t=woven(wet.dry_t, dry.dry_t),
        water_t=woven(wet.water_t, dry.water_t),
        bulk_density_t_m3=np.repeat(wet.bulk_density_t_m3, 2),
        properties=replace(
            wet.properties,
            **{
                field.name: np.repeat(getattr(wet.properties, field.name), 2, axis=0)
                for field in fields(wet.properties)
                if isinstance(getattr(wet.properties, field.name), np.ndarray)
            },
        ),
    )
    together = run_line(both, default_line, assumptions, draws)
    for place, feed in enumerate((wet, dry)):
        alone = run_line(feed, default_line, assumptions, draws)
        np.testing.assert_allclose(together.dry_t[place::2], alone.dry_t, rtol=1e-12)
        np.testing.assert_allclose(together.power_mwh[place::2], alone.power_mwh, rtol=1e-12)
    with pytest.raises(ValueError, match="no multiple"):
        run_line(both, default_line, assumptions, Draws(4, seed=5))


def test_blocks_of_rows_do_not_change_the_result(
    make_feed, default_line, assumptions, monkeypatch
) -> None:
    draws = Draws(50, seed=6)
    feed = make_feed(draws=draws)
    whole = run_line(feed, default_line, assumptions, draws)
    monkeypatch.setattr("reclaim.plant.line._BLOCK", 7)
    parts = run_line(feed, default_line, assumptions, draws)
    np.testing.assert_allclose(parts.dry_t, whole.dry_t, rtol=1e-12)
    np.testing.assert_allclose(parts.chlorine, whole.chlorine, rtol=1e-12)
    assert [s.target for s in parts.streams] == [s.target for s in whole.streams]


def test_a_longer_cut_sends_more_to_the_soil(make_feed, default_line, assumptions, best) -> None:
    def soil_t(cut_mm):
        machines = tuple(
            replace(item, settings={**item.settings, "cut_mm": fixed(item, "cut_mm", cut_mm)})
            if item.name == "trommel"
            else item
            for item in default_line.machines
        )
        line = replace(default_line, machines=machines)
        return run_line(make_feed(), line, assumptions, best).wet_t("soil")[0]

    assert soil_t(10) < soil_t(20) < soil_t(40) < soil_t(80)


def fixed(machine, name, value):
    return replace(machine.settings[name], kind="fixed", numbers=(float(value),))


def test_drying_makes_cleaner_products_than_sorting_damp(make_feed, assumptions, best) -> None:
    dried = run_line(make_feed(), read("dry_then_separate"), assumptions, best)
    damp = run_line(make_feed(), read("separate_only"), assumptions, best)
    for product in ("fuel", "ferrous", "aggregate"):
        one = dried.purity[0, dried.names.index(product)]
        other = damp.purity[0, damp.names.index(product)]
        assert one > other, product
    for product in ("ferrous", "nonferrous", "soil"):
        one = dried.recovery[0, dried.names.index(product)]
        other = damp.recovery[0, damp.names.index(product)]
        assert one > other, product


def test_clinging_can_be_turned_off(make_feed, assumptions, best) -> None:
    off = replace(assumptions["plant.clinging"], numbers=(0.0,))
    line = read("separate_only")
    sticky = run_line(make_feed(), line, assumptions, best)
    loose = run_line(make_feed(), line, {**assumptions, "plant.clinging": off}, best)
    fines = sticky.materials.index("fines")
    fuel = sticky.names.index("fuel")
    assert loose.dry_t[0, fuel, fines] < 0.5 * sticky.dry_t[0, fuel, fines]


def test_a_thermal_dryer_in_place_of_the_box(make_feed, default_line, assumptions, best) -> None:
    settings = {
        setting: default_assumption(default)
        for (kind, setting), default in machine_settings().items()
        if kind == "thermal_dryer"
    }
    thermal = replace(
        default_line,
        machines=tuple(
            replace(item, kind="thermal_dryer", settings=settings)
            if item.kind == "drying_box"
            else item
            for item in default_line.machines
        ),
    )
    box = run_line(make_feed(), default_line, assumptions, best)
    hot = run_line(make_feed(), thermal, assumptions, best)
    assert hot.gas_lost_t[0] == 0
    assert hot.drying.heat_bought_mwh[0] == hot.drying.heat_needed_mwh[0]
    assert hot.drying.moisture_out[0] == pytest.approx(box.drying.moisture_out[0])


def test_line_without_dryer_loses_nothing(make_feed, default_line, assumptions, best) -> None:
    machine = next(item for item in default_line.machines if item.kind == "trommel")
    screen = replace(machine, name="screen", outlets={"oversize": "fuel", "undersize": "soil"})
    line = replace(default_line, feed="screen", machines=(screen,), products=("fuel", "soil"))
    products = run_line(make_feed(), line, assumptions, best)
    assert products.water_lost_t[0] == products.gas_lost_t[0] == 0
    assert products.product_wet_t.sum() == pytest.approx(1000)
