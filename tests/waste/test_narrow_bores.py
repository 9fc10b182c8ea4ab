"""Narrow bores: what is taken off, when, and by how much."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from reclaim.assumptions import Draws, stated_assumption
from reclaim.reference import assumption_defaults, material_names
from reclaim.waste import (
    bore_notes,
    composition_from_cores,
    core_composites,
    summarise_cores,
    without_bore_bias,
)

PLACES = np.column_stack([np.arange(6.0) * 30, np.zeros(6)])
FINES, FILM, GLASS = (material_names().index(name) for name in ("fines", "plastic_film", "glass"))
MANY = Draws(4000, seed=3)


def with_correction(assumptions, value):
    key = "waste.narrow_bore_correction"
    return {**assumptions, key: stated_assumption(assumption_defaults()[key], value)}


def bored(make_composites, narrow=0, unknown=0):
    cores = make_composites(PLACES)
    number = np.arange(len(PLACES))
    return replace(
        cores,
        narrow=number < narrow,
        of_unknown_width=(number >= narrow) & (number < narrow + unknown),
    )


def both(cores, assumptions, draws):
    read = composition_from_cores(cores, ["a"], draws)
    return read, without_bore_bias(read, cores, assumptions, draws)


def test_wide_bores_are_left_as_they_are(make_composites, assumptions) -> None:
    read, found = both(bored(make_composites), with_correction(assumptions, 1), MANY)
    assert found.wet_fraction is read.wet_fraction
    assert found.bulk_density_t_m3 is read.bulk_density_t_m3


def test_by_default_the_best_estimate_is_as_read_and_the_range_wider(
    make_composites, assumptions, best
) -> None:
    cores = bored(make_composites, narrow=6)
    read, found = both(cores, assumptions, best)
    np.testing.assert_allclose(found.wet_fraction, read.wet_fraction, rtol=1e-14)
    np.testing.assert_array_equal(found.bulk_density_t_m3, read.bulk_density_t_m3)
    read, found = both(cores, assumptions, MANY)

    def width(values):
        return np.ptp(np.quantile(values, [0.1, 0.9]))

    assert width(found.bulk_density_t_m3) > 1.1 * width(read.bulk_density_t_m3)
    assert np.quantile(found.bulk_density_t_m3, 0.1) < np.quantile(read.bulk_density_t_m3, 0.1)
    # Composition reaches towards more coarse and less light material, which the bore hides.
    assert found.wet_fraction[..., GLASS].max() > read.wet_fraction[..., GLASS].max()
    assert found.wet_fraction[..., FILM].min() < read.wet_fraction[..., FILM].min()
    part = np.abs(found.wet_fraction - read.wet_fraction) > 0
    assert part.all()


def test_the_whole_correction_undoes_the_reported_bias(make_composites, assumptions, best) -> None:
    # Middle of what a comparison of narrow with wide bores at Shenzhen reports: density 24 %,
    # fines 8 % and light material 12.5 % too high, coarse pieces 15 % too low.
    cores = bored(make_composites, narrow=6)
    truth = composition_from_cores(cores, ["a"], best)
    bias = np.full(len(material_names()), -0.15)
    bias[FINES] = 0.08
    for name in ("plastic_film", "paper_card", "textiles"):
        bias[material_names().index(name)] = 0.125
    misread = truth.wet_fraction * (1 + bias)
    read = replace(
        truth,
        wet_fraction=misread / misread.sum(axis=2, keepdims=True),
        bulk_density_t_m3=truth.bulk_density_t_m3 * 1.24,
    )
    found = without_bore_bias(read, cores, with_correction(assumptions, 1), best)
    np.testing.assert_allclose(found.wet_fraction, truth.wet_fraction, rtol=1e-12)
    np.testing.assert_allclose(found.bulk_density_t_m3, truth.bulk_density_t_m3, rtol=1e-12)


def test_half_narrow_carries_half_the_bias(make_composites, assumptions, best) -> None:
    cores = bored(make_composites, narrow=3)
    read, found = both(cores, with_correction(assumptions, 1), best)
    np.testing.assert_allclose(found.bulk_density_t_m3 * (1 + 0.5 * 0.24), read.bulk_density_t_m3)


def test_unknown_width_widens_the_range_and_is_never_corrected(
    make_composites, assumptions, best
) -> None:
    cores, stated = bored(make_composites, unknown=6), with_correction(assumptions, 1)
    read, found = both(cores, stated, best)
    np.testing.assert_array_equal(found.bulk_density_t_m3, read.bulk_density_t_m3)
    read, found = both(cores, stated, MANY)
    assert (found.bulk_density_t_m3 <= read.bulk_density_t_m3).all()
    assert found.bulk_density_t_m3.mean() < 0.97 * read.bulk_density_t_m3.mean()
    np.testing.assert_allclose(found.wet_fraction.sum(axis=2), 1, rtol=1e-12)


def test_the_geologists_summary_is_treated_alike(make_composites, assumptions) -> None:
    cores = bored(make_composites, narrow=6)
    off = summarise_cores(cores, assumptions, seed=1)
    on = summarise_cores(cores, with_correction(assumptions, 1), seed=1)
    assert on.wet_fraction[-1, FINES] < off.wet_fraction[-1, FINES]
    assert on.wet_fraction[-1, GLASS] > off.wet_fraction[-1, GLASS]
    np.testing.assert_allclose(on.wet_fraction.sum(axis=1), 1, rtol=1e-12)


@pytest.mark.parametrize(
    ("narrow", "unknown", "stated", "words"),
    [
        (2, 0, 0, "as read"),
        (2, 0, 1, "are corrected for 2 narrow bore(s) of 6 sampled cores: 100% of"),
        (0, 3, 1, "3 have no width recorded"),
    ],
)
def test_what_was_done_is_said(
    make_composites, assumptions, narrow, unknown, stated, words
) -> None:
    cores = bored(make_composites, narrow=narrow, unknown=unknown)
    (note,) = bore_notes(cores, with_correction(assumptions, stated))
    assert words in note


def test_method_and_width_reach_the_composites(make_cores) -> None:
    masses = {"fines": 60.0, "glass": 20.0}
    names = ("A", "B", "C")
    cores = make_cores(
        [(name, 1.0, 3.0, 0.3, masses) for name in names],
        [(name, 1.0, 3.0, "waste", "") for name in names],
    )
    collars = cores.collars.assign(
        method=["auger", "trial pit", ""], diameter_mm=[150, 150, np.nan]
    )
    found = core_composites(replace(cores, collars=collars))
    np.testing.assert_array_equal(found.narrow, [True, False, False])
    np.testing.assert_array_equal(found.of_unknown_width, [False, False, True])
