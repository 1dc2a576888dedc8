"""Benchmark: the language server's answer to a keystroke in 2,000 declarations, against one parse of them.


The answer is complete: from the moment the change is sent to a server process over its standard streams until the
findings of that version of the text have come back, all of them, those of names and sides included; the
server's wait for further keystrokes is part of it. The reference is `plica.syntax.parser.parse` of the same text in
this process, in the same run. Run with `python tests/bench/editor.py`; it prints ratios (the goal is at most 1.2).
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path
from statistics import median
from time import perf_counter

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from plica.diagnostics import Diagnostics
from plica.source import Source
from plica.syntax.parser import parse
from tests.bench.compile import seconds, spec_text
from tests.support.editor_client import Client

DECLARATIONS = 2_000
KEYSTROKES = 9


def answers(client: Client, uri: str, line: int, keys: str) -> list[float]:
    """Seconds until the answer to each keystroke, made at the start of a line."""
    times = []
    for number in range(KEYSTROKES):
        at = {"line": line, "character": 0}
        start = perf_counter()
        version = client.change(uri, keys[number % len(keys)], {"start": at, "end": at})
        client.findings(uri, version)
        times.append(perf_counter() - start)
    return times


def main() -> None:
    """Print the ratios for a text that stays right, and for one with a mistake, at three places."""
    text = spec_text(DECLARATIONS)
    parsed = seconds(lambda: parse(Source("a.plica", text), Diagnostics()))
    print(f"{DECLARATIONS} declarations, {len(text)} characters: one parse {parsed:.3f} s")
    lines = text.splitlines()
    first = next(number for number, line in enumerate(lines) if line.startswith("driver"))
    places = {"first declaration": first, "middle": len(lines) // 2, "last declaration": len(lines) - 1}
    for what, keys in (("text stays right", " "), ("text has a mistake", "q")):
        for name, line in places.items():
            with tempfile.TemporaryDirectory() as folder, Client() as client:
                uri = client.open(Path(folder) / "crowd.plica", text)
                client.findings(uri)
                answered = median(answers(client, uri, line, keys))
            print(f"{what}, {name}: answer {answered:.3f} s, ratio {answered / parsed:.2f} (goal: at most 1.2)")


if __name__ == "__main__":
    main()
