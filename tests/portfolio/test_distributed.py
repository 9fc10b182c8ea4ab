"""A real scheduler with two worker processes: one killed in mid-run, and an address that is wrong.

The command line runs in a process of its own, as people run it.
"""

from __future__ import annotations

import json
import os
import signal
import socket
import subprocess
import sys
import time
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
ENVIRONMENT = {
    **os.environ,
    "PYTHONPATH": str(ROOT),
    "OMP_NUM_THREADS": "1",
    "OPENBLAS_NUM_THREADS": "1",
    "DASK_DISTRIBUTED__COMM__TIMEOUTS__CONNECT": "5s",
}
LONGEST_S = 120


def reclaim(arguments):
    return [sys.executable, "-m", "reclaim", *map(str, arguments)]


def started(*arguments):
    return subprocess.Popen(
        arguments, env=ENVIRONMENT, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    )


def free_port():
    with socket.socket() as found:
        found.bind(("127.0.0.1", 0))
        return found.getsockname()[1]


def answers(port):
    with socket.socket() as probe:
        return probe.connect_ex(("127.0.0.1", port)) == 0


@pytest.fixture(scope="module")
def scheduler():
    """Return the address of a scheduler that two workers have joined, and the workers."""
    port = free_port()
    address = f"tcp://127.0.0.1:{port}"
    processes = [
        started(
            sys.executable, "-m", "distributed.cli.dask_scheduler", "--host", "127.0.0.1",
            "--port", str(port), "--no-dashboard", "--dashboard-address", "127.0.0.1:0",
        )
    ]  # fmt: skip
    try:
        ends = time.monotonic() + LONGEST_S
        while not answers(port):
            assert time.monotonic() < ends, "the scheduler did not start"
            time.sleep(0.1)
        workers = [
            started(
                sys.executable, "-m", "distributed.cli.dask_worker", address, "--nthreads", "1",
                "--no-nanny", "--no-dashboard", "--dashboard-address", "127.0.0.1:0",
                "--host", "127.0.0.1",
            )
            for _ in range(2)
        ]  # fmt: skip
        processes += workers
        wait = (
            "import sys; from dask.distributed import Client; "
            "Client(sys.argv[1]).wait_for_workers(2, timeout=60)"
        )
        subprocess.run([sys.executable, "-c", wait, address], check=True, env=ENVIRONMENT)
        yield address, workers
    finally:
        for process in reversed(processes):
            process.kill()
            process.wait()


def stored(out):
    documents = (json.loads(path.read_text()) for path in (out / "sites").glob("*/*.json"))
    return {document["site_id"]: document for document in documents}


@pytest.fixture(scope="module")
def county(tmp_path_factory, make_county):
    """Return a county of 24 sites, and what one process makes of it."""
    folder = tmp_path_factory.mktemp("distributed")
    place, alone = make_county(folder / "county", 24), folder / "alone"
    single = reclaim(place.arguments("--out", alone, "--workers", 1, "--quiet"))
    subprocess.run(single, check=True, env=ENVIRONMENT, timeout=LONGEST_S)
    return place, alone


def test_a_worker_killed_in_mid_run_loses_nothing(county, tmp_path, scheduler) -> None:
    """Two workers, and one of them after the other was killed, give what one process gives."""
    place, alone = county
    address, workers = scheduler
    out = tmp_path / "cluster"
    run = started(*reclaim(place.arguments("--out", out, "--scheduler", address, "--quiet")))
    ends = time.monotonic() + LONGEST_S
    while len(list((out / "sites").glob("*/*.json"))) < 4:
        assert time.monotonic() < ends, "no site was done"
        assert run.poll() is None, "the run ended too soon to kill a worker"
        time.sleep(0.02)
    os.kill(workers[0].pid, signal.SIGKILL)
    assert len(stored(out)) < 24
    assert run.wait(LONGEST_S) == 0
    assert workers[1].poll() is None
    assert stored(out) == stored(alone)
    for name in ("ranking.csv", "problems.csv"):
        assert (out / name).read_bytes() == (alone / name).read_bytes()


def test_local_workers_agree_with_one_process(county, tmp_path) -> None:
    """Started from a script without a guard, which the workers must not run again."""
    place, alone = county
    out, script = tmp_path / "local", tmp_path / "script.py"
    script.write_text("from reclaim.cli import main\n\nmain()\n")
    arguments = [sys.executable, script, *place.arguments("--out", out, "--workers", 2, "--quiet")]
    subprocess.run(arguments, check=True, env=ENVIRONMENT, timeout=LONGEST_S)
    assert stored(out) == stored(alone)


ADDRESSES = ["closed port", pytest.param("nonsense://x", marks=pytest.mark.slow)]


@pytest.mark.parametrize("address", ADDRESSES)
def test_a_wrong_address_is_told_soon(place, tmp_path, address) -> None:
    address = f"tcp://127.0.0.1:{free_port()}" if address == "closed port" else address
    began = time.monotonic()
    shown = subprocess.run(
        reclaim([*place.arguments("--out", tmp_path / "o"), "--scheduler", address]),
        env=ENVIRONMENT,
        capture_output=True,
        text=True,
        timeout=LONGEST_S,
        check=False,
    )
    assert shown.returncode == 2, shown.stderr
    assert address in shown.stderr
    assert "scheduler" in shown.stderr
    assert "Traceback" not in shown.stderr
    assert time.monotonic() - began < 60


def test_a_stopped_run_goes_on(place_of, tmp_path) -> None:
    """Ctrl-C in mid-run keeps what is done; the next run does the rest and agrees."""
    place = place_of(8)
    out = tmp_path / "o"
    command = reclaim(place.arguments("--out", out, "--workers", 1))
    run = started(*command)
    ends = time.monotonic() + LONGEST_S
    while len(list((out / "sites").glob("*/*.json"))) < 2:
        assert time.monotonic() < ends
        time.sleep(0.02)
    run.send_signal(signal.SIGINT)
    assert run.wait(LONGEST_S) == 130
    done = stored(out)
    assert 2 <= len(done) < 8
    shown = subprocess.run(
        [*command, "--json"], env=ENVIRONMENT, capture_output=True, check=True, timeout=LONGEST_S
    )
    sites = json.loads(shown.stdout)["sites"]
    assert sites["kept_from_before"] == len(done)
    assert sites["screened_now"] == 8 - len(done)
    after = stored(out)
    assert {site_id: after[site_id] for site_id in done} == done
