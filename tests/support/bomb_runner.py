"""Runs in a process of its own: compiles bombs one after the other and prints a line of JSON for each.

    python -m tests.support.bomb_runner BYTES WAYS NAME...

The process has BYTES of address space; what needs more ends it. A line holds the bomb, the names of the findings and
how many there are, by compiling the file and, with WAYS `both`, as an open text of an editor, and the growth of peak
memory in bytes.
"""

from __future__ import annotations

import json
import resource
import sys
import tempfile
from pathlib import Path

from plica.diagnostics import Diagnostic
from plica.editor.open_documents import OpenDocuments
from plica.pipeline import compile_file
from tests.support.bombs import written


def counted(diagnostics: tuple[Diagnostic, ...]) -> dict[str, int]:
    """How often each rule was found."""
    names = [item.name for item in diagnostics]
    return {name: names.count(name) for name in dict.fromkeys(names)}


def opened(spec: Path) -> dict[str, int]:
    """How often each rule is found in the open text."""
    project = OpenDocuments()
    project.set_text("spec", spec.read_text("utf-8"), spec)
    analysis = project.analysis("spec")
    assert analysis is not None
    return counted(analysis.diagnostics)


def peak() -> int:
    """The most memory that the process has had, in bytes."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024


def main() -> None:
    """Compile and print."""
    most = int(sys.argv[1])
    resource.setrlimit(resource.RLIMIT_AS, (most, most))
    for name in sys.argv[3:]:
        with tempfile.TemporaryDirectory() as folder:
            spec = written(name, Path(folder))
            before = peak()
            compiled = counted(compile_file(spec).diagnostics)
            grown = peak() - before
            outcome = {"name": name, "found": compiled, "grown": grown}
            if sys.argv[2] == "both":
                outcome["open"] = opened(spec)
        sys.stdout.write(json.dumps(outcome) + "\n")
        sys.stdout.flush()


if __name__ == "__main__":
    main()
