"""Progress on a terminal; silence in a pipe or a file."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager

Step = Callable[[str], None]


@contextmanager
def progress(title: str) -> Iterator[Step]:
    """Shows what is being done while the block runs; the block calls the value with the name of each step."""
    if not sys.stderr.isatty():
        yield _silent
        return
    from rich.console import Console
    from rich.markup import escape

    from plica import foreign

    def shown(text: str) -> str:
        return escape(foreign.line(text))

    with Console(stderr=True).status(shown(title)) as status:
        yield lambda step: status.update(shown(f"{title}: {step}"))


def _silent(step: str) -> None:
    """Nobody watches."""
