"""Libraries that were parsed before, for a process that checks many specs which use the same ones.

Only what had no mistake is shared: findings belong to the run that met them. Documents are never changed.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from typing import TYPE_CHECKING, Final

from plica.diagnostics import Diagnostics
from plica.source import Source

if TYPE_CHECKING:
    from plica.syntax.nodes import Document

MOST: Final = 256  # libraries that are held

Shared = dict[tuple[str, str], "Document"]
"""Documents by what their file is called and what it says."""

_SHARED: ContextVar[Shared | None] = ContextVar("shared", default=None)


@contextmanager
def sharing(shared: Shared) -> Iterator[None]:
    """Share libraries for as long as the context lasts, in this thread."""
    token = _SHARED.set(shared)
    try:
        yield
    finally:
        _SHARED.reset(token)


def parsed_library(path: str, text: str, diagnostics: Diagnostics) -> Document:
    """The document of a library's text, parsed once where libraries are shared."""
    from plica.syntax.parser import parse

    shared = _SHARED.get()
    if shared is not None and (path, text) in shared:
        return shared[path, text]
    before = diagnostics.count_of_all
    document = parse(Source(path, text), diagnostics)
    if shared is not None and diagnostics.count_of_all == before and not diagnostics.stopped:
        if len(shared) >= MOST:
            shared.clear()
        shared[path, text] = document
    return document
