"""Sources of draws in which only some names are drawn, or some come from another source."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from fnmatch import fnmatchcase
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from reclaim.assumptions import CHUNK, Draws

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from reclaim.assumptions import Assumption

FloatArray = NDArray[np.float64]
Quantity = Callable[[Draws], NDArray[np.floating[Any]]]


@dataclass(frozen=True, slots=True)
class NamesAsked(Draws):
    """A source that notes which names a model draws.

    Attributes
    ----------
    points, streams
        Names that were asked for one probability per draw, and for a whole random stream, in the
        order in which they were first asked.
    """

    points: dict[str, None] = field(default_factory=dict)
    streams: dict[str, None] = field(default_factory=dict)

    def uniform(self, name: str) -> FloatArray:
        """Note the name and return its probabilities."""
        self.points[name] = None
        return Draws.uniform(self, name)

    def generator(self, name: str) -> np.random.Generator:
        """Note the name and return its stream."""
        self.streams[name] = None
        return Draws.generator(self, name)


@dataclass(frozen=True, slots=True, kw_only=True)
class MixedDraws(Draws):
    """Draws in which some names come from another source of as many draws.

    Attributes
    ----------
    other
        The other source.
    from_other
        Names that come from it.
    """

    other: Draws
    from_other: frozenset[str]

    def uniform(self, name: str) -> FloatArray:
        """Return the probabilities of a name from the source it belongs to."""
        return self.other.uniform(name) if name in self.from_other else Draws.uniform(self, name)

    def generator(self, name: str) -> np.random.Generator:
        """Return the stream of a name from the source it belongs to."""
        if name in self.from_other:
            return self.other.generator(name)
        return Draws.generator(self, name)


@dataclass(frozen=True, slots=True, kw_only=True)
class PartlyDrawn(Draws):
    """Draws in which only some names leave their central value.

    Attributes
    ----------
    drawn
        Probabilities by name, each ``(n_draws,)``.
    streams
        Names with a whole random stream that are drawn; all other names stay central.
    """

    drawn: Mapping[str, FloatArray]
    streams: frozenset[str] = frozenset()

    def is_central(self, name: str) -> bool:
        """Return whether a name, or every name of a pattern, is drawn nowhere."""
        return not any(fnmatchcase(known, name) for known in (*self.drawn, *self.streams))

    def uniform(self, name: str) -> FloatArray:
        """Return the probabilities of a name; NaN, which stands for the centre, for the others."""
        found = self.drawn.get(name)
        return np.full(self.n_draws, np.nan) if found is None else found

    def at(self, assumption: Assumption, probability: FloatArray) -> FloatArray:
        """Return the assumption's values, the central one where the probability is NaN."""
        return _at_or_central(assumption, probability)

    def normal(self, name: str) -> FloatArray:
        """Return standard normal deviates, 0 at the centre."""
        return _normal_or_central(self.uniform(name))

    def generator(self, name: str) -> np.random.Generator:
        """Return the stream of a name that is drawn.

        Raises
        ------
        ValueError
            For a name that stays central.
        """
        if name not in self.streams:
            raise ValueError(f"{name} stays at its centre and has no random part.")
        return Draws.generator(self, name)


@dataclass(frozen=True, slots=True, kw_only=True)
class StackedDraws(Draws):
    """Several sources one below the other, so that one run of the model serves them all.

    Attributes
    ----------
    sources
        In order; their draws add up to `n_draws`.
    """

    sources: tuple[Draws, ...]

    def parts(self) -> tuple[Draws, ...]:
        """Return the sources, for what has to be drawn for each by itself."""
        return self.sources

    def is_central(self, name: str) -> bool:
        """Return whether a name is central in every source."""
        return all(source.is_central(name) for source in self.sources)

    def uniform(self, name: str) -> FloatArray:
        """Return the probabilities of all sources, NaN at the centre."""
        found, begin = np.full(self.n_draws, np.nan), 0
        for source in self.sources:
            end = begin + source.n_draws
            if not isinstance(source, PartlyDrawn) or name in source.drawn:
                found[begin:end] = source.uniform(name)
            begin = end
        return found

    def at(self, assumption: Assumption, probability: FloatArray) -> FloatArray:
        """Return the assumption's values, the central one where the probability is NaN."""
        return _at_or_central(assumption, probability)

    def normal(self, name: str) -> FloatArray:
        """Return standard normal deviates, 0 at the centre."""
        return _normal_or_central(self.uniform(name))

    def generator(self, name: str) -> np.random.Generator:
        """Refuse: each source has a stream of its own.

        Raises
        ------
        ValueError
            Always; take `parts` one by one.
        """
        raise ValueError(f"{name} has one stream in each of the sources; take them one by one.")


def results_of(
    quantity: Quantity, sources: Sequence[Draws], at_once: int = CHUNK
) -> list[NDArray[np.floating[Any]]]:
    """Return a quantity for each source, with as few runs of the model as fit into `at_once`."""
    results: list[NDArray[np.floating[Any]]] = []
    batch: list[Draws] = []

    def run() -> None:
        if batch:
            n_draws = sum(source.n_draws for source in batch)
            fields = part_of(batch[0], n_draws=n_draws, sources=tuple(batch))
            found = quantity(batch[0] if len(batch) == 1 else StackedDraws(**fields))
            results.extend(np.split(found, np.cumsum([s.n_draws for s in batch])[:-1]))
            batch.clear()

    for source in sources:
        if sum(s.n_draws for s in batch) + source.n_draws > at_once:
            run()
        batch.append(source)
    run()
    return results


def _at_or_central(assumption: Assumption, probability: FloatArray) -> FloatArray:
    central = np.isnan(probability)
    values = assumption.quantile(np.where(central, 0.5, probability))
    return np.where(central, assumption.central, values)


def _normal_or_central(probability: FloatArray) -> FloatArray:
    from scipy.special import ndtri

    return np.asarray(ndtri(np.where(np.isnan(probability), 0.5, probability)))


def part_of(draws: Draws, **more: Any) -> dict[str, Any]:
    """Return the fields of a plain source, for one of the sources above."""
    plain = {name: getattr(draws, name) for name in ("n_draws", "seed", "sampling", "names",
                                                     "correlations", "first")}  # fmt: skip
    return {**plain, **more}
