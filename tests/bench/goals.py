"""What a benchmark was asked to reach, and whether it did: a line for people, a record for the table of all of them.

`python -m tests.bench` runs every benchmark with `PLICA_BENCH_RESULTS` naming a file, to which each judgement is added
as a line of JSON.
"""

from __future__ import annotations

import json
import os
from dataclasses import asdict, dataclass
from pathlib import Path

RESULTS = "PLICA_BENCH_RESULTS"


@dataclass(frozen=True, slots=True)
class Judgement:
    """A figure beside its goal. `unit` is empty for a ratio to `reference`, which was measured in the same run."""

    what: str
    value: float
    goal: float
    unit: str = ""
    reference: str = ""
    at_least: bool = False

    @property
    def passed(self) -> bool:
        """Whether the goal was reached; a figure that is not a number reaches none."""
        return self.value >= self.goal if self.at_least else self.value <= self.goal


def judge(
    what: str, value: float, goal: float, unit: str = "", reference: str = "", *, at_least: bool = False
) -> Judgement:
    """Print a judgement, and add it to the table that is being made, if one is."""
    judgement = Judgement(what, float(value), float(goal), unit, reference, at_least)
    print(f"  {line(judgement)}", flush=True)
    if path := os.environ.get(RESULTS):
        with Path(path).open("a", encoding="utf-8") as file:
            file.write(json.dumps(asdict(judgement)) + "\n")
    return judgement


def line(judgement: Judgement) -> str:
    """`what: 0.29 x PyYAML (goal: at most 1 x): pass`."""
    bound = "at least" if judgement.at_least else "at most"
    against = f" of {judgement.reference}" if judgement.reference else ""
    passed = "pass" if judgement.passed else "MISS"
    value, goal = figure(judgement.value, judgement.unit), figure(judgement.goal, judgement.unit)
    return f"{judgement.what}: {value}{against} (goal: {bound} {goal}): {passed}"


def figure(value: float, unit: str) -> str:
    """A value with three digits and its unit; a ratio as so many times."""
    return f"{value:.3g} {unit or 'x'}" if abs(value) < 1000 else f"{value:,.0f} {unit or 'x'}"
