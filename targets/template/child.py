"""Fills one template in a process of its own, whose hunger and haste harm nobody: `python -P -m` this module.

The request comes pickled on standard input from the process that started this one; the answer is JSON on standard
output, because a template is foreign and may have got further in here than it should.
"""

from __future__ import annotations

import json
import pickle
import sys
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from plica.limits import Limits, using
from plica.rig.rig import Rig

if TYPE_CHECKING:
    from plica.targets.template.filling import Mistake


class FillRequest(NamedTuple):
    """What to fill: a template's path, the rig, and the limits of the run."""

    path: str
    rig: Rig
    limits: Limits


def main() -> None:
    """Answer the request on standard input."""
    from plica.targets.template.filling import fill

    request: FillRequest = pickle.load(sys.stdin.buffer)
    _limit(request.limits)
    with using(request.limits):
        answer = _plain(fill(Path(request.path), request.rig))
    sys.stdout.buffer.write(json.dumps(answer).encode("ascii"))


def _plain(filled: str | Mistake) -> dict[str, object]:
    if isinstance(filled, str):
        return {"text": filled}
    span = filled.span
    place = None if span is None else [span.source.path, span.source.text, span.start, span.end]
    return {"mistake": filled.name, "values": filled.values, "place": place}


def _limit(most: Limits) -> None:
    """Let the system end this process where it takes more than the limits; elsewhere the parent's clock does."""
    with suppress(ImportError, ValueError, OSError):
        import resource

        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
        resource.setrlimit(resource.RLIMIT_CPU, (most.template_seconds, most.template_seconds + 1))
        if sys.platform == "linux":
            resource.setrlimit(resource.RLIMIT_AS, (most.template_memory_bytes, most.template_memory_bytes))


if __name__ == "__main__":
    main()
