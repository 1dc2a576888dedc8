"""Who does units of work: this process, or others that it starts once the work turns out to be long."""

from __future__ import annotations

import time
from collections import deque
from collections.abc import Callable
from functools import partial
from typing import Final, Protocol

from plica.cores import own_cores
from plica.prove.execution.work import Material, Measurer, WorkAnswer, WorkUnit, prepared
from plica.worker_processes import Workers

PATIENCE: Final = 1.0
"""Seconds of work after which other processes are started: work that is shorter is done before they are up."""
LONG: Final = 8.0
"""Times the patience that the rest of the work has to take as well, by what was done: before two processes help, each
has loaded and prepared for one or two seconds what this one already has, on the same cores."""

MOST_WORKERS: Final = 6
"""Processes that are started unless more are asked for. Each holds the mesh and its own frames, about 200 MiB for
20,000 triangles; so all together stay below 1.5 GiB."""


class LostWorkersError(Exception):
    """Why those who do the work are not there: they could not be found, or went away. Never leaves this package and
    the command."""


class Executor(Protocol):
    """Takes units and gives answers, in any order."""

    @property
    def has_room(self) -> bool:
        """Whether another unit would be of use now."""

    def add(self, unit: WorkUnit) -> None:
        """Takes a unit on."""

    def foresee(self, frames: int) -> None:
        """Takes note of how many frames are still to be measured, of units that are given and others."""

    def answer(self) -> WorkAnswer:
        """The next answer; there must be a unit without one. Raises LostWorkersError."""

    def close(self) -> None:
        """Stops all work that is under way, and ends what was started for it."""


MakeExecutor = Callable[[Material], Executor]
"""Makes a crew for a material."""


def usual_workers() -> int:
    """As many as this process may use processor cores, but no more than `MOST_WORKERS`."""
    return min(own_cores(), MOST_WORKERS)


class LocalExecutor:
    """This process, and after a while `count` others beside it, which then do the work."""

    def __init__(self, material: Material, count: int = 1, patience: float = PATIENCE) -> None:
        """count: 1 for this process alone; patience: seconds of work after which the others are started."""
        self._material, self._count = material, count
        self._patience, self._worked = patience, 0.0
        self._measured = self._left = 0
        self._prepared = 0.0
        self._measurer: Measurer | None = None
        self._workers: Workers[WorkUnit, WorkAnswer] | None = None
        self._queue: deque[WorkUnit] = deque()

    @property
    def has_room(self) -> bool:
        under_way = self._workers.under_way if self._workers is not None else 0
        return len(self._queue) + under_way < 2 * self._count

    def add(self, unit: WorkUnit) -> None:
        self._queue.append(unit)
        self._hand_out()

    def foresee(self, frames: int) -> None:
        self._left = frames

    def answer(self) -> WorkAnswer:
        if self._workers is None and self._count > 1 and self._is_long:
            self._workers = Workers(partial(prepared, self._material), self._count)
        self._hand_out()
        if self._workers is None or not self._workers.ready:
            return self._own_answer()
        self._measurer = None
        while True:
            answer, returned = self._workers.answer()
            self._queue.extendleft(returned)
            if answer is not None:
                self._hand_out()
                return answer
            if not self._workers.ready:
                return self._own_answer()
            self._hand_out()

    def close(self) -> None:
        if self._workers is not None:
            self._workers.close()

    @property
    def _is_long(self) -> bool:
        rest = (self._worked - self._prepared) / self._measured * self._left if self._measured else 0.0
        return self._worked >= self._patience and rest >= LONG * self._patience

    def _hand_out(self) -> None:
        while self._workers is not None and self._queue and self._workers.idle:
            self._workers.give(self._queue.popleft())

    def _own_answer(self) -> WorkAnswer:
        begun = time.monotonic()
        if self._measurer is None:
            self._measurer = Measurer(self._material)
        unit = self._queue.popleft()
        answer = self._measurer.answer(unit)
        taken = time.monotonic() - begun
        if not self._worked:
            self._prepared = taken  # the first unit is mostly preparing, and tells nothing of how fast frames go
        else:
            self._measured += sum(motion.frames for motion in unit.stretches)
        self._worked += taken
        return answer
