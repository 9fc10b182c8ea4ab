"""Draws of every assumption: stratified, seeded, and independent of the order they are asked in."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING
from zlib import crc32

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from reclaim.assumptions.assumption import Assumption

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Draws:
    """A source of draws for one run of the model.

    With ``seed=None`` it hands out central values: one draw, the best estimate. Otherwise every
    name has a random stream of its own, so a new assumption never changes the draws of the others.

    Attributes
    ----------
    n_draws
        Number of draws; 1 for the best estimate.
    seed
        Seed of the run, or None for the best estimate.

    Examples
    --------
    >>> Draws.best_estimate().n_draws
    1
    >>> Draws(4, seed=1).uniform("waste.moisture").shape
    (4,)
    """

    n_draws: int
    seed: int | None

    @classmethod
    def best_estimate(cls) -> Draws:
        """Return the source that gives every number its central value, as one draw."""
        return cls(1, None)

    @property
    def is_best_estimate(self) -> bool:
        """True where central values are handed out."""
        return self.seed is None

    def generator(self, name: str) -> np.random.Generator:
        """Return the random stream that belongs to a name.

        Raises
        ------
        ValueError
            For the best estimate, which has no random part.
        """
        if self.seed is None:
            raise ValueError("The best estimate draws nothing.")
        sequence = np.random.SeedSequence(self.seed, spawn_key=(crc32(name.encode()),))
        return np.random.default_rng(sequence)

    def uniform(self, name: str) -> FloatArray:
        """Return one stratified probability per draw, shape ``(n_draws,)``; 0.5 for the best.

        Notes
        -----
        One margin of a Latin hypercube: one point in each of n equal strata, in random order.
        McKay, Beckman and Conover (1979), Technometrics 21(2), 239-245.
        """
        if self.seed is None:
            return np.full(1, 0.5)
        generator = self.generator(name)
        points = (generator.permutation(self.n_draws) + generator.random(self.n_draws)) / (
            self.n_draws
        )
        return np.clip(points, np.finfo(float).tiny, 1 - np.finfo(float).epsneg)

    def of(self, assumption: Assumption, stream: str | None = None) -> FloatArray:
        """Return the assumption's values, shape ``(n_draws,)``; its central value for the best.

        `stream` lets several assumptions move together by sharing one stream of probabilities.
        """
        if self.seed is None:
            return np.full(1, assumption.central)
        return assumption.quantile(self.uniform(stream or assumption.key))

    def normal(self, name: str) -> FloatArray:
        """Return stratified standard normal deviates, shape ``(n_draws,)``; 0 for the best."""
        from scipy.special import ndtri

        return np.asarray(ndtri(self.uniform(name)))
