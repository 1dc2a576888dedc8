"""The process that runs one target: `python -m tests.fuzz.worker`, started by `campaign.py`.

Inputs come from files, from chance (the same ones for the same seed and number, so that a run can go on after an input
that ended the process), or, where atheris is there, from what earlier inputs reached in Plica's code.
"""

from __future__ import annotations

import argparse
import contextlib
import importlib
import io
import itertools
import os
import sys
import time
from collections.abc import Callable
from pathlib import Path
from random import Random

from tests.fuzz.findings import keep
from tests.fuzz.judge import Judge
from tests.fuzz.state import State
from tests.fuzz.target import Target

GRAMMAR_BYTES = 1024  # of chance from which a grammar writes one input
WATCHED_SLACK = 6.0  # how much slower code is that atheris watches
_STRIDE = 1_000_003  # a prime, so that the inputs of neighbouring seeds differ
LOWERED = "PLICA_LIMITS"


def main() -> int:
    """Run the target that the command line names."""
    options = _parser().parse_args()
    watching = _watch_imports() if options.guided else contextlib.ExitStack()
    os.environ.setdefault(LOWERED, lowered_limits())
    target = importlib.import_module(options.registry).TARGETS[options.target]
    with watching:
        target.prepare()
        work = _Work(target, options)
        if options.guided:
            _guided(work, options)
        else:
            for number, path in enumerate(options.file[options.skip :], start=options.skip):
                work.judge(path.read_bytes(), str(number))
            if options.inputs is not None or not options.file:
                _by_chance(work, options, max(0, options.skip - len(options.file)))
    return 0


