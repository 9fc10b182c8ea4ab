"""Run a model chunk by chunk, on one or several workers, and gather what comes out."""

from __future__ import annotations

from collections import deque
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import fields, is_dataclass, replace
from itertools import islice
from typing import TYPE_CHECKING, Any, Generic, TypeVar

import numpy as np
from numpy.typing import NDArray

from reclaim.appraisal import CashItem

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from reclaim.assumptions import Draws

FloatArray = NDArray[np.floating[Any]]
Outcome = TypeVar("Outcome")


def run_in_chunks(
    model: Callable[[Draws], Outcome],
    draws: Draws,
    *,
    workers: int = 1,
    enough: Callable[[Outcome], bool] | None = None,
    done: Callable[[int], None] | None = None,
) -> Outcome:
    """Run a model over all draws.

    Parameters
    ----------
    model
        From a source of draws to a dataclass of arrays with a leading axis of draws.
    draws
        The whole source; the model sees one chunk at a time.
    workers
        Threads; the result does not depend on their number.
    enough
        Asked after each chunk, with the outcome of all draws so far; True ends the run.
    done
        Told the number of draws done after each chunk.

    Returns
    -------
    The outcome of all draws. Of several chunks, arrays of more than one axis are kept in single
    precision and a cash flow by its groups, so that memory stays small.

    Notes
    -----
    Chunks are taken in order whatever worker made them, so `enough` ends the run at the same
    chunk on any number of workers. An interrupt drops what was not begun.
    """
    if next(draws.chunks()).n_draws == draws.n_draws:
        outcome = model(draws)
        if done:
            done(draws.n_draws)
        return outcome
    gathered: _Gathered[Outcome] = _Gathered(draws.n_draws, single=True)
    for part in _outcomes(model, draws, workers):
        gathered.add(_with_groups(part))
        if done:
            done(gathered.count)
        if enough and enough(gathered.outcome()):
            break
    return gathered.outcome()


def joined(parts: Sequence[Outcome]) -> Outcome:
    """Join outcomes field by field, arrays end to end, in full precision."""
    count = sum(next(leaf.shape[0] for leaf in _leaves(p) if _is_array(leaf)) for p in parts)
    gathered: _Gathered[Outcome] = _Gathered(count, single=False)
    for part in parts:
        gathered.add(part)
    return gathered.outcome()


def _outcomes(model: Callable[[Draws], Outcome], draws: Draws, workers: int) -> Iterator[Outcome]:
    """Yield the outcome of each chunk, in order, at most `workers` ahead."""
    if workers == 1:
        yield from map(model, draws.chunks())
        return
    pool = ThreadPoolExecutor(workers)
    try:
        waiting = draws.chunks()
        begun: deque[Future[Outcome]] = deque(
            pool.submit(model, chunk) for chunk in islice(waiting, workers)
        )
        while begun:
            part = begun.popleft().result()
            begun.extend(pool.submit(model, chunk) for chunk in islice(waiting, 1))
            yield part
    finally:
        pool.shutdown(wait=True, cancel_futures=True)


class _Gathered(Generic[Outcome]):
    """Outcomes put end to end as they come.

    Years that only some parts reach are 0 in the others. Of a single number for all draws, such
    as a closure error, the worst is kept.
    """

    def __init__(self, n_draws: int, *, single: bool) -> None:
        self.count = 0
        self._n_draws = n_draws
        self._single = single
        self._first: Outcome | None = None
        self._whole: list[Any] = []

    def add(self, part: Outcome) -> None:
        """Put a part at the end."""
        found = list(_leaves(part))
        if self._first is None:
            self._first = part
            self._whole = [self._room(leaf) if _is_array(leaf) else leaf for leaf in found]
        size = next(leaf.shape[0] for leaf in found if _is_array(leaf))
        for place, leaf in enumerate(found):
            if not _is_array(leaf):
                self._whole[place] = max(self._whole[place], leaf)
                continue
            whole = self._whole[place]
            if np.any(np.array(leaf.shape[1:]) > whole.shape[1:]):
                wider = self._room(leaf)
                wider[: self.count, *(slice(0, n) for n in whole.shape[1:])] = whole[: self.count]
                self._whole[place] = whole = wider
            whole[self.count : self.count + size, *(slice(0, n) for n in leaf.shape[1:])] = leaf
        self.count += size

    def outcome(self) -> Outcome:
        """Return what was gathered so far."""
        assert self._first is not None
        leaves = (leaf[: self.count] if _is_array(leaf) else leaf for leaf in self._whole)
        rebuilt: Outcome = _rebuilt(self._first, iter(leaves))
        return rebuilt

    def _room(self, leaf: NDArray[Any]) -> NDArray[Any]:
        smaller = self._single and leaf.ndim > 1 and leaf.dtype == np.float64
        return np.zeros((self._n_draws, *leaf.shape[1:]), np.float32 if smaller else leaf.dtype)


def _is_array(leaf: object) -> bool:
    return isinstance(leaf, np.ndarray)


def _leaves(value: Any) -> Iterator[Any]:
    """Yield arrays and single numbers of nested dataclasses, dicts and tuples, in a fixed order."""
    if is_dataclass(value):
        for item in fields(value):
            yield from _leaves(getattr(value, item.name))
    elif isinstance(value, dict):
        for part in value.values():
            yield from _leaves(part)
    elif isinstance(value, tuple):
        for part in value:
            yield from _leaves(part)
    elif isinstance(value, np.ndarray | float):
        yield value


def _rebuilt(value: Any, leaves: Iterator[Any]) -> Any:
    """Return the same structure with other arrays and numbers, in the order of `_leaves`."""
    if is_dataclass(value) and not isinstance(value, type):
        changed = {item.name: _rebuilt(getattr(value, item.name), leaves) for item in fields(value)}
        return replace(value, **changed)
    if isinstance(value, dict):
        return {key: _rebuilt(part, leaves) for key, part in value.items()}
    if isinstance(value, tuple):
        return tuple(_rebuilt(part, leaves) for part in value)
    return next(leaves) if isinstance(value, np.ndarray | float) else value


def _with_groups(value: Any) -> Any:
    """Return an outcome whose cash flows have one line for each group."""
    if isinstance(value, tuple) and value and isinstance(value[0], CashItem):
        flows: dict[str, FloatArray] = {}
        for item in value:
            known = flows.get(item.group)
            flows[item.group] = item.flow if known is None else known + item.flow
        return tuple(CashItem(group, group, group, flow) for group, flow in flows.items())
    if is_dataclass(value) and not isinstance(value, type):
        changed = {item.name: _with_groups(getattr(value, item.name)) for item in fields(value)}
        return replace(value, **changed)
    return tuple(map(_with_groups, value)) if isinstance(value, tuple) else value
