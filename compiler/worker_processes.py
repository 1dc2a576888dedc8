"""Processes of this machine that do units of work, each at the end of a pipe.

They are started anew and not forked, so that threads of this process do no harm and every system does the same. A
worker ends when the pipe does, so none outlives this process, however it ends.
"""

from __future__ import annotations

import multiprocessing
import pickle
import signal
import threading
import traceback
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from multiprocessing import resource_tracker
from multiprocessing.connection import Connection, wait
from multiprocessing.context import SpawnProcess
from typing import Final, Generic, TypeVar, cast

Unit = TypeVar("Unit")
Answer = TypeVar("Answer")
_ENDING: Final = (signal.SIGINT, signal.SIGTERM)


class WorkerError(RuntimeError):
    """A mistake of Plica's own, in a worker; the text is its traceback there."""


class NotServingError(Exception):
    """Raised in a worker that does not join in, such as one of another version of Plica."""


class Workers(Generic[Unit, Answer]):
    """Some processes and what each is doing."""

    def __init__(self, prepare: Callable[[], Callable[[Unit], Answer]], count: int) -> None:
        """prepare: what each worker calls once for the function that answers units; it and units can be pickled."""
        self._packed = pickle.dumps(prepare, pickle.HIGHEST_PROTOCOL)
        self._processes: dict[Connection, SpawnProcess] = {}
        self._ready: set[Connection] = set()
        self._doing: dict[Connection, Unit] = {}
        try:
            with _undisturbed():
                self._start(count)
        except BaseException:
            self.close()
            raise

    def _start(self, count: int) -> None:
        context = multiprocessing.get_context("spawn")
        for number in range(count):
            near, far = context.Pipe()
            process = context.Process(target=_serve, args=(far,), name=f"plica {number + 1}", daemon=True)
            process.start()
            far.close()
            self._processes[near] = process

    @property
    def under_way(self) -> int:
        """How many units are being done."""
        return len(self._doing)

    @property
    def ready(self) -> bool:
        """Whether any worker is up; greets those that have come up meanwhile."""
        for connection in wait(list(self._waking()), timeout=0):
            self._greet(cast(Connection, connection))
        return bool(self._ready)

    @property
    def idle(self) -> bool:
        """Whether a worker has nothing to do."""
        return self.ready and len(self._doing) < len(self._ready)

    def give(self, unit: Unit) -> None:
        """Hands a unit to an idle worker."""
        connection = next(one for one in self._processes if one in self._ready and one not in self._doing)
        self._doing[connection] = unit
        with suppress(OSError):  # a worker that is gone is noticed where its answer is waited for
            connection.send(unit)

    def answer(self) -> tuple[Answer | None, list[Unit]]:
        """Waits for an answer, or for something else to happen; units of workers that went away are given back.

        Raises WorkerError.
        """
        returned: list[Unit] = []
        for connection in wait([*self._doing, *self._waking()]):
            connection = cast(Connection, connection)
            if connection not in self._ready:
                self._greet(connection)
                continue
            try:
                answer, mistake = pickle.loads(connection.recv_bytes())
            except (EOFError, OSError):
                returned.append(self._doing[connection])
                self._drop(connection)
                continue
            del self._doing[connection]
            if mistake:
                raise WorkerError(mistake)
            return cast(Answer, answer), returned
        return None, returned

    @property
    def alive(self) -> bool:
        """Whether any worker is there that did not go away, as far as is known."""
        return bool(self._processes)

    def kill(self) -> None:
        """Ends all workers, from any thread: whoever waits for an answer then gets the units back."""
        for process in list(self._processes.values()):
            process.kill()

    def close(self) -> None:
        """Ends all workers, whatever they are doing."""
        for connection in list(self._processes):
            self._processes[connection].kill()  # a request to end waits until a worker is up
            self._drop(connection)

    def _waking(self) -> Iterator[Connection]:
        return (connection for connection in self._processes if connection not in self._ready)

    def _greet(self, connection: Connection) -> None:
        try:
            connection.recv()
            connection.send_bytes(self._packed)
        except (EOFError, OSError):
            self._drop(connection)
        else:
            self._ready.add(connection)

    def _drop(self, connection: Connection) -> None:
        process = self._processes.pop(connection)
        self._ready.discard(connection)
        self._doing.pop(connection, None)
        connection.close()
        process.join()


@contextmanager
def _undisturbed() -> Iterator[None]:
    """Processes that are started meanwhile never hear of Ctrl-C, which terminals send to all of a group: whoever
    started them ends them. What asks this process to stop meanwhile is heard afterwards, when they are whole."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    # It is started with the first process otherwise, and then lets signals through again.
    resource_tracker.ensure_running()
    came: list[int] = []
    heeded = [number for number in _ENDING if signal.getsignal(number) is not signal.SIG_IGN]
    before = {number: signal.signal(number, lambda result, frame: came.append(result)) for number in heeded}
    try:
        with _blocked():
            yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
    for wish in came:
        signal.raise_signal(wish)


@contextmanager
def _blocked() -> Iterator[None]:
    """Processes that are started meanwhile have these signals blocked. Handlers run all the same: a signal that comes
    to a process goes to any of its threads."""
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, _ENDING)
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _serve(connection: Connection) -> None:
    """What a worker does: says that it is up, takes what prepares it, and answers units until the pipe ends."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    if hasattr(signal, "pthread_sigmask"):
        signal.pthread_sigmask(signal.SIG_UNBLOCK, {signal.SIGTERM})
    # Another version, installed while this one ran, does not join in.
    with suppress(EOFError, OSError, NotServingError):
        connection.send("up")
        answer = pickle.loads(connection.recv_bytes())()
        while True:
            unit = connection.recv()
            try:
                packed = pickle.dumps((answer(unit), ""), pickle.HIGHEST_PROTOCOL)
            except Exception:
                packed = pickle.dumps((None, traceback.format_exc()), pickle.HIGHEST_PROTOCOL)
            connection.send_bytes(packed)
