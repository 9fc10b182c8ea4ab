from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from reclaim.assumptions import Draws
from reclaim.plant.particle_size import (
    SIZE_SHARES,
    group_sizes,
    shredded_size,
    top_sizes,
    undersize_share,
)
from reclaim.plant.rows import RowDraws
from reclaim.reference import material_names, read_rows
from reclaim.site.plantfile import MachineSpec


@pytest.fixture
def rows():
    return RowDraws(Draws.best_estimate(), np.zeros(1, dtype=int), {})


def test_groups_have_the_mean_and_spread_of_the_lognormal(rows) -> None:
    # Gauss-Hermite quadrature is exact for the moments of the logarithm.
    logs = np.log(group_sizes(rows)[:, 0])
    mean = (logs * SIZE_SHARES[:, None]).sum(axis=0)
    spread = np.sqrt((((logs - mean) ** 2) * SIZE_SHARES[:, None]).sum(axis=0))
    table = {
        (r["material"], r["property"]): float(r["mode"]) for r in read_rows("particle_sizes.csv")
    }
    for place, name in enumerate(material_names()):
        assert np.exp(mean[place]) == pytest.approx(table[name, "median_mm"], rel=1e-9)
        assert np.exp(spread[place]) == pytest.approx(table[name, "spread"], rel=1e-9)


@pytest.mark.parametrize("cut_mm", [10.0, 20.0, 60.0, 200.0])
def test_eight_groups_are_enough(rows, cut_mm) -> None:
    # Against the integral over the whole distribution, by a fine midpoint rule.
    from scipy.stats import norm

    deviate = norm.ppf((np.arange(20_000) + 0.5) / 20_000)
    sizes = group_sizes(rows)[:, 0]
    table = {
        (r["material"], r["property"]): float(r["mode"]) for r in read_rows("particle_sizes.csv")
    }
    few = (undersize_share(sizes, cut_mm, 4.0) * SIZE_SHARES[:, None]).sum(axis=0)
    for place, name in enumerate(material_names()):
        size = table[name, "median_mm"] * table[name, "spread"] ** deviate
        whole = undersize_share(size, cut_mm, 4.0).mean()
        assert few[place] == pytest.approx(whole, abs=0.05), name


def test_a_sharp_screen_is_a_step_and_half_passes_at_the_cut() -> None:
    assert undersize_share(np.array(20.0), np.array(20.0), np.array(4.0)) == pytest.approx(0.5)
    sharp = undersize_share(np.array([19.0, 21.0]), np.array(20.0), np.array(500.0))
    np.testing.assert_allclose(sharp, [1, 0], atol=1e-6)


def test_shredding_leaves_small_pieces_and_metal_alone(rows) -> None:
    sizes = group_sizes(rows)
    cut = shredded_size(sizes, np.array([100.0]))
    names = material_names()
    assert (cut[..., names.index("wood")] < 100).all()
    assert (cut[..., names.index("wood")] < sizes[..., names.index("wood")]).all()
    for whole in ("ferrous", "stone_ceramic", "glass", "fines"):
        np.testing.assert_array_equal(cut[..., names.index(whole)], sizes[..., names.index(whole)])
    np.testing.assert_array_equal(shredded_size(sizes, np.array([np.inf])), sizes)


def test_the_last_shredder_sets_the_top_size_and_the_coarsest_way_counts(
    rows, default_line
) -> None:
    screen = next(item for item in default_line.machines if item.kind == "trommel")
    top = replace(
        screen.settings["power_kwh_t"], key="top", kind="fixed", numbers=(80.0,), maximum=1000
    )

    def machine(name, **outlets):
        settings = {"top_size_mm": top} if name.startswith("shredder") else {}
        return MachineSpec(name, "x", outlets, {}, settings)

    line = replace(
        default_line,
        feed="a",
        machines=(
            machine("a", one="shredder", two="c"),
            machine("shredder", one="b"),
            machine("b", one="c", two="fuel"),
            machine("c", one="fuel"),
        ),
    )
    found = top_sizes(line, rows)
    assert found["a"][0] == found["shredder"][0] == found["c"][0] == np.inf
    assert found["b"][0] == 80
