"""Which tests execute which lines, as a pytest plugin: `-p tests.mutation.executed`, with coverage.py underneath.

The result is a JSON file: for each module and line the tests, and for each test its seconds of the processor. Lines
that only an import executes are there with no tests.
"""

from __future__ import annotations

import json
import os
from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path

import coverage
import pytest

FILE = "PLICA_EXECUTED"
"""The environment variable that names the folder to write to."""
MODULES = "PLICA_EXECUTED_MODULES"
"""The environment variable that lists the folders whose lines are recorded, from the root, with `:` between them."""


class Executed:
    """Counts lines by test."""

    def __init__(self, folder: Path, root: Path, modules: list[str]) -> None:
        self._root = root
        # Data files of several processes lie side by side; nobody reads them but this plugin.
        self._coverage = coverage.Coverage(
            data_file=str(folder / f"lines-{os.getpid()}"),
            include=[str(root / (name if name.endswith(".py") else f"{name}/*")) for name in modules],
        )
        self._folder, self._seconds = folder, dict[str, float]()

    @pytest.hookimpl
    def pytest_sessionstart(self) -> None:
        self._coverage.start()

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_protocol(self, item: pytest.Item) -> Iterator[None]:
        self._coverage.switch_context(item.nodeid)
        before = _processor()
        try:
            return (yield)
        finally:
            self._seconds[item.nodeid] = _processor() - before
            self._coverage.switch_context("")

    @pytest.hookimpl
    def pytest_sessionfinish(self) -> None:
        self._coverage.stop()
        self._coverage.save()
        data = self._coverage.get_data()
        lines: dict[str, dict[int, list[str]]] = defaultdict(dict)
        for file in data.measured_files():
            name = Path(file).resolve().relative_to(self._root).as_posix()
            for line, contexts in data.contexts_by_lineno(file).items():
                lines[name][line] = sorted(context for context in contexts if context)
        result = {"lines": lines, "seconds": self._seconds}
        (self._folder / f"executed-{os.getpid()}.json").write_text(json.dumps(result), "utf-8")


def _processor() -> float:
    """Seconds of the processor, which do not depend on what else the machine does, also of processes that ended."""
    return sum(os.times()[:4])


def pytest_configure(config: pytest.Config) -> None:
    """Counts in every process but the one that only hands tests out."""
    folder = os.environ.get(FILE)
    hands_out = config.getoption("numprocesses", None) and not hasattr(config, "workerinput")
    if folder and not hands_out:
        modules = os.environ.get(MODULES, "compiler").split(":")
        config.pluginmanager.register(Executed(Path(folder), Path(config.rootpath), modules))


def merged(folder: Path) -> tuple[dict[str, dict[int, list[str]]], dict[str, float]]:
    """The tests by module and line, and the seconds of each test, of all processes."""
    lines: dict[str, dict[int, list[str]]] = defaultdict(lambda: defaultdict(list))
    seconds: dict[str, float] = {}
    for file in sorted(folder.glob("executed-*.json")):
        result = json.loads(file.read_text("utf-8"))
        seconds |= result["seconds"]
        for module, by_line in result["lines"].items():
            for line, tests in by_line.items():
                lines[module][int(line)] += tests
    return lines, seconds
