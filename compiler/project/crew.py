"""Many jobs on all cores: those of which nothing has changed are recalled, others done here or by other processes."""

from __future__ import annotations

import gc
import os
import time
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from typing import TYPE_CHECKING, Final, NamedTuple

from plica.diagnostics import Diagnostics
from plica.project.outcome import Outcome
from plica.project.recall import Done, Job, KeptOutcomes, done
from plica.syntax.sharing import Shared, sharing

if TYPE_CHECKING:
    from plica.worker_processes import Workers

PATIENCE: Final = 1.0
"""Seconds that the rest of the work is estimated to take, from which on other processes are started."""
MANY: Final = 48
"""Jobs from which on others are started without an estimate."""
_SWEEP: Final = 64
"""Jobs after which a process looks for garbage; while a job is done it does not, which would take a tenth of it."""


class JobResult(NamedTuple):
    """The outcome of a job, the seconds that it took, and whether it is that of an earlier run."""

    job: Job
    outcome: Outcome
    seconds: float
    recalled: bool


def results(
    jobs: Sequence[Job], recall: KeptOutcomes, count: int, progress: Callable[[str], None] = lambda step: None
) -> list[JobResult]:
    """The results of all jobs, in their order. count: processes that may work at once; 1 for this one alone.

    A KeyboardInterrupt ends the others and goes on; what was done until then is kept.
    """
    told: dict[Job, JobResult] = {}
    waiting: list[Job] = []
    for job in dict.fromkeys(jobs):
        known = recall.outcome(job)
        if known is None:
            waiting.append(job)
        else:
            told[job] = JobResult(job, known, 0.0, True)
    for number, (job, one) in enumerate(_all_done(waiting, count), 1):
        recall.keep(job, one)
        told[job] = JobResult(job, one.outcome, one.seconds, False)
        progress(f"{number} of {len(waiting)}")
    if recall.store is not None:
        recall.store.trim()
    return [told[job] for job in jobs]


def _all_done(waiting: Sequence[Job], count: int) -> Iterator[tuple[Job, Done]]:
    """The largest specs first, so that no process is left with one at the end while the others have nothing to do."""
    sizes = {job: _size(job.spec) for job in waiting}
    queue = deque(sorted(waiting, key=lambda job: (-sizes[job], job.shown)))
    left, worked, seconds = sum(sizes.values()), 0, 0.0
    workers: Workers[Job, tuple[Job, Done]] | None = None
    own = done_quickly()
    try:
        while queue or (workers is not None and workers.under_way):
            long = len(queue) >= MANY or (worked and len(queue) > 1 and seconds / worked * left > PATIENCE)
            if workers is None and count > 1 and long:
                from plica.worker_processes import Workers  # which takes longer to load than a few specs to check

                workers = Workers(done_quickly, min(count, len(queue)))
            if workers is not None and workers.ready:
                yield from _by_others(workers, queue)
            elif queue:
                job = queue.popleft()
                begun = time.monotonic()
                yield own(job)
                seconds += time.monotonic() - begun
                worked, left = worked + sizes[job], left - sizes[job]
    finally:
        if workers is not None:
            workers.close()


def _by_others(workers: Workers[Job, tuple[Job, Done]], queue: deque[Job]) -> Iterator[tuple[Job, Done]]:
    """Hands out jobs and waits for the next thing to happen."""
    while queue and workers.idle:
        workers.give(queue.popleft())
    if not workers.under_way:
        return
    answer, lost = workers.answer()
    if answer is not None:
        yield answer
    for job in lost:
        yield job, Done(_lost(job), 0.0, None)


def _lost(job: Job) -> Outcome:
    """The outcome of a job whose process went away: it could take the next one with it."""
    diagnostics = Diagnostics()
    diagnostics.add("character-not-finished", None, file=job.shown)
    return Outcome(diagnostics.all, unfinished="its process went away")


def done_quickly() -> Callable[[Job], tuple[Job, Done]]:
    """Does jobs one after the other; libraries are parsed once, and garbage is looked for only now and then."""
    number = 0
    shared: Shared = {}

    def answer(job: Job) -> tuple[Job, Done]:
        nonlocal number
        number += 1
        collects = gc.isenabled()
        gc.disable()
        try:
            with sharing(shared):
                return job, done(job)
        finally:
            if collects:
                gc.enable()
            if number == 1:
                gc.freeze()  # what the modules hold stays, and need not be looked through
            elif number % _SWEEP == 0:
                gc.collect()

    return answer


def _size(spec: str) -> int:
    try:
        return max(1, os.stat(spec).st_size)  # noqa: PTH116 - paths as texts, many of them
    except (OSError, ValueError):
        return 1
