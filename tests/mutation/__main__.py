"""`python -m tests.mutation --sample 300 --seed 1`: how many faults do the tests notice?

First a run of the tests says which of them execute which line (kept in the folder `--lines` names, for the next run);
then each sampled mutant faces the tests of its line and of its module, in processes of their own. At the end the tests
that noticed something run without a fault: all have to pass. Exits with 1 where that is not so, or where more than 5 %
of the mutants survive that `equivalent.toml` does not list. With `--outcomes FILE` a run that was stopped goes on where
it stopped, and one after new tests tries only what had survived.
"""

from __future__ import annotations

import argparse
import atexit
import hashlib
import json
import os
import re
import signal
import subprocess
import sys
import tempfile
import threading
import time
import tomllib
from collections import Counter
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from functools import partial
from pathlib import Path
from typing import NamedTuple

from tests.mutation import executed
from tests.mutation.choice import Executed, batches
from tests.mutation.mutants import Mutant, mutants_of
from tests.mutation.trial import OTHER_VERSION, Fault, Trials

ROOT = Path(__file__).parents[2]
# The modules that decide what a spec means and whether it holds, and the tests that are about them.
MODULES = (
    "compiler/spec",
    "compiler/kinds",
    "compiler/rig",
    "compiler/evaluate",
    "compiler/diff",
    "compiler/prove",
    "compiler/curves.py",
)
NOT_THEIRS = ("compiler/prove/execution",)  # processes and clusters decide nothing
TESTS = (
    "tests/spec",
    "tests/skeleton",
    "tests/kinds",
    "tests/rig",
    "tests/evaluate",
    "tests/diff",
    "tests/commands/test_diff.py",
    "tests/prove",
    "tests/diagnostics",
    "tests/outside",
    "tests/targets",
)
MOST_SURVIVORS = 0.05
MOST_SECONDS = 12.0  # of the processor, of the tests of one mutant in the run without a fault
# What pytest returns where all tests passed, and where it did not find what it was to run.
PASSED, UNLOADABLE = 0, (4, 5)
FAULTLESS = Fault("", None)


class Noticed(NamedTuple):
    """What an earlier run found of a mutant: `noticed` or `endless`, and the tests that noticed it."""

    fate: str
    by: tuple[str, ...]


class Outcome(NamedTuple):
    """What became of a mutant: `noticed` (by which tests), `endless`, or `survived`."""

    mutant: Mutant
    fate: str
    by: tuple[str, ...] = ()


def main() -> int:
    """Samples, runs and reports."""
    options = _options()
    lines = _recorded(Path(options.lines or tempfile.mkdtemp(prefix="plica-lines-")), options.workers)
    mutants = _mutants()
    chosen = _sample(mutants, options.sample, options.seed)
    print(f"{len(mutants)} mutants, {len(chosen)} sampled that are not listed as equivalent", flush=True)
    if options.only:
        chosen = [mutant for mutant in chosen if re.search(options.only, mutant.key)]
    noticed = _noticed_before(options.outcomes)
    with ThreadPoolExecutor(options.workers) as pool:
        outcomes = list(pool.map(partial(_outcome, lines, noticed, options.outcomes), chosen))
    counts = Counter(outcome.fate for outcome in outcomes)
    survivors = counts["survived"]
    share = survivors / max(1, len(outcomes))
    print(f"{dict(counts)}: {survivors} of {len(outcomes)} survive, {100.0 * share:.1f} %")
    noticing = sorted({test for outcome in outcomes for test in outcome.by})
    sound = not noticing or _trials().run(FAULTLESS, noticing, sum(lines.seconds.values())).status == PASSED
    if not sound:
        print("of the tests that noticed a fault some fail without one: the figure is worth nothing")
    if _mutants() != mutants:
        sound = False
        print("the modules changed during the run: the figure is worth nothing")
    return 0 if sound and share <= MOST_SURVIVORS else 1


def _options() -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python -m tests.mutation")
    parser.add_argument("--sample", type=int, default=300, help="how many mutants (default: 300)")
    parser.add_argument("--seed", type=int, default=1, help="which sample (default: 1)")
    parser.add_argument("--workers", type=int, default=2, help="mutants at a time (default: 2)")
    parser.add_argument("--lines", metavar="DIR", help="where it is kept which tests execute which lines")
    parser.add_argument(
        "--outcomes", metavar="FILE", help="each outcome is added to it; noticed ones are not tried again"
    )
    parser.add_argument("--only", metavar="EXPRESSION", help="of the sample, those whose key matches")
    return parser.parse_args()


