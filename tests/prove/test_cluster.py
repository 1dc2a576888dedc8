"""Units of work on a real cluster of processes on this machine, one of which is killed midway.

Skipped, saying so, where dask.distributed (the extra `cluster`) is not installed.
"""

from __future__ import annotations

import asyncio
import json
import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from functools import partial
from pathlib import Path
from typing import Any

import pytest

from plica.prove.execution import cluster
from plica.prove.execution import work as units
from plica.prove.execution.cluster import ClusterExecutor
from plica.prove.execution.executor import LostWorkersError
from plica.prove.execution.work import WorkAnswer
from plica.prove.proof import ProofSubject
from plica.prove.prover import Prover
from plica.prove.results import Result
from tests.support.swinging import swinging

distributed = pytest.importorskip("distributed", reason="dask.distributed, the extra `cluster`, is not installed")
WORKERS = 3


@pytest.fixture(scope="module")
def running() -> Iterator[Any]:
    """A scheduler and worker processes, which a nanny each starts anew."""
    with distributed.LocalCluster(
        n_workers=WORKERS, threads_per_worker=1, processes=True, dashboard_address=":0", silence_logs=50
    ) as made:
        yield made


@pytest.fixture(scope="module")
def subject() -> ProofSubject:
    return swinging(500)


@pytest.fixture(scope="module")
def expected(subject: ProofSubject) -> list[Result]:
    """What this process alone measures."""
    return sorted(Prover(subject).results(), key=lambda one: one.index)


def processes_of(address: str) -> set[int]:
    with distributed.Client(address, set_as_default=False) as client:
        return set(client.run(os.getpid).values())


def test_a_killed_worker_changes_no_bit(running: Any, subject: ProofSubject, expected: list[Result]) -> None:
    address = running.scheduler_address
    before = processes_of(address)
    assert len(before) == WORKERS

    class Killing(ClusterExecutor):
        answers = 0

        def answer(self) -> WorkAnswer:
            self.answers += 1
            if self.answers == 3:
                # The one that holds the material and has answered: work and what it prepared are lost with it
                (holders,) = self._client.who_has(self._measurer).values()
                processes = self._client.run(os.getpid)
                os.kill(processes[holders[0]], signal.SIGKILL)
            return super().answer()

    made: list[Killing] = []

    def hire(material: units.Material) -> Killing:
        made.append(Killing(material, address))
        return made[-1]

    result = sorted(Prover(subject, hire=hire).results(), key=lambda one: one.index)
    assert result == expected
    assert made[0].answers > 6
    assert processes_of(address) != before


