"""Benchmark: the language server's answer to a keystroke in 2,000 declarations, against one parse of them.

The answer is complete: from the moment the change is sent to a server process over its standard streams until the
findings of that version of the text have come back, all of them, those of names and sides included; the
server's wait for further keystrokes is part of it. The reference is `plica.syntax.parser.parse` of the same text in
this process, in the same run, with garbage left alone as in the server. Run with `python -m tests.bench.editor`; it
prints ratios of times on the clock (the goal is at most 1.2) and, where the system tells it, of processor times, which
leave out the wait and whatever else the machine does.
"""

from __future__ import annotations

import gc
import os
import tempfile
from collections.abc import Callable
from pathlib import Path
from statistics import median
from time import perf_counter, process_time
from typing import NamedTuple

from plica.diagnostics import Diagnostics
from plica.source import Source
from plica.syntax.parser import parse
from tests.bench.compile import spec_text
from tests.bench.goals import judge
from tests.support.editor_client import Client

DECLARATIONS = 2_000
KEYSTROKES = 5


class Spent(NamedTuple):
    """Seconds on the clock and of the processor."""

    wall: float
    processor: float


def processor_seconds(process: int) -> float:
    """What a process has used of the processor so far; not a number where the system does not tell."""
    try:
        fields = Path(f"/proc/{process}/stat").read_text("ascii").rpartition(")")[2].split()
        return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")
    except (OSError, ValueError):
        return float("nan")


def answers(client: Client, uri: str, line: int, column: int, keys: str) -> Spent:
    """The median wall time of the answers to some keystrokes at a place, and the processor time of one on average."""
    times = []
    before = processor_seconds(client.process.pid)
    for number in range(KEYSTROKES):
        at = {"line": line, "character": column}
        start = perf_counter()
        version = client.change(uri, keys[number % len(keys)], {"start": at, "end": at})
        client.findings(uri, version)
        times.append(perf_counter() - start)
    return Spent(median(times), (processor_seconds(client.process.pid) - before) / KEYSTROKES)


def parse_time(text: str) -> Spent:
    """The shortest of five parses."""
    gc.collect()
    gc.disable()
    wall = processor = float("inf")
    for _ in range(5):
        start, begun = perf_counter(), process_time()
        parse(Source("a.plica", text), Diagnostics())
        wall, processor = min(wall, perf_counter() - start), min(processor, process_time() - begun)
    gc.enable()
    return Spent(wall, processor)


class Case(NamedTuple):
    """Where keys are pressed: the text, how a line and a column are found in it, and the keys in turn."""

    name: str
    text: str
    line: Callable[[list[str]], int]
    column: int
    keys: str


def cases() -> list[Case]:
    """Texts that stay right, texts that have a mistake, and the worst that one key can do."""
    text = spec_text(DECLARATIONS)

    def first(lines: list[str]) -> int:
        return next(number for number, line in enumerate(lines) if line.startswith("driver"))

    def middle(lines: list[str]) -> int:
        return len(lines) // 2

    def last(lines: list[str]) -> int:
        return len(lines) - 1

    places = {"first declaration": first, "middle": middle, "last declaration": last}
    result = [
        Case(f"{what}, {name}", text, line, 0, keys)
        for what, keys in (("text stays right", " "), ("text has a mistake", "q"))
        for name, line in places.items()
    ]
    lines = text.splitlines(keepends=True)
    at = first(lines)
    commented = "".join([*lines[:at], "// about all of them\n", *lines[at:]])
    result.append(Case("in a comment above all", commented, lambda listed: at, 5, "a"))
    result.append(Case("a quote that is not closed, above all", text, first, 0, '"'))
    result.append(Case("a brace that is not closed, above all", text, first, 0, "{"))
    # All declarations in one family of one member: nothing that the text is cut into stays as it was.
    family = "".join([*lines[:at], "each number in 1 {\n", *lines[at:], "}\n"])
    result.append(Case("inside an `each` of all", family, lambda listed: at + 1, 0, " "))
    return result


def main() -> None:
    """Print the ratios."""
    for case in cases():
        with tempfile.TemporaryDirectory() as folder, Client() as client:
            parsed = parse_time(case.text)
            uri = client.open(Path(folder) / "crowd.plica", case.text)
            client.findings(uri)
            line = case.line(case.text.splitlines())
            answered = answers(client, uri, line, case.column, case.keys)
        print(
            f"{case.name}: answer {answered.wall:.3f} s, parse {parsed.wall:.3f} s; ratio of times on the clock "
            f"{answered.wall / parsed.wall:.2f}"
        )
        judge(f"keystroke: {case.name}", answered.processor / parsed.processor, 1.2, reference="a parse of the text")
    library()


def library() -> None:
    """A key in a small library that a large open spec uses: the spec's findings are part of the answer."""
    text = spec_text(DECLARATIONS)
    small = "plica 1\nparameter joint\ndriver nod both { reads bend of {joint}   span 0 deg .. 40 deg }\n"
    parsed = parse_time(text)
    with tempfile.TemporaryDirectory() as folder, Client() as client:
        path = Path(folder) / "small.plica"
        path.write_text(small, "utf-8")
        spec = client.open(Path(folder) / "crowd.plica", text + 'use "small.plica" as small with { joint = bone0 }\n')
        client.findings(spec)
        uri = client.open(path)
        client.findings(uri)
        times = []
        before = processor_seconds(client.process.pid)
        for number in range(KEYSTROKES):
            start = perf_counter()
            version = client.change(uri, small.replace("40", str(41 + number % 2)))
            client.findings(spec)
            client.findings(uri, version)
            times.append(perf_counter() - start)
        processor = (processor_seconds(client.process.pid) - before) / KEYSTROKES
    print(
        f"in a library that the text uses: answer {median(times):.3f} s, ratio of times on the clock "
        f"{median(times) / parsed.wall:.2f}"
    )
    judge("keystroke in a used library", processor / parsed.processor, 1.2, reference="a parse of the text")


if __name__ == "__main__":
    main()
