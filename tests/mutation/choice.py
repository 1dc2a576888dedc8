"""Which tests a mutant has to face, and in which order."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator
from functools import cache
from pathlib import Path
from typing import NamedTuple

from tests.mutation.mutants import Mutant, full_name
from tests.support.data import ROOT

FEW = 16
"""So many tests come first, in a process of their own: most mutants are noticed by these."""
OF_EVERY_MODULE = ("tests/test_records.py::test_records_are_frozen_and_those_with_arrays_compare_by_identity",)
"""Tests that look at what all modules define as they are loaded, and execute no line of theirs themselves."""


class Executed(NamedTuple):
    """The tests by module and line, and the seconds of each test."""

    lines: dict[str, dict[int, list[str]]]
    seconds: dict[str, float]


class Batch(NamedTuple):
    """Tests that are run together, and their seconds in the run without a fault."""

    tests: list[str]
    seconds: float


def batches(mutant: Mutant, executed: Executed, most_seconds: float) -> Iterator[Batch]:
    """The tests of the mutant's line, then those of its module, those that import it, and those of every module.

    A line may be executed once and its result be kept for other tests (an import, a fixture, a cache), and a constant
    is read without executing anything, so a mutant that the tests of its line do not notice faces the others too. All
    within `most_seconds`, but for the first.
    """
    by_line = executed.lines.get(mutant.module.as_posix(), {})
    of_line = by_line.get(mutant.line, [])
    of_module = {test for tests in by_line.values() for test in tests} - set(of_line)
    ordered = [*quickest_first(of_line, executed.seconds), *quickest_first(of_module, executed.seconds)]
    ordered += quickest_first(_importing(mutant.module, executed) - {*of_line, *of_module}, executed.seconds)
    ordered += OF_EVERY_MODULE
    chosen, spent = list[str](), 0.0
    for test in ordered:
        cost = executed.seconds.get(test, 0.0)
        if chosen and spent + cost > most_seconds:
            continue
        chosen.append(test)
        spent += cost
    for part in (chosen[:FEW], chosen[FEW:]):
        if part:
            yield Batch(part, sum(executed.seconds.get(test, 0.0) for test in part))


def _importing(module: Path, executed: Executed) -> set[str]:
    """The tests of files that import from a module."""
    imports = f"from {full_name(module)} import "
    return {test for test in executed.seconds if imports in _text(test.partition("::")[0])}


@cache
def _text(file: str) -> str:
    path = ROOT / file
    return path.read_text("utf-8") if path.is_file() else ""


def quickest_first(tests: Iterable[str], seconds: dict[str, float]) -> list[str]:
    """The quickest first; of tests that differ in their parameters alone, the second waits twice as long, and so on."""
    by_function = defaultdict[str, list[str]](list)
    for test in sorted(tests, key=lambda test: (seconds.get(test, 0.0), test)):
        by_function[test.partition("[")[0]].append(test)
    waits = {
        test: (0.01 + seconds.get(test, 0.0)) * (1 + rank)
        for same in by_function.values()
        for rank, test in enumerate(same)
    }
    return sorted(waits, key=lambda test: (waits[test], test))
