"""Kills builds with SIGKILL at random moments and looks at what readers make of the folder.

    python tests/fuzz/kill_builds.py [--kills 100] [--seed 1]

Two states of a small character are built into one folder, each build in a process of its own that is killed: a third of
them at any moment, a third while they write, a third as soon as the first new file is seen in its place. After each
kill the readers of the outputs look at the folder (the module's self-test, `plica diff`'s reader of built JSON, `plica
build --current`), and now and then a build is let through. Prints what was found and exits with 1 where a reader took
files of two builds for one set, or where something was left over after a build that was not killed.
"""

from __future__ import annotations

import argparse
import os
import random
import signal
import sys
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from time import monotonic, sleep

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from plica.commands.main import run
from plica.emit.lock import NAME as LOCK
from plica.emit.output_set import OutputSet
from tests.support.cloth import SPEC
from tests.support.output_sets import (
    NEW_SPEC,
    TARGETS,
    built,
    everything_in,
    leftovers,
    mixed,
    mixed_sets_accepted,
)

LONGEST_SECONDS = 120.0
WRITING_SECONDS = 0.03  # about how long a build of this character goes on after it took the lock


@dataclass
class Figures:
    """What was met."""

    kills: int = 0
    too_late: int = 0
    mixed_on_disk: int = 0
    parts_after_kills: int = 0
    mixed_sets_accepted: int = 0
    leftovers_after_builds: int = 0
    builds_not_whole: int = 0

    @property
    def is_good(self) -> bool:
        """Whether nothing happened that must not."""
        return not (self.mixed_sets_accepted or self.leftovers_after_builds or self.builds_not_whole)


@dataclass(frozen=True)
class State:
    """A spec, and what it is built to."""

    spec: Path
    made: OutputSet


def arguments_of(state: State, out: Path) -> list[str]:
    """The command that builds a state."""
    given = ["build", str(state.spec), "--out", str(out)]
    for target in TARGETS:
        given += ["--target", target]
    template = state.spec.parent / "spans.txt.jinja"
    options = ["masks.size=64", "masks.channels=1", f"template.template={template}", "template.output=more/spans.txt"]
    for option in options:
        given += ["--option", option]
    return given


def start(state: State, out: Path) -> int:
    """A process that builds, as `plica build` does."""
    process = os.fork()
    if process == 0:
        silent = os.open(os.devnull, os.O_WRONLY)
        os.dup2(silent, 1)
        os.dup2(silent, 2)
        os._exit(run(arguments_of(state, out)))
    return process


def ended(process: int) -> int | None:
    """The exit status of a process, None while it runs."""
    number, status = os.waitpid(process, os.WNOHANG)
    return os.waitstatus_to_exitcode(status) if number else None


def wait_for(process: int, moment: Callable[[], bool], pause: float = 0.0002) -> int | None:
    """Waits for a moment, looking again after each pause (seconds); the exit status where the process ended before."""
    end = monotonic() + LONGEST_SECONDS
    while not moment():
        status = ended(process)
        if status is not None:
            return status
        if monotonic() > end:
            raise TimeoutError("a build did not end")
        sleep(pause)
    return None


def kill(state: State, out: Path, chance: random.Random, seconds: float, way: int) -> bool:
    """Starts a build and kills it, in one of three ways; False where it had ended before."""
    first = out / min(state.made.files)
    begun, before = monotonic(), first.stat().st_ino
    process = start(state, out)
    if way == 0:
        status, after = None, begun + chance.uniform(0.0, seconds)
    elif way == 1:
        status = wait_for(process, (out / LOCK).exists)
        after = monotonic() + chance.uniform(0.0, WRITING_SECONDS)
    else:
        status = wait_for(process, lambda: first.stat().st_ino != before, 0.0)
        after = monotonic()
    if status is None:
        status = wait_for(process, lambda: monotonic() >= after)
    if status is not None:
        return False
    os.kill(process, signal.SIGKILL)
    return os.waitstatus_to_exitcode(os.waitpid(process, 0)[1]) == -signal.SIGKILL


def let_through(state: State, out: Path) -> float:
    """Builds to the end; how long that took (seconds)."""
    begun = monotonic()
    status = wait_for(start(state, out), lambda: False)
    if status != 0:
        raise RuntimeError(f"a build that was not killed exited with {status}")
    return monotonic() - begun


def attack(folder: Path, kills: int, chance: random.Random) -> Figures:
    """All kills."""
    states = [
        State(folder / name / "cloth.plica", built(folder / name, text))
        for name, text in (("a", SPEC), ("b", NEW_SPEC))
    ]
    sets = [state.made for state in states]
    out, figures = folder / "out", Figures()
    seconds = max(let_through(state, out) for state in states)
    while figures.kills < kills:
        now = (out / "cloth.rig.json").read_bytes()
        other = next(state for state in states if state.made.files["cloth.rig.json"] != now)
        state = other if chance.random() < 0.8 else chance.choice(states)
        if not kill(state, out, chance, seconds, figures.kills % 3):
            figures.too_late += 1
            continue
        figures.kills += 1
        here = [path for path in everything_in(out) if path in states[0].made.files]
        figures.mixed_on_disk += mixed(out, here, sets)
        figures.parts_after_kills += any(path.endswith(".part") for path in leftovers(out))
        figures.mixed_sets_accepted += len(mixed_sets_accepted(out, sets))
        if chance.random() < 0.5 or figures.kills == kills:
            last = chance.choice(states)
            let_through(last, out)
            figures.leftovers_after_builds += len(leftovers(out))
            figures.builds_not_whole += mixed(out, last.made.files, [last.made])
    return figures


def main() -> int:
    """The command."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--kills", type=int, default=100)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        figures = attack(Path(name), options.kills, random.Random(options.seed))
    for field, value in vars(figures).items():
        sys.stdout.write(f"{field.replace('_', ' ')}: {value}\n")
    return 0 if figures.is_good else 1


if __name__ == "__main__":
    sys.exit(main())
