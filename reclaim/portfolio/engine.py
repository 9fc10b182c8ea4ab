"""Runs a function over many sites: in this process, on local workers, or on a running cluster.

The cluster, its queue and what happens when a worker dies are Dask's. Few sites run here, since
starting workers would take longer. Sites are handed out a few ahead of each worker, so that memory
does not grow with their number.
"""

from __future__ import annotations

import logging
import os
import sys
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, TypeVar

from reclaim.portfolio.regional import portfolio_default
from reclaim.site import Check, SiteError

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator

    from dask.distributed import Client

Job = TypeVar("Job")
Result = TypeVar("Result")

# One thread of linear algebra for each worker: the workers share the cores.
_ONE_THREAD = dict.fromkeys(
    ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "GDAL_NUM_THREADS"), "1"
)

_LOADED_BEFORE = ("distributed.worker", "reclaim.portfolio.loaded")


@dataclass(frozen=True, slots=True)
class Engine:
    """Where sites are worked out.

    Attributes
    ----------
    workers
        Local processes; 1 works in this process. Processes and not threads: most of a site's time
        is spent in Python itself, which runs one thread at a time.
    scheduler
        Address of a running Dask scheduler, such as ``tcp://host:8786``; None works here.
    """

    workers: int
    scheduler: str | None = None

    def run(
        self,
        function: Callable[[Job], Result],
        jobs: Iterable[Job],
        number: int,
        lost: Callable[[Job, str], Result],
    ) -> Iterator[Result]:
        """Yield the results as they come, in no order.

        Parameters
        ----------
        function
            Raises nothing.
        jobs, number
            What to work on, and how many there are.
        lost
            Makes a result of a job whose workers died each time, from the words why.

        Raises
        ------
        SiteError
            Where the scheduler does not answer, has no workers, or they cannot run this program.
        """
        few = number < portfolio_default("cluster_sites") or self.workers == 1
        if self.scheduler is None and few:
            yield from map(function, jobs)
            return
        with self._client() as client:
            yield from _as_they_come(client, function, jobs, lost)

    @contextmanager
    def _client(self) -> Iterator[Client]:
        need_dask()
        from dask import config
        from dask.distributed import Client, LocalCluster

        quiet = {
            "distributed.nanny.pre-spawn-environ": _ONE_THREAD,
            "logging.distributed": "error",
            # Its call trees grow by a tenth of a megabyte for each site.
            "distributed.worker.profile.enabled": False,
        }
        with config.set(quiet):
            if self.scheduler is not None:
                with _connected(self.scheduler) as client:
                    yield client
                return
            with (
                _environment(_ONE_THREAD),
                _main_module_hidden(),
                config.set({"distributed.worker.multiprocessing-method": _way_to_start()}),
                LocalCluster(  # type: ignore[no-untyped-call]
                    n_workers=self.workers,
                    threads_per_worker=1,
                    processes=True,
                    dashboard_address="127.0.0.1:0",
                    silence_logs=logging.ERROR,
                ) as cluster,
                Client(cluster) as client,  # type: ignore[no-untyped-call]
            ):
                yield client


def _way_to_start() -> str:
    """Return how workers are started: where the system can, as copies of one that is loaded.

    Loading this program and its libraries takes as long as some ten sites, and is then done once
    for all workers, while the scheduler starts.
    """
    import multiprocessing
    from multiprocessing import forkserver

    if "forkserver" not in multiprocessing.get_all_start_methods():
        return "spawn"
    multiprocessing.set_forkserver_preload(list(_LOADED_BEFORE))
    forkserver.ensure_running()
    return "forkserver"


def need_dask() -> None:
    """Check that the optional packages are there.

    Raises
    ------
    SiteError
        Where they are not; the message says how to get them.
    """
    try:
        import dask.distributed  # noqa: F401
        import pyarrow as pa  # noqa: F401
    except ImportError as error:
        raise SiteError(
            [
                Check(
                    "error",
                    "reclaim portfolio",
                    f"An optional package is not installed ({error.name}).",
                    "Install what a portfolio needs with: pip install 'reclaim[portfolio]'.",
                )
            ]
        ) from None


