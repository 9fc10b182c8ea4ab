"""Put together how sure the estimate is: spread, drivers, and what to find out next."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from reclaim.assumptions import CHUNK, Draws
from reclaim.uncertainty.convergence import Convergence, convergence
from reclaim.uncertainty.groups import driver_groups
from reclaim.uncertainty.indices import Index, sobol_indices
from reclaim.uncertainty.investigations import Investigation, Plan, ranked
from reclaim.uncertainty.ranks import normal_scores
from reclaim.uncertainty.sources import NamesAsked, Quantity, part_of
from reclaim.uncertainty.spread import CourseOdds, Spread, chance_best, spread_of
from reclaim.uncertainty.swings import Swing, fewer, group_swings, input_swings
from reclaim.uncertainty.worth_of_knowing import (
    Learning,
    Worth,
    best_course,
    perfect_information,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

FloatArray = NDArray[np.floating[Any]]
Courses = Mapping[str, FloatArray]

_SWING_DRAWS = 200
_LEARNING_DRAWS = 2 * CHUNK
_NOTHING = 1e-9


@dataclass(frozen=True, slots=True)
class GroupWorth:
    """Expected worth of knowing one group of inputs exactly.

    Attributes
    ----------
    key, label
        The group.
    worth
        [currency].
    """

    key: str
    label: str
    worth: Worth


@dataclass(frozen=True, slots=True)
class Drivers:
    """What drives the net present value of mining.

    Attributes
    ----------
    central
        Net present value with every input at its centre [currency].
    inputs
        Swing of each input, the widest first.
    groups
        Swing of each group, the widest first.
    indices
        Sobol indices of each group, the highest total first.
    """

    central: float
    inputs: tuple[Swing, ...]
    groups: tuple[Swing, ...]
    indices: tuple[Index, ...]


@dataclass(frozen=True, slots=True)
class Knowing:
    """What it would be worth to know more.

    Attributes
    ----------
    choice
        Course that is best on the mean of the draws.
    everything
        Worth of knowing all.
    groups
        Worth of knowing one group exactly, the highest first.
    investigations
        The investigations asked for, the highest net worth first.
    """

    choice: str
    everything: Worth
    groups: tuple[GroupWorth, ...]
    investigations: tuple[Investigation, ...]

    @property
    def can_change(self) -> bool:
        """True where another course is best in at least one draw."""
        return self.everything.changes_choice > 0


@dataclass(frozen=True, slots=True)
class ScenarioResult:
    """Headlines of one named set of changes.

    Attributes
    ----------
    name
        As in the site file; the first is the site file without changes.
    npv
        Best estimate of mining [currency].
    spread
        Of its draws.
    fuel_t, reclaimed_m3
        Best estimate of fuel [t] and of space won [m3].
    best_course
        On the mean of the draws.
    """

    name: str
    npv: float
    spread: Spread
    fuel_t: float
    reclaimed_m3: float
    best_course: str


@dataclass(frozen=True, slots=True)
class Confidence:
    """How sure the estimate is.

    Attributes
    ----------
    source
        Source of the draws: every input can be drawn again from it.
    spread, convergence
        Of the net present value of mining.
    courses
        Odds of each course of action.
    drivers, knowing
        None where the site file asks for neither.
    scenarios
        Empty where the site file names none.
    """

    source: Draws
    spread: Spread
    convergence: Convergence
    courses: tuple[CourseOdds, ...]
    drivers: Drivers | None
    knowing: Knowing | None
    scenarios: tuple[ScenarioResult, ...]


def odds_of(courses: Courses) -> tuple[CourseOdds, ...]:
    """Return the odds of each course of action."""
    chances = chance_best(_table(courses))
    return tuple(
        CourseOdds(name, spread_of(npv), float(chance))
        for (name, npv), chance in zip(courses.items(), chances, strict=True)
    )


def best_on_mean(courses: Courses) -> str:
    """Return the course with the highest mean."""
    return list(courses)[best_course(_table(courses))]


def names_asked(model: Callable[[Draws], object], draws: Draws) -> NamesAsked:
    """Run a model on two draws and return the source, which has noted every name drawn."""
    source = NamesAsked(**part_of(draws, n_draws=2, sampling="latin"))
    model(source)
    return source


def drivers_of(
    quantity: Quantity,
    asked: NamesAsked,
    draws: Draws,
    result: FloatArray,
    central: float,
    *,
    index_draws: int,
    labels: Mapping[str, str],
) -> Drivers:
    """Return what drives a result, the net present value of mining.

    Parameters
    ----------
    quantity
        The result, shape ``(n_draws,)``, from a source of draws.
    asked
        Names that `quantity` draws.
    draws, result
        The source of the run, and its result.
    central
        The result with every input at its centre.
    index_draws
        Draws of each of the two sources of the Sobol indices.
    labels
        Words for inputs that have some.
    """
    groups = driver_groups([*asked.points, *asked.streams], draws.correlations)
    streams = frozenset(asked.streams)
    sample = fewer(draws, CHUNK)
    inputs = input_swings(quantity, list(asked.points), sample, result[: sample.n_draws], labels)
    spreads = group_swings(quantity, groups, streams, fewer(draws, _SWING_DRAWS))
    indices = sobol_indices(quantity, groups, fewer(draws, index_draws))
    still = _NOTHING * max(float(np.ptp(result)), 1.0)
    return Drivers(
        central,
        tuple(swing for swing in inputs if swing.width > still),
        tuple(sorted((swing for swing in spreads if swing.width > still), key=lambda s: -s.width)),
        tuple(sorted((item for item in indices if item.total > 0), key=lambda item: -item.total)),
    )


def knowing_of(
    courses: Courses,
    drawn: Mapping[str, FloatArray],
    asked: NamesAsked,
    draws: Draws,
    plans: tuple[Plan, ...],
) -> Knowing:
    """Return what it would be worth to know more before choosing.

    Parameters
    ----------
    courses
        Net present value of every course, by draw.
    drawn
        Quantities that stand for streams which have no single probability per draw, such as
        ``drawn share wood`` for the cores, by draw.
    asked
        Names the model draws.
    draws
        The source of the run.
    plans
        Investigations to compare.
    """
    table = _table(courses)
    sample = fewer(draws, min(_LEARNING_DRAWS, table.shape[0]))
    scores: dict[str, FloatArray] = {name: sample.normal(name) for name in asked.points}
    for name, values in drawn.items():
        some = values[: sample.n_draws]
        if np.ptp(some) > 0:
            scores[name] = normal_scores(some)
    learning = Learning(table[: sample.n_draws], scores)
    groups = driver_groups(scores, draws.correlations)
    worths = [GroupWorth(g.key, g.label, learning.perfect(tuple(g.names))) for g in groups]
    return Knowing(
        best_on_mean(courses),
        perfect_information(table),
        tuple(sorted(worths, key=lambda item: -item.worth.value)),
        ranked(plans, learning),
    )


def confidence_of(
    source: Draws,
    npv: FloatArray,
    courses: Courses,
    asked_precision: float | None,
    drivers: Drivers | None,
    knowing: Knowing | None,
    scenarios: Sequence[ScenarioResult],
) -> Confidence:
    """Return how sure the estimate is, from the draws of mining and of every course."""
    return Confidence(
        source,
        spread_of(npv),
        convergence(npv, asked_precision),
        odds_of(courses),
        drivers,
        knowing,
        tuple(scenarios),
    )


def _table(courses: Courses) -> FloatArray:
    return np.stack(list(courses.values()), axis=1)
