"""Draws of every assumption: stratified, seeded, and independent of the order they are asked in."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import lru_cache
from typing import TYPE_CHECKING, Literal
from zlib import crc32

import numpy as np
from numpy.typing import NDArray

from reclaim.assumptions.correlations import Correlations

if TYPE_CHECKING:
    from collections.abc import Iterator

    from reclaim.assumptions.assumption import Assumption

FloatArray = NDArray[np.float64]
Sampling = Literal["latin", "sobol"]

CHUNK = 2048
"""Draws that are made together, each chunk with child generators of its own."""


@dataclass(frozen=True, slots=True)
class Draws:
    """A source of draws for one run of the model.

    With ``seed=None`` it hands out central values: one draw, the best estimate. Otherwise every
    name has a random stream of its own, so a new assumption never changes the draws of the others.
    Draws come in chunks of a fixed size; `chunks` gives them one by one, and they are the same
    whether a run takes them together, apart, or on several workers.

    Attributes
    ----------
    n_draws
        Number of draws; 1 for the best estimate.
    seed
        Seed of the run, or None for the best estimate.
    sampling
        ``latin`` for a Latin hypercube in each chunk, ``sobol`` for one scrambled Sobol sequence
        through all chunks.
    names
        Names that a Sobol sequence gives a dimension to; not used by a Latin hypercube.
    correlations
        Which names move together.
    first
        Number of the first chunk.

    Examples
    --------
    >>> Draws.best_estimate().n_draws
    1
    >>> Draws(4, seed=1).uniform("waste.moisture").shape
    (4,)
    """

    n_draws: int
    seed: int | None
    sampling: Sampling = "latin"
    names: tuple[str, ...] = ()
    correlations: Correlations = field(default_factory=Correlations)
    first: int = 0

    @classmethod
    def best_estimate(cls) -> Draws:
        """Return the source that gives every number its central value, as one draw."""
        return Draws(1, None)

    @property
    def is_best_estimate(self) -> bool:
        """True where central values are handed out."""
        return self.seed is None

    def is_central(self, name: str) -> bool:  # noqa: ARG002 - sources that draw some names differ
        """Return whether every draw takes the central value of a name."""
        return self.is_best_estimate

    def parts(self) -> tuple[Draws, ...]:
        """Return the sources that this one is stacked from, as a rule itself alone."""
        return (self,)

    def chunks(self) -> Iterator[Draws]:
        """Return the same draws, chunk by chunk."""
        for number, size in self._sizes():
            yield replace(self, n_draws=size, first=number)

    def generator(self, name: str) -> np.random.Generator:
        """Return the random stream that belongs to a name, in the first chunk.

        Raises
        ------
        ValueError
            For the best estimate, which has no random part.
        """
        return self._generator(name, self.first)

    def uniform(self, name: str) -> FloatArray:
        """Return one stratified probability per draw, shape ``(n_draws,)``; 0.5 for the best.

        Raises
        ------
        ValueError
            For a Sobol sequence, where the name has no dimension.

        Notes
        -----
        ``latin``: one margin of a Latin hypercube, one point in each of n equal strata, in random
        order. McKay, Beckman and Conover (1979), Technometrics 21(2), 239-245. ``sobol``: Joe and
        Kuo (2008), SIAM Journal on Scientific Computing 30, 2635-2654, scrambled after Matousek
        (1998), Journal of Complexity 14, 527-556, as `scipy.stats.qmc` has them.
        """
        if self.seed is None:
            return np.full(1, 0.5)
        parts = [self._linked(name, number, size) for number, size in self._sizes()]
        points = parts[0] if len(parts) == 1 else np.concatenate(parts)
        return np.clip(points, np.finfo(float).tiny, 1 - np.finfo(float).epsneg)

    def of(self, assumption: Assumption, stream: str | None = None) -> FloatArray:
        """Return the assumption's values, shape ``(n_draws,)``; its central value for the best.

        `stream` lets several assumptions move together by sharing one stream of probabilities.
        """
        if assumption.kind == "fixed":
            return np.full(self.n_draws, assumption.central)
        return self.at(assumption, self.uniform(stream or assumption.key))

    def at(self, assumption: Assumption, probability: FloatArray) -> FloatArray:
        """Return the assumption's values at probabilities of `uniform`, same shape.

        The best estimate takes the central value, whatever the probability.
        """
        if self.seed is None:
            return np.full_like(probability, assumption.central)
        return assumption.quantile(probability)

    def normal(self, name: str) -> FloatArray:
        """Return stratified standard normal deviates, shape ``(n_draws,)``; 0 for the best."""
        from scipy.special import ndtri

        return np.asarray(ndtri(self.uniform(name)))

    def _sizes(self) -> Iterator[tuple[int, int]]:
        """Return number and size of each chunk."""
        for begin in range(0, self.n_draws, CHUNK):
            yield self.first + begin // CHUNK, min(CHUNK, self.n_draws - begin)

    def _generator(self, name: str, chunk: int) -> np.random.Generator:
        return _generator(self._seed_of(name), name, chunk)

    def _seed_of(self, name: str) -> int:  # noqa: ARG002 - sources that share names differ
        """Return the seed of a name's stream."""
        if self.seed is None:
            raise ValueError("The best estimate draws nothing.")
        return self.seed

    def _linked(self, name: str, chunk: int, size: int) -> FloatArray:
        """Points of a name in a chunk, put in the order that its correlations ask for."""
        own = self._independent(name, chunk, size)
        weights = self.correlations.mix.get(name)
        if weights is None:
            return own
        from scipy.special import ndtri

        edge = np.finfo(float).tiny
        score = np.zeros(size)
        for other, weight in weights.items():
            points = own if other == name else self._independent(other, chunk, size)
            score += weight * ndtri(np.clip(points, edge, 1 - np.finfo(float).epsneg))
        linked = np.empty_like(own)
        linked[np.argsort(score, kind="stable")] = np.sort(own)
        return linked

    def _independent(self, name: str, chunk: int, size: int) -> FloatArray:
        if self.sampling == "sobol":
            assert self.seed is not None
            if name not in self.names:
                raise ValueError(f"The Sobol sequence has no dimension for {name}.")
            return _sobol_points(self.seed, len(self.names), chunk)[
                :size, self.names.index(name)
            ].copy()
        return _latin_points(self._seed_of(name), name, chunk, size)


@lru_cache(maxsize=512)
def _latin_points(seed: int, name: str, chunk: int, size: int) -> FloatArray:
    """One margin of a Latin hypercube, shape ``(size,)``; kept, since many stages ask again."""
    generator = _generator(seed, name, chunk)
    points = np.asarray((generator.permutation(size) + generator.random(size)) / size)
    points.flags.writeable = False
    return points


def _generator(seed: int, name: str, chunk: int) -> np.random.Generator:
    sequence = np.random.SeedSequence(seed, spawn_key=(chunk, crc32(name.encode())))
    return np.random.default_rng(sequence)


@lru_cache(maxsize=4)
def _sobol_points(seed: int, dimensions: int, chunk: int) -> FloatArray:
    """One chunk of a scrambled Sobol sequence, shape ``(CHUNK, dimensions)``."""
    from scipy.stats.qmc import Sobol

    engine = Sobol(dimensions, scramble=True, rng=np.random.default_rng(seed))
    if chunk:
        engine.fast_forward(chunk * CHUNK)
    points = np.asarray(engine.random(CHUNK), dtype=np.float64, order="F")
    points.flags.writeable = False
    return points