def usual_workers() -> int:
    """Return the number of cores that this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return max(1, len(os.sched_getaffinity(0)))
    return os.cpu_count() or 1


@contextmanager
def _environment(names: dict[str, str]) -> Iterator[None]:
    """Set environment variables for the processes started meanwhile."""
    before = {name: os.environ.get(name) for name in names}
    os.environ.update(names)
    try:
        yield
    finally:
        for name, value in before.items():
            if value is None:
                os.environ.pop(name, None)
            else:
                os.environ[name] = value


@contextmanager
def _main_module_hidden() -> Iterator[None]:
    """Keep new processes from running the script that called us, which need not be guarded."""
    main = sys.modules["__main__"]
    before: dict[str, Any] = {
        name: vars(main)[name] for name in ("__spec__", "__file__") if name in vars(main)
    }
    main.__spec__ = None
    vars(main).pop("__file__", None)
    try:
        yield
    finally:
        vars(main).update(before)


@contextmanager
def _connected(address: str) -> Iterator[Client]:
    """Connect to a running scheduler, and check that its workers can run this program."""
    from dask.distributed import Client

    import reclaim

    try:
        wait_s = portfolio_default("scheduler_wait_s")
        client = Client(address, timeout=wait_s)  # type: ignore[no-untyped-call]
    except (OSError, ValueError, TypeError) as error:
        raise _scheduler_error(
            address,
            "No scheduler answers at this address.",
            "Check the address and that the scheduler runs; it looks like tcp://host:8786.",
        ) from error
    try:
        with client:
            try:
                client.wait_for_workers(1, timeout=portfolio_default("workers_wait_s"))
            except TimeoutError as error:
                raise _scheduler_error(
                    address,
                    "The scheduler has no workers.",
                    "Start some with: dask worker ADDRESS.",
                ) from error
            versions = set(client.run(_version, on_error="return").values())
            if versions != {reclaim.__version__}:
                told = ", ".join(sorted({str(version) for version in versions}))
                raise _scheduler_error(
                    address,
                    f"Its workers do not run this version of reclaim ({reclaim.__version__}): "
                    f"{told}.",
                    "Install the same version where the workers run, and start them again.",
                )
            yield client
    finally:
        client.close()  # type: ignore[no-untyped-call]


def _version() -> str:
    import reclaim

    return reclaim.__version__


def _scheduler_error(address: str, what: str, what_to_do: str) -> SiteError:
    return SiteError([Check("error", f"--scheduler {address}", what, what_to_do)])


def _as_they_come(
    client: Client,
    function: Callable[[Job], Result],
    jobs: Iterable[Job],
    lost: Callable[[Job, str], Result],
) -> Iterator[Result]:
    """Hand out jobs, a few ahead of each worker, and yield results as they come."""
    from itertools import islice

    from dask.distributed import as_completed

    waiting = iter(jobs)
    threads = sum(client.nthreads().values())  # type: ignore[no-untyped-call]
    ahead = max(1, threads) * int(portfolio_default("sites_ahead"))
    begun: dict[Any, Job] = {}

    def submitted(job: Job) -> Any:
        future = client.submit(function, job, pure=False)
        begun[future.key] = job
        return future

    first = [submitted(job) for job in islice(waiting, ahead)]
    coming = as_completed(first)  # type: ignore[no-untyped-call]
    for future in coming:
        job = begun.pop(future.key)
        if future.status == "finished":
            yield future.result()
        else:
            error = future.exception() if future.status == "error" else None
            yield lost(job, str(error) if error else "The task was cancelled.")
        for following in islice(waiting, 1):
            coming.add(submitted(following))  # type: ignore[no-untyped-call]