def _modules() -> list[Path]:
    result: list[Path] = []
    for name in MODULES:
        path = ROOT / name
        result += [path] if path.suffix == ".py" else sorted(path.rglob("*.py"))
    return [path for path in result if not path.relative_to(ROOT).as_posix().startswith(NOT_THEIRS)]


def _mutants() -> list[Mutant]:
    return [mutant for module in _modules() for mutant in mutants_of(module.relative_to(ROOT))]


def _sample(mutants: Sequence[Mutant], size: int, seed: int) -> list[Mutant]:
    """Chosen by what they are, not by where they stand: a change of one module leaves the others' part as it was."""
    equivalent = tomllib.loads((Path(__file__).parent / "equivalent.toml").read_text("utf-8"))
    for key in sorted(equivalent.keys() - {mutant.key for mutant in mutants}):
        print(f"listed as equivalent, and no such mutant: {key}")
    left = [mutant for mutant in mutants if mutant.key not in equivalent]
    return sorted(left, key=lambda mutant: hashlib.sha256(f"{seed}: {mutant.key}".encode()).digest())[:size]


def _recorded(folder: Path, workers: int) -> Executed:
    """Which tests execute which lines: from the folder, or else from a run of the tests."""
    if not list(folder.glob("executed-*.json")):
        folder.mkdir(parents=True, exist_ok=True)
        print("recording which tests execute which lines", flush=True)
        command = [sys.executable, "-m", "pytest", "-q", "-p", "tests.mutation.executed", "-n", str(workers), *TESTS]
        environment = {**os.environ, executed.FILE: str(folder), executed.MODULES: ":".join(MODULES)}
        started = time.monotonic()
        done = subprocess.run(command, cwd=ROOT, env=environment, capture_output=True, text=True, check=False)
        if done.returncode != PASSED:
            for file in folder.glob("executed-*.json"):
                file.unlink()
            raise SystemExit(f"the tests do not pass without a fault:\n{done.stdout[-4000:]}")
        print(f"{time.monotonic() - started:.0f} s", flush=True)
    return Executed(*executed.merged(folder))


def _noticed_before(file: str | None) -> dict[str, Noticed]:
    """By key, the outcomes of earlier runs that did not end with `survived`."""
    if file is None or not Path(file).exists():
        return {}
    rows = [json.loads(row) for row in Path(file).read_text("utf-8").splitlines()]
    return {key: Noticed(fate, tuple(by)) for key, fate, by in rows if fate != "survived"}


def _outcome(lines: Executed, noticed: dict[str, Noticed], file: str | None, mutant: Mutant) -> Outcome:
    if mutant.key in noticed:
        return Outcome(mutant, *noticed[mutant.key])
    outcome = _tried(lines, mutant)
    if outcome.fate != "noticed":
        print(f"{outcome.fate}: {mutant.line}: {mutant.key}", flush=True)
    if file is not None:
        with Path(file).open("a", encoding="utf-8") as opened:  # one write, so rows of two threads do not mix
            opened.write(json.dumps([mutant.key, outcome.fate, outcome.by]) + "\n")
    return outcome


def _tried(lines: Executed, mutant: Mutant) -> Outcome:
    fault = Fault(mutant.module.as_posix(), mutant.number)
    for batch in batches(mutant, lines, MOST_SECONDS):
        done = _trials().run(fault, *batch)
        if done.status in (-signal.SIGXCPU, -signal.SIGKILL):
            return Outcome(mutant, "endless")
        if done.status in UNLOADABLE and _trials().run(FAULTLESS, *batch).status in UNLOADABLE:
            raise SystemExit(f"the recorded tests are not there, record them anew:\n{done.output[-2000:]}")
        if done.status == OTHER_VERSION:
            raise SystemExit(f"{mutant.module} is installed in another version: install the package again")
        if done.status != PASSED:  # a crash, too, is seen by whoever runs the tests
            named = re.findall(r"^(?:FAILED|ERROR) (.+?)(?: - .*)?$", done.output, re.MULTILINE)
            return Outcome(mutant, "noticed", tuple(test for test in named if test in batch.tests))
    return Outcome(mutant, "survived")


_of_thread = threading.local()


def _trials() -> Trials:
    """Each thread has a process of its own to make trials with."""
    if not hasattr(_of_thread, "trials"):
        _of_thread.trials = Trials()
        atexit.register(_of_thread.trials.close)
    result: Trials = _of_thread.trials
    return result


if __name__ == "__main__":
    sys.exit(main())
