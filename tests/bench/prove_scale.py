"""How proving scales: wall time by the number of processes, memory by the number of frames, and the cache.

Run `python -m tests.bench.prove_scale [FRAMES...]` from the repository (default: 100 1000 4000). The character is the
two tubes of `tests.support.arms` with 20,604 triangles, over a clip of so many frames and every sweep, for all measures
of the skin on both sides and all of strengths. Prints seconds and MiB: the peak of all processes added up, looked up in
/proc four times a second (resident, so what processes share counts for each), and whether the figures are the same to
the last bit.
"""

from __future__ import annotations

import sys
import tempfile
import threading
import time
from functools import partial
from pathlib import Path

from plica.cores import own_cores
from plica.prove.cache.disk import DiskCache
from plica.prove.execution.executor import LocalExecutor
from plica.prove.prover import Prover
from plica.prove.results import Result
from tests.support import arms
from tests.support.swinging import swinging

RINGS, AROUND = 101, 51
# Longer clips are measured by two processes only, as one takes too long.
ALONE = 1000
EXPECTED = """
expect both { volume of forearm within 2 %   girth of forearm within 15 %   stretch of forearm at most 80 % }
expect both { volume of upperarm within 2 %   girth of upperarm within 15 %   stretch of upperarm at most 80 % }
expect both { squeeze of forearm at most 80 %   shear of forearm at most 80 deg   crossing of forearm none }
expect both { squeeze of upperarm at most 80 %   shear of upperarm at most 80 deg }
expect both { clearance of forearm from upperarm at least 1 mm   reach elbow   smooth elbow within 0.1 }
expect { rest   even   partition }
"""


class Peak:
    """The most memory that this process and its children held at once, while it is entered."""

    def __enter__(self) -> Peak:
        self.mebibytes, self._over = 0.0, threading.Event()
        self._thread = threading.Thread(target=self._watch)
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._over.set()
        self._thread.join()

    def _watch(self) -> None:
        while not self._over.wait(0.25):
            self.mebibytes = max(self.mebibytes, _held())


def _held() -> float:
    """Resident MiB of this process and those that it started."""
    own = Path("/proc/self").resolve()
    total = _status(own, "VmRSS")
    for process in Path("/proc").glob("[0-9]*"):
        if _status(process, "PPid") == int(own.name):
            total += _status(process, "VmRSS")
    return total / 1024


def _status(process: Path, name: str) -> int:
    try:
        for line in (process / "status").read_text("utf-8").splitlines():
            if line.startswith(f"{name}:"):
                return int(line.split()[1])
    except (FileNotFoundError, ProcessLookupError):
        pass
    return 0


def proven(frames: int, count: int, folder: Path | None) -> tuple[list[Result], str]:
    """All results, and what it took in words."""
    subject = swinging(frames, arms.ELBOW + arms.SHAPE + EXPECTED)
    assert subject.attached is not None
    with Peak() as peak:
        begun = time.perf_counter()
        hire = partial(LocalExecutor, count=count)
        prover = Prover(subject, hire=hire, store=None if folder is None else DiskCache(folder))
        result = sorted(prover.results(), key=lambda one: one.index)
        seconds = time.perf_counter() - begun
    assert all(one.status != "not measured" for one in result)
    recalled, measured = prover.tally
    triangles = len(subject.attached.mesh.triangles)
    return result, (
        f"{triangles} triangles, clip of {frames:5} frames, {max(one.frames for one in result)} poses, "
        f"{count} processes: "
        f"{seconds:6.1f} s, {peak.mebibytes:6.0f} MiB; {recalled} figures kept, {measured} measured"
    )


def main(frame_counts: list[int]) -> None:
    """Prints everything."""
    arms.RINGS, arms.AROUND = RINGS, AROUND
    print(f"{own_cores()} cores, {len(swinging(1, arms.ELBOW + arms.SHAPE + EXPECTED).rig.expectations)} expectations")
    for frames in frame_counts:
        with tempfile.TemporaryDirectory() as folder:
            first, told = proven(frames, 2, Path(folder))
            print(told, "(an empty cache)", flush=True)
            again, told = proven(frames, 2, Path(folder))
            print(told, "(a full one)", _compared(first, again), flush=True)
        if frames <= ALONE:
            both, told = proven(frames, 2, None)
            print(told, "(no cache)", _compared(first, both), flush=True)
            alone, told = proven(frames, 1, None)
            print(told, "(no cache)", _compared(first, alone), flush=True)


def _compared(one: list[Result], other: list[Result]) -> str:
    return "the same figures" if one == other else "OTHER FIGURES"


if __name__ == "__main__":
    main([int(number) for number in sys.argv[1:]] or [100, 1000, 4000])
