"""Rows of one run: which draw each row belongs to, and records cut into blocks and joined again."""

from __future__ import annotations

from dataclasses import dataclass, fields, is_dataclass, replace
from typing import TYPE_CHECKING, Any, TypeVar

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from collections.abc import Sequence

    from _typeshed import DataclassInstance

    from reclaim.assumptions import Assumption, Draws

FloatArray = NDArray[np.float64]
Record = TypeVar("Record", bound="DataclassInstance")


@dataclass(frozen=True, slots=True)
class RowDraws:
    """Draws for some rows of a run.

    A row is one draw of one feed. With several feeds (zones, blocks) in one run the rows of a
    draw lie together and share its numbers.

    Attributes
    ----------
    draws
        Source of the draws.
    draw_of_row
        Number of the draw that each row belongs to, shape ``(n_rows,)``.
    probabilities
        Those already drawn, by stream, shape ``(n_draws,)``; shared by all blocks of a run, so
        that the result does not depend on the size of the blocks.
    """

    draws: Draws
    draw_of_row: NDArray[np.intp]
    probabilities: dict[str, FloatArray]

    def of(self, assumption: Assumption, stream: str | None = None) -> FloatArray:
        """Return the assumption's values in these rows, shape ``(n_rows,)``."""
        if assumption.kind == "fixed":
            return np.full(self.draw_of_row.size, assumption.central)
        name = stream or assumption.key
        if name not in self.probabilities:
            self.probabilities[name] = self.draws.uniform(name)
        return self.draws.at(assumption, self.probabilities[name][self.draw_of_row])

    @property
    def n_rows(self) -> int:
        """Number of rows."""
        return self.draw_of_row.size


def cut(record: Record, rows: slice) -> Record:
    """Return a frozen record with every array cut to some rows of its first axis."""
    names = [field.name for field in fields(record)]
    arrays = {name: getattr(record, name) for name in names}
    return replace(
        record,
        **{name: item[rows] for name, item in arrays.items() if isinstance(item, np.ndarray)},
    )


def joined(parts: Sequence[Any]) -> Any:
    """Return the parts of a run as one: arrays row after row, and the worst of plain numbers."""
    first = parts[0]
    if isinstance(first, np.ndarray):
        return first if len(parts) == 1 else np.concatenate(parts)
    if isinstance(first, float):
        return max(parts)
    if isinstance(first, dict):
        return {key: joined([part[key] for part in parts]) for key in first}
    if isinstance(first, tuple):
        return tuple(joined(items) for items in zip(*parts, strict=True))
    if is_dataclass(first) and not isinstance(first, type):
        values = [joined([getattr(part, f.name) for part in parts]) for f in fields(first)]
        return type(first)(*values)
    return first
