"""Rows of one run: which draw each row belongs to."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from reclaim.assumptions import Assumption, Draws

FloatArray = NDArray[np.float64]


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
