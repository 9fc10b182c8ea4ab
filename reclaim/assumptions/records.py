"""Records of arrays with a leading axis of draws: cut into rows, put end to end, taken apart.

A record is a frozen dataclass of arrays, single numbers, and dicts, tuples and records of them.
"""

from __future__ import annotations

from dataclasses import fields, is_dataclass, replace
from typing import TYPE_CHECKING, Any, Generic, TypeVar

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Collection, Iterator, Sequence

    from numpy.typing import NDArray

Record = TypeVar("Record")


def cut(record: Record, rows: slice) -> Record:
    """Return a record with every array cut to some rows of its first axis."""
    found = (leaf[rows] if is_array(leaf) else leaf for leaf in leaves(record))
    cut_record: Record = rebuilt(record, found)
    return cut_record


def joined(parts: Sequence[Record]) -> Record:
    """Join records, arrays end to end, in full precision; of single numbers the largest is kept."""
    if len(parts) == 1:
        return parts[0]
    gathered: Gathered[Record] = Gathered(sum(map(n_rows, parts)), single=False)
    for part in parts:
        gathered.add(part)
    return gathered.record()


def without_columns(record: Record, names: Collection[str]) -> Record:
    """Return a record whose arrays of some names have rows but no columns, to save memory."""
    kept = {name: getattr(record, name)[:, :0].copy() for name in names}
    return replace(record, **kept)  # type: ignore[type-var]


def n_rows(record: Any) -> int:
    """Return the length of the first axis of a record's arrays."""
    return int(next(leaf.shape[0] for leaf in leaves(record) if is_array(leaf)))


class Gathered(Generic[Record]):
    """Records put end to end as they come.

    Years that only some parts reach are 0 in the others. Of a single number for all draws, such
    as a closure error, the worst is kept.
    """

    def __init__(self, n_draws: int, *, single: bool) -> None:
        self.count = 0
        self._n_draws = n_draws
        self._single = single
        self._first: Record | None = None
        self._whole: list[Any] = []

    def add(self, part: Record) -> None:
        """Put a part at the end."""
        found = list(leaves(part))
        if self._first is None:
            self._first = part
            self._whole = [self._room(leaf) if is_array(leaf) else leaf for leaf in found]
        size = n_rows(part)
        for place, leaf in enumerate(found):
            if not is_array(leaf):
                self._whole[place] = max(self._whole[place], leaf)
                continue
            whole = self._whole[place]
            if np.any(np.array(leaf.shape[1:]) > whole.shape[1:]):
                wider = self._room(leaf)
                wider[: self.count, *(slice(0, n) for n in whole.shape[1:])] = whole[: self.count]
                self._whole[place] = whole = wider
            whole[self.count : self.count + size, *(slice(0, n) for n in leaf.shape[1:])] = leaf
        self.count += size

    def record(self) -> Record:
        """Return what was gathered so far."""
        assert self._first is not None
        found = (leaf[: self.count] if is_array(leaf) else leaf for leaf in self._whole)
        whole: Record = rebuilt(self._first, found)
        return whole

    def _room(self, leaf: NDArray[Any]) -> NDArray[Any]:
        smaller = self._single and leaf.ndim > 1 and leaf.dtype == np.float64
        return np.zeros((self._n_draws, *leaf.shape[1:]), np.float32 if smaller else leaf.dtype)


def is_array(leaf: object) -> bool:
    """Return whether a leaf has an axis of draws."""
    return isinstance(leaf, np.ndarray)


def leaves(value: Any) -> Iterator[Any]:
    """Yield arrays and single numbers of nested dataclasses, dicts and tuples, in a fixed order."""
    if is_dataclass(value):
        for item in fields(value):
            yield from leaves(getattr(value, item.name))
    elif isinstance(value, dict):
        for part in value.values():
            yield from leaves(part)
    elif isinstance(value, tuple):
        for part in value:
            yield from leaves(part)
    elif isinstance(value, np.ndarray | float):
        yield value


def rebuilt(value: Any, found: Iterator[Any]) -> Any:
    """Return the same structure with other arrays and numbers, in the order of `leaves`."""
    if is_dataclass(value) and not isinstance(value, type):
        changed = {item.name: rebuilt(getattr(value, item.name), found) for item in fields(value)}
        return replace(value, **changed)
    if isinstance(value, dict):
        return {key: rebuilt(part, found) for key, part in value.items()}
    if isinstance(value, tuple):
        return tuple(rebuilt(part, found) for part in value)
    return next(found) if isinstance(value, np.ndarray | float) else value