def lowered_limits() -> str:
    """Plica's limits a good deal lower, as `PLICA_LIMITS` states them: what they bound is then met by small inputs."""
    from plica import limits

    pairs = []
    for name, value in limits.Limits()._asdict().items():
        if name.endswith("memory_bytes"):  # of a whole process: its code takes a good part of it
            lower = value // 8
        elif name.endswith("bytes"):
            lower = max(value // 64, 1 << 20) if value > 1 << 20 else value // 16
        else:
            lower = value // 100 if value > 10_000 else value
        pairs.append(f"{limits.shown(name)}={min(value, lower)}")
    return " ".join(pairs)


class _Work:
    """Judges inputs, tells the supervisor which one is at hand, and keeps what fails."""

    def __init__(self, target: Target, options: argparse.Namespace) -> None:
        self.target = target
        self.face = options.face
        self._folder: Path = options.folder
        self._state = State(self._folder / "state")
        self._judge = Judge(target, WATCHED_SLACK if options.guided else 1.0)
        self._written = _written_by(target, self.judge) if options.face != "bytes" and target.grammar else None
        self._ends = time.monotonic() + options.seconds
        self._supervisor = os.getppid()

    @property
    def over(self) -> bool:
        """Whether the time is up."""
        return time.monotonic() > self._ends

    def write(self, chance: bytes) -> None:
        """An input that the grammar writes from chance."""
        assert self._written is not None
        self._written(chance)

    def is_written(self, number: int) -> bool:
        """Whether the input of this number is one of the grammar's."""
        return self._written is not None and (self.face == "grammar" or number % 2 == 1)

    def judge(self, data: bytes, of_file: str = "") -> None:
        """One input; findings about files are kept apart, by the file's number."""
        if os.getppid() != self._supervisor:
            os._exit(1)  # nobody watches any more
        data = data[: self.target.longest] if not of_file else data
        self._state.begin(data)
        verdict = self._judge(data)
        self._state.end()
        if verdict is not None:
            keep(self._folder / "findings" / of_file, data, verdict)


def _written_by(target: Target, judge: Callable[[bytes], None]) -> Callable[[bytes], object]:
    """Takes chance as bytes and judges what the target's grammar writes from it."""
    from hypothesis import HealthCheck, Phase, given, settings

    assert target.grammar is not None

    @settings(database=None, deadline=None, phases=[Phase.generate], suppress_health_check=list(HealthCheck))
    @given(target.grammar())
    def written(data: bytes) -> None:
        judge(data)

    take: Callable[[bytes], object] = written.hypothesis.fuzz_one_input  # type: ignore[attr-defined]
    return take


def _by_chance(work: _Work, options: argparse.Namespace, skip: int) -> None:
    seeds = work.target.seeds() or [b""]
    first = [] if work.face == "grammar" else seeds
    for number in itertools.count(skip) if options.inputs is None else range(skip, options.inputs):
        random = Random(options.seed * _STRIDE + number)
        if work.over:
            return
        if number < len(first):
            work.judge(first[number])
        elif work.is_written(number):
            work.write(random.randbytes(GRAMMAR_BYTES))
        else:
            work.judge(_mutated(work.target, random, seeds))


def _mutated(target: Target, random: Random, seeds: list[bytes]) -> bytes:
    data = random.choice(seeds)
    for _ in range(random.choice((1, 1, 2, 5))):
        data = target.mutate(random, data)
    return data


# ---- guided by what inputs reach ------------------------------------------------------------------------


def _watch_imports() -> contextlib.ExitStack:
    """From now on atheris sees which branches an input takes in those modules of Plica that are imported."""
    import atheris

    for name in [name for name in sys.modules if name == "plica" or name.startswith("plica.")]:
        del sys.modules[name]
    watching = contextlib.ExitStack()
    watching.enter_context(contextlib.redirect_stderr(io.StringIO()))  # it names every module
    watching.enter_context(atheris.instrument_imports(include=["plica"]))
    return watching


def _guided(work: _Work, options: argparse.Namespace) -> None:
    """Ends the process: libFuzzer does not return."""
    import atheris

    take = work.write if work.face == "grammar" else work.judge

    def one(data: bytes) -> None:
        take(data)
        if work.over:
            os._exit(0)

    def changed(data: bytes, most: int, seed: int) -> bytes:
        random = Random(seed)
        if work.face == "grammar" or random.random() < 0.3:
            return bytes(atheris.Mutate(data, most))
        return work.target.mutate(random, bytes(data))[:most]

    corpus = options.folder / "corpus"
    if not corpus.is_dir():
        corpus.mkdir()
        seeds = work.target.seeds() if work.face == "bytes" else [Random(n).randbytes(GRAMMAR_BYTES) for n in range(8)]
        for number, data in enumerate(seeds):
            (corpus / f"seed-{number}").write_bytes(data)
    longest = work.target.longest if work.face == "bytes" else 4 * GRAMMAR_BYTES
    flags = [f"-max_len={longest}", f"-seed={options.seed + options.skip + 1}", "-verbosity=0"]
    # Time, memory and signals are watched by `judge.py` and by the supervisor.
    flags += ["-timeout=86400", "-rss_limit_mb=0", *(f"-handle_{name}=0" for name in ("segv", "bus", "abrt", "fpe"))]
    os.dup2(os.open(os.devnull, os.O_WRONLY), 2)  # libFuzzer writes a line for every new branch
    atheris.Setup([sys.argv[0], *flags, str(corpus)], one, custom_mutator=changed)
    atheris.Fuzz()


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="python -m tests.fuzz.worker")
    parser.add_argument("target")
    parser.add_argument("folder", type=Path)
    parser.add_argument("--face", choices=("bytes", "grammar", "both"), default="bytes")
    parser.add_argument("--registry", default="tests.fuzz.targets")
    parser.add_argument("--guided", action="store_true")
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--skip", type=int, default=0)
    parser.add_argument("--inputs", type=int)
    parser.add_argument("--seconds", type=float, default=float("inf"))
    parser.add_argument("--file", type=Path, action="append", default=[])
    return parser


if __name__ == "__main__":
    sys.exit(main())
