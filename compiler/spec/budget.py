"""How much of a spec is written out: one budget for families, libraries, values, texts and what follows from them."""

from __future__ import annotations

from plica import limits
from plica.diagnostics import Diagnostics
from plica.source import Span

CHARACTERS = 100  # that one more step is counted for


class Budget:
    """What one run may still write out. Everything that a text can multiply is counted here, also where it yields
    nothing, so that time and memory stay in proportion to the limit `expansion` and to the text."""

    def __init__(self, diagnostics: Diagnostics) -> None:
        self._diagnostics = diagnostics
        self._limit = limits.in_force().expansion
        self._left = self._limit

    def spend(self, characters: int, span: Span) -> bool:
        """Count a step, and one more for every 100 characters (or entries) that it writes.

        False, and the first time a diagnostic, where that is too much: then nothing more may be written out.
        """
        self._left -= 1 + characters // CHARACTERS
        if self._left >= 0:
            return True
        if not self._diagnostics.stopped:
            self._diagnostics.add("too-many-declarations", span, limit=self._limit)
            self._diagnostics.stop()
        return False
