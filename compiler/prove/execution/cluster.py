"""Units of work on the machines of a cluster, through dask.distributed, which the extra `cluster` brings.

The scheduler does again what was under way on a worker that went away. A worker takes the material once; however many
threads it has, it does one unit at a time, since measures share what they prepare.

What goes to and fro is pickled Python: a scheduler or a worker can run anything as the user who measures, and whoever
reaches the scheduler can run anything on its workers. So only a scheduler that is trusted with everything may be named.
"""

from __future__ import annotations

import asyncio
import logging
import threading
import time
import warnings
from concurrent.futures import CancelledError, ThreadPoolExecutor
from contextlib import suppress
from typing import TYPE_CHECKING, Final
from uuid import uuid4

from plica.prove.execution.executor import LostWorkersError
from plica.prove.execution.work import Material, Measurer, OtherCodeError, WorkAnswer, WorkUnit

if TYPE_CHECKING:
    from distributed import Client, Future

CONNECTING: Final = 10.0
"""Seconds in which a scheduler must answer."""
WITHOUT_WORKERS: Final = 30.0
"""Seconds that a scheduler may be without workers, or say nothing."""
_LOOK: Final = 2.0
"""Seconds after which a wait is broken off for a look at the scheduler, and in which that one must answer."""

_one_at_a_time: Final = threading.Lock()


class ClusterExecutor:
    """The workers of a scheduler."""

    def __init__(self, material: Material, address: str, without_workers: float = WITHOUT_WORKERS) -> None:
        """address: such as `tcp://10.0.0.5:8786`. Raises LostWorkersError."""
        self._address, self._without_workers = address, without_workers
        self._client = _connected(address)
        self._name = f"plica-{uuid4().hex}"
        self._futures: dict[str, Future] = {}
        self._seen, self._threads = time.monotonic(), 1
        with warnings.catch_warnings():
            # The material goes along as part of the work, so that it outlives every single worker.
            warnings.filterwarnings("ignore", message="Sending large graph")
            self._measurer = self._client.submit(Measurer, material, key=f"{self._name}-material", pure=False)
        self._look()

    @property
    def has_room(self) -> bool:
        return len(self._futures) < 2 * self._threads

    def add(self, unit: WorkUnit) -> None:
        key = f"{self._name}-{unit.number}"
        self._futures[key] = self._client.submit(_answer, self._measurer, unit, key=key, pure=False)

    def foresee(self, frames: int) -> None:
        """Nothing hangs on it here."""

    def answer(self) -> WorkAnswer:
        from distributed import wait
        from distributed.scheduler import KilledWorker

        try:
            while True:
                with self._client.as_current():
                    try:
                        ready = wait(list(self._futures.values()), timeout=_LOOK, return_when="FIRST_COMPLETED").done
                    except TimeoutError:
                        self._look()
                        continue
                future = next(iter(ready))
                result = self._result(future)
                if result is not None:
                    del self._futures[future.key]
                    return result
        except OtherCodeError as error:
            raise LostWorkersError(
                "a worker has another version of Plica, Python, NumPy or SciPy, or another kind of processor"
            ) from error
        except ImportError as error:
            raise LostWorkersError(f"a worker lacks what it needs: {error}") from error
        except KilledWorker as error:
            why = "one worker after the other ended over the same work, maybe for lack of memory"
            raise LostWorkersError(why) from error
        except (CancelledError, OSError) as error:
            raise LostWorkersError(f"the scheduler at {self._address} went away") from error

    def close(self) -> None:
        for future in (*self._futures.values(), self._measurer):
            future.release()
        self._futures.clear()
        with suppress(TimeoutError):  # nobody takes the farewell of a scheduler that was stopped
            self._client.close(timeout=_LOOK)

    def _result(self, future: Future) -> WorkAnswer | None:
        """What a unit gave; None where it does not arrive, although it was done, and is to be asked for once more."""
        try:
            result = future.result(timeout=_LOOK)
        except TimeoutError:
            if future.status == "error":
                raise
            self._look()
            return None
        assert isinstance(result, WorkAnswer)
        return result

    def _look(self) -> None:
        """Counts the workers. Raises LostWorkersError where there have been none for too long."""
        try:
            threads = self._threads_of_workers() if self._client.status == "running" else {}
        except (OSError, TimeoutError):
            threads = {}
        now = time.monotonic()
        if threads:
            self._seen, self._threads = now, sum(threads.values())
        elif now - self._seen > self._without_workers:
            why = "is gone, does not answer, or has no workers any more"
            raise LostWorkersError(f"the scheduler at {self._address} {why}")

    def _threads_of_workers(self) -> dict[str, int]:
        """The threads of each worker by its address. Raises TimeoutError: a scheduler that was stopped, or a machine
        that hangs, takes calls as before and never answers, and the library's own call waits for ever."""
        client = self._client
        return dict(client.sync(client.scheduler.ncores, workers=None, callback_timeout=_LOOK))


def _connected(address: str) -> Client:
    try:
        from distributed import Client
    except ImportError as error:
        raise LostWorkersError("the extra `cluster` is not installed: pip install 'plica[cluster]'") from error
    # What goes wrong is told by us, once.
    logging.getLogger("distributed").setLevel(logging.CRITICAL)
    try:
        # A client that does not come up takes long to go again, so first somebody has to be there. Asked in a thread of
        # its own, because in a notebook this one has an event loop that runs already.
        with ThreadPoolExecutor(1) as thread:
            thread.submit(asyncio.run, _call(address)).result()
        return Client(address, timeout=CONNECTING, set_as_default=False)
    except (OSError, TimeoutError, ValueError) as error:
        raise LostWorkersError(f"no scheduler answers at {address}") from error


async def _call(address: str) -> None:
    from distributed.comm import connect

    # The library's limit is for the connection, which the system makes even where the scheduler was stopped.
    async with asyncio.timeout(CONNECTING):
        (await connect(address, timeout=CONNECTING)).abort()


def _answer(measurer: Measurer, unit: WorkUnit) -> WorkAnswer:
    """What a worker of the cluster does."""
    with _one_at_a_time:
        return measurer.answer(unit)
