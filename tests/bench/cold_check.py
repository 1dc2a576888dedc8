"""How long `plica check` takes from a cold start, against a process that only imports lark and pydantic.

    python -m tests.bench.cold_check [SPEC] [--runs 21]

Without SPEC the demo is written to a temporary folder first. Processor seconds are measured, and the runs alternate, so
that a busy machine slows all alike; medians are compared. Byte code is kept in a folder of its own and made before the
first measured run, also where PYTHONDONTWRITEBYTECODE is set. Two references, because pydantic puts most of its work
off until a model class is needed: `import lark, pydantic`, and the same with `from pydantic import BaseModel`.
"""

from __future__ import annotations

import argparse
import os
import resource
import statistics
import subprocess
import sys
import tempfile
from pathlib import Path

from tests.bench.goals import judge

REFERENCES = {
    "import lark, pydantic": "import lark, pydantic",
    "import lark; from pydantic import BaseModel": "import lark; from pydantic import BaseModel",
}
OURS = "plica check"
PYTHON = "python alone"


def main() -> None:
    """Measure and print."""
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("spec", metavar="SPEC", nargs="?", type=Path)
    options.add_argument("--runs", type=int, default=21)
    given = options.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        environment = {**os.environ, "PYTHONPYCACHEPREFIX": f"{folder}/pycache", "XDG_CACHE_HOME": f"{folder}/cache"}
        environment.pop("PYTHONDONTWRITEBYTECODE", None)
        spec = given.spec or demo(Path(folder) / "wren", environment)
        commands = {
            OURS: [sys.executable, "-m", "plica", "check", str(spec)],
            **{name: [sys.executable, "-c", code] for name, code in REFERENCES.items()},
            PYTHON: [sys.executable, "-c", "pass"],
        }
        medians = measure(commands, environment, given.runs)
        print(report(medians))
        name = next(iter(REFERENCES))
        judge("check of the demo, cold", medians[OURS] / medians[name], 1.2, reference=f"`{name}`")


def demo(folder: Path, environment: dict[str, str]) -> Path:
    """Write the demo and give its spec."""
    subprocess.run(
        [sys.executable, "-m", "plica", "demo", str(folder)], env=environment, check=True, stdout=subprocess.DEVNULL
    )
    return folder / "wren.plica"


def measure(commands: dict[str, list[str]], environment: dict[str, str], runs: int) -> dict[str, float]:
    """The median processor seconds of each command, started in turn after a round that makes byte code."""
    seconds: dict[str, list[float]] = {name: [] for name in commands}
    for round_number in range(runs + 1):
        for name, command in commands.items():
            before = spent()
            subprocess.run(command, env=environment, check=True, stdout=subprocess.DEVNULL)
            if round_number:
                seconds[name].append(spent() - before)
    return {name: statistics.median(times) for name, times in seconds.items()}


def spent() -> float:
    """The processor seconds that the processes started so far have taken."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def report(medians: dict[str, float]) -> str:
    """A line for each command, and the ratios."""
    lines = [f"{seconds * 1000:7.1f} ms  {name}" for name, seconds in medians.items()]
    own = medians[OURS]
    for name in REFERENCES:
        lines.append(f"{own / medians[name]:7.2f} times  {OURS} against `{name}`")
        net = (own - medians[PYTHON]) / (medians[name] - medians[PYTHON])
        lines.append(f"{net:7.2f} times  the same without the start of Python itself")
    return "\n".join(lines)


if __name__ == "__main__":
    main()
