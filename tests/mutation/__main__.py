"""`python -m tests.mutation --sample 300 --seed 1`: how many faults do the tests notice?

First a run of the tests says which of them execute which line (kept in the folder `--lines` names, for the next run);
then for each sampled mutant the tests of its line run in a process of their own. Exits with 1 where more than 5 % of
the mutants survive that `equivalent.toml` does not list.
"""

from __future__ import annotations

import argparse
import os
import random
import resource
import subprocess
import sys
import tempfile
import time
import tomllib
from collections import Counter
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import NamedTuple

from tests.mutation import executed
from tests.mutation.mutants import Mutant, mutants_of

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
TESTS = (
    "tests/spec",
    "tests/rig",
    "tests/evaluate",
    "tests/diff",
    "tests/prove",
    "tests/diagnostics",
    "tests/grammar",
    "tests/syntax",
    "tests/targets",
    "tests/outside",
    "tests/commands",
    "tests/editor",
)
MOST_SURVIVORS = 0.05
MOST_SECONDS = 120.0  # of the tests of one mutant, in the run without a fault
PATIENCE = 10.0  # times longer than without a fault, and a mutant counts as one that never ends


class Outcome(NamedTuple):
    """What became of a mutant: noticed, survived, endless, or executed by no test."""

    mutant: Mutant
    fate: str


def main() -> int:
    """Samples, runs and reports."""
    options = _options()
    folder = Path(options.lines) if options.lines else Path(tempfile.mkdtemp(prefix="plica-lines-"))
    if not list(folder.glob("executed-*.json")):
        folder.mkdir(parents=True, exist_ok=True)
        _record(folder, options.workers)
    lines, seconds = executed.merged(folder)
    equivalent = tomllib.loads((Path(__file__).parent / "equivalent.toml").read_text("utf-8"))
    mutants = [mutant for module in _modules() for mutant in mutants_of(module.relative_to(ROOT))]
    chosen = random.Random(options.seed).sample(mutants, min(options.sample, len(mutants)))
    chosen = [mutant for mutant in chosen if mutant.key not in equivalent]
    print(f"{len(mutants)} mutants, {len(chosen)} sampled that are not listed as equivalent", flush=True)

    def fate_of(mutant: Mutant) -> Outcome:
        tests = lines.get(mutant.module.as_posix(), {}).get(mutant.line, [])
        outcome = Outcome(mutant, _fate(mutant, tests, seconds))
        if outcome.fate != "noticed":
            print(f"{outcome.fate}: {mutant.module.as_posix()}:{mutant.line}: {mutant.change}", flush=True)
            print(f"    {mutant.text.strip()}", flush=True)
        return outcome

    with ThreadPoolExecutor(options.workers) as pool:
        outcomes = list(pool.map(fate_of, chosen))
    counts = Counter(outcome.fate for outcome in outcomes)
    survivors = counts["survived"] + counts["executed by no test"]
    share = survivors / max(1, len(outcomes))
    print(f"{dict(counts)}: {survivors} of {len(outcomes)} survive, {100.0 * share:.1f} %")
    return 1 if share > MOST_SURVIVORS else 0


def _options() -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python -m tests.mutation")
    parser.add_argument("--sample", type=int, default=300, help="how many mutants (default: 300)")
    parser.add_argument("--seed", type=int, default=1, help="which sample (default: 1)")
    parser.add_argument("--workers", type=int, default=2, help="mutants at a time (default: 2)")
    parser.add_argument("--lines", metavar="DIR", help="where it is kept which tests execute which lines")
    return parser.parse_args()


def _modules() -> list[Path]:
    result: list[Path] = []
    for name in MODULES:
        path = ROOT / name
        result += [path] if path.suffix == ".py" else sorted(path.rglob("*.py"))
    return result


def _record(folder: Path, workers: int) -> None:
    print("recording which tests execute which lines", flush=True)
    command = [sys.executable, "-m", "pytest", "-q", "-p", "tests.mutation.executed", "-n", str(workers), *TESTS]
    environment = {**os.environ, executed.FILE: str(folder)}
    started = time.monotonic()
    done = subprocess.run(command, cwd=ROOT, env=environment, capture_output=True, text=True, check=False)
    if done.returncode != 0:
        raise SystemExit(f"the tests do not pass without a fault:\n{done.stdout[-4000:]}")
    print(f"{time.monotonic() - started:.0f} s", flush=True)


def _fate(mutant: Mutant, tests: Sequence[str], seconds: dict[str, float]) -> str:
    """Runs the tests of a mutant's line, the quickest first."""
    if not tests:
        return "executed by no test"
    ordered = sorted(tests, key=lambda test: (seconds.get(test, 0.0), test))
    spent, asked = 0.0, []
    for test in ordered:
        spent += seconds.get(test, 0.0)
        if asked and spent > MOST_SECONDS:
            break
        asked.append(test)
    command = [sys.executable, "-m", "tests.mutation.trial", mutant.module.as_posix(), str(mutant.number), *asked]
    limit = 60.0 + PATIENCE * min(spent, MOST_SECONDS)
    try:
        done = subprocess.run(
            command,
            cwd=ROOT,
            capture_output=True,
            timeout=limit,
            check=False,
            preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_AS, (6 << 30, 6 << 30)),
        )
    except subprocess.TimeoutExpired:
        return "endless"
    return "survived" if done.returncode == 0 else "noticed"


if __name__ == "__main__":
    sys.exit(main())
