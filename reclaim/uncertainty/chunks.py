"""Run a model chunk by chunk, on one or several workers, and gather what comes out."""

from __future__ import annotations

from collections import deque
from concurrent.futures import Future, ThreadPoolExecutor
from itertools import islice
from typing import TYPE_CHECKING, Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from reclaim.assumptions.records import Gathered

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

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
    precision, so that memory stays small.

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
    gathered: Gathered[Outcome] = Gathered(draws.n_draws, single=True)
    for part in _outcomes(model, draws, workers):
        gathered.add(part)
        if done:
            done(gathered.count)
        if enough and enough(gathered.record()):
            break
    return gathered.record()


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
