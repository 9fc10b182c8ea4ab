"""Records cut into rows and put end to end again are what they were (an identity)."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from reclaim.assumptions.records import cut, joined, n_rows, without_columns


@dataclass(frozen=True)
class Inner:
    """A record in a record."""

    b: np.ndarray


@dataclass(frozen=True)
class Outer:
    """A record of every kind of field."""

    a: np.ndarray
    inner: Inner
    by_name: dict[str, np.ndarray]
    several: tuple[Inner, ...]
    worst: float
    label: str


def record(worst=0.0):
    a = np.arange(12.0).reshape(6, 2)
    return Outer(a, Inner(a[:, 0]), {"x": 2 * a[:, 1]}, (Inner(-a),), worst, "words")


def test_cut_and_joined_give_the_same_record() -> None:
    whole = record()
    assert n_rows(whole) == 6
    again = joined([cut(whole, slice(0, 1)), cut(whole, slice(1, 4)), cut(whole, slice(4, 6))])
    np.testing.assert_array_equal(again.a, whole.a)
    np.testing.assert_array_equal(again.inner.b, whole.inner.b)
    np.testing.assert_array_equal(again.by_name["x"], whole.by_name["x"])
    np.testing.assert_array_equal(again.several[0].b, whole.several[0].b)
    assert again.label == "words"


def test_of_single_numbers_the_largest_is_kept() -> None:
    assert joined([record(1e-12), record(3e-12), record(2e-12)]).worst == 3e-12


def test_columns_left_out_leave_the_rows() -> None:
    assert without_columns(record(), ["a"]).a.shape == (6, 0)
