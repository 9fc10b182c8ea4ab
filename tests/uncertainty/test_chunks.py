"""Runs in chunks: the same on any number of workers, stopped on time, whole after an interrupt."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest

from reclaim.appraisal import CashItem
from reclaim.assumptions import CHUNK, Draws
from reclaim.assumptions.records import joined
from reclaim.uncertainty import run_in_chunks


@dataclass(frozen=True)
class Toy:
    """A small outcome."""

    a: np.ndarray
    by_year: np.ndarray
    items: tuple[CashItem, ...]
    worst: float
    label: str
    more: dict[str, np.ndarray]


def toy(draws):
    a = draws.uniform("a")
    years = 3 + draws.first
    flow = np.repeat(a[:, None], years, axis=1)
    items = (CashItem("x", "X", "capital", flow), CashItem("y", "Y", "capital", -2 * flow))
    return Toy(a, flow, items, float(draws.first), "words", {"b": draws.normal("b")})


@pytest.mark.parametrize("workers", [1, 2, 3])
def test_workers_do_not_change_the_result(workers) -> None:
    draws = Draws(3 * CHUNK + 10, seed=4)
    found = run_in_chunks(toy, draws, workers=workers)
    np.testing.assert_array_equal(found.a, draws.uniform("a"))
    np.testing.assert_array_equal(found.more["b"], draws.normal("b"))
    assert found.by_year.shape == (3 * CHUNK + 10, 6)
    assert not found.by_year[:CHUNK, 3:].any()
    assert found.worst == 3
    assert found.label == "words"
    assert [item.name for item in found.items] == ["x", "y"]
    np.testing.assert_allclose(found.items[1].flow[:CHUNK, 0], -2 * found.a[:CHUNK], rtol=1e-6)


def test_one_chunk_is_handed_on_as_it_is() -> None:
    found = run_in_chunks(toy, Draws(100, seed=4))
    assert [item.name for item in found.items] == ["x", "y"]


@pytest.mark.parametrize("workers", [1, 2])
def test_a_run_stops_when_it_is_enough(workers) -> None:
    seen = []
    found = run_in_chunks(
        toy,
        Draws(10 * CHUNK, seed=4),
        workers=workers,
        enough=lambda so_far: so_far.a.size >= 2 * CHUNK,
        done=seen.append,
    )
    assert found.a.size == 2 * CHUNK
    assert seen == [CHUNK, 2 * CHUNK]


@pytest.mark.parametrize("workers", [1, 2])
def test_an_interrupt_is_passed_on_and_stops_the_rest(workers) -> None:
    begun = []

    def interrupted(draws):
        begun.append(draws.first)
        if draws.first == 1:
            raise KeyboardInterrupt
        return toy(draws)

    with pytest.raises(KeyboardInterrupt):
        run_in_chunks(interrupted, Draws(50 * CHUNK, seed=4), workers=workers)
    assert len(begun) < 6


def test_joined_keeps_full_precision() -> None:
    one, two = (toy(chunk) for chunk in Draws(2 * CHUNK, seed=1).chunks())
    whole = joined([one, two])
    np.testing.assert_array_equal(whole.by_year[CHUNK:], two.by_year)
    assert len(whole.items) == 2