def test_nobody_at_the_address(subject: ProofSubject, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(cluster, "CONNECTING", 0.5)
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        address = f"tcp://127.0.0.1:{taken.getsockname()[1]}"
        with pytest.raises(LostWorkersError, match="no scheduler answers at"):
            list(Prover(subject, hire=partial(ClusterExecutor, address=address)).results())


def test_an_event_loop_that_runs_already_is_in_nobodys_way(
    subject: ProofSubject, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As in a notebook. In a thread of its own, because another test may have left one in this."""
    monkeypatch.setattr(cluster, "CONNECTING", 0.5)

    async def notebook() -> None:
        with pytest.raises(LostWorkersError, match="no scheduler answers at"):
            list(Prover(subject, hire=partial(ClusterExecutor, address="tcp://127.0.0.1:9")).results())

    with ThreadPoolExecutor(1) as thread:
        thread.submit(asyncio.run, notebook()).result()


@pytest.mark.parametrize("address", ["nonsense://here", "tcp://", "127.0.0.1:notaport"])
def test_what_is_no_address(subject: ProofSubject, address: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(cluster, "CONNECTING", 0.5)
    with pytest.raises(LostWorkersError, match="no scheduler answers at"):
        list(Prover(subject, hire=partial(ClusterExecutor, address=address)).results())


def test_a_scheduler_without_workers(subject: ProofSubject) -> None:
    with distributed.LocalCluster(n_workers=0, dashboard_address=":0", silence_logs=50) as empty:
        hire = partial(ClusterExecutor, address=empty.scheduler_address, without_workers=0.1)
        with pytest.raises(LostWorkersError, match="no workers"):
            list(Prover(subject, hire=hire).results())


def test_workers_of_another_version(running: Any, subject: ProofSubject, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("plica.prove.execution.work.code_digest", lambda: "of another version")
    with pytest.raises(LostWorkersError, match="another version of Plica"):
        list(Prover(subject, hire=partial(ClusterExecutor, address=running.scheduler_address)).results())


def test_not_installed(subject: ProofSubject, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(LostWorkersError, match="the extra `cluster` is not installed"):
        list(Prover(subject, hire=partial(ClusterExecutor, address="tcp://127.0.0.1:8786")).results())


def after_two_answers(
    act: Callable[[ClusterExecutor], None], address: str
) -> Callable[[units.Material], ClusterExecutor]:
    """Crews that let something happen before their third answer, and from then on soon give up without workers."""

    class Acting(ClusterExecutor):
        answers = 0

        def answer(self) -> WorkAnswer:
            self.answers += 1
            if self.answers == 3:
                act(self)
                self._without_workers = 2.0
            return super().answer()

    return lambda material: Acting(material, address, without_workers=300.0)


def test_a_scheduler_that_goes_away_midway(subject: ProofSubject) -> None:
    with distributed.LocalCluster(n_workers=1, threads_per_worker=1, dashboard_address=":0", silence_logs=50) as made:
        hire = after_two_answers(lambda crew: made.close(), made.scheduler_address)
        with pytest.raises(LostWorkersError, match=r"the scheduler at .* (went away|is gone)"):
            list(Prover(subject, hire=hire).results())


def test_work_that_ends_every_worker(subject: ProofSubject) -> None:
    """A scheduler that allows no failures gives work up the first time that a worker ends over it."""
    dask = pytest.importorskip("dask", reason="dask is not installed")
    with (
        dask.config.set({"distributed.scheduler.allowed-failures": 0}),
        distributed.LocalCluster(
            n_workers=1, threads_per_worker=1, processes=True, dashboard_address=":0", silence_logs=50
        ) as made,
    ):

        def kill(crew: ClusterExecutor) -> None:
            (process,) = processes_of(made.scheduler_address)
            os.kill(process, signal.SIGKILL)

        with pytest.raises(LostWorkersError, match="one worker after the other ended over the same work"):
            list(Prover(subject, hire=after_two_answers(kill, made.scheduler_address)).results())


@pytest.fixture
def apart(tmp_path: Path) -> Iterator[tuple[str, subprocess.Popen[bytes]]]:
    """A scheduler and a worker, each a process of its own: the address, and the scheduler's process."""
    file = tmp_path / "scheduler.json"
    quiet: dict[str, Any] = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
    module = [sys.executable, "-m", "distributed.cli.dask_scheduler"]
    options = ["--port", "0", "--host", "127.0.0.1", "--no-dashboard", "--no-show", "--scheduler-file", str(file)]
    scheduler = subprocess.Popen([*module, *options], **quiet)
    worker = None
    try:
        while not (file.exists() and file.read_text("utf-8").endswith("}")):
            assert scheduler.poll() is None, "the scheduler did not start"
            time.sleep(0.1)
        address = json.loads(file.read_text("utf-8"))["address"]
        module = [sys.executable, "-m", "distributed.cli.dask_worker", address]
        options = ["--nthreads", "1", "--no-nanny", "--no-dashboard", "--local-directory", str(tmp_path)]
        worker = subprocess.Popen([*module, *options], **quiet)
        yield address, scheduler
    finally:
        for process in (worker, scheduler):
            if process is not None:
                process.kill()  # ends stopped processes too
                process.wait()


@pytest.mark.skipif(not hasattr(signal, "SIGSTOP"), reason="this system cannot stop a process and leave it there")
def test_a_scheduler_that_is_stopped_midway(subject: ProofSubject, apart: tuple[str, subprocess.Popen[bytes]]) -> None:
    """It keeps its connections and never answers: the work ends with what it is, and the process is free."""
    address, scheduler = apart
    hire = after_two_answers(lambda crew: os.kill(scheduler.pid, signal.SIGSTOP), address)
    with pytest.raises(LostWorkersError, match="does not answer"):
        list(Prover(subject, hire=hire).results())


@pytest.mark.skipif(not hasattr(signal, "SIGSTOP"), reason="this system cannot stop a process and leave it there")
def test_a_scheduler_that_was_stopped_before(
    subject: ProofSubject, apart: tuple[str, subprocess.Popen[bytes]], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(cluster, "CONNECTING", 1.0)
    address, scheduler = apart
    os.kill(scheduler.pid, signal.SIGSTOP)
    with pytest.raises(LostWorkersError, match="no scheduler answers at"):
        list(Prover(subject, hire=partial(ClusterExecutor, address=address)).results())
