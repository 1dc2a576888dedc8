"""References that need a side, told once for each declaration: what lacks a `both` lacks it for all that it names."""

from __future__ import annotations

from plica.diagnostics import Diagnostics, Label
from plica.source import Span


class MissingSides:
    """Notes what is wrong with sides while declarations are bound, and tells it when all are known."""

    def __init__(self) -> None:
        self._needed: dict[tuple[str, Span], dict[tuple[str, Span, str], None]] = {}
        self._none: dict[tuple[str, Span, str], None] = {}

    def note_needed(self, rule: str, name: str, span: Span, declared: str, at: Span) -> None:
        """A declaration without sides, `declared` at `at` ("" for one without a name), names something with two."""
        self._needed.setdefault((declared, at), {})[rule, span, name] = None

    def note_none(self, name: str, span: Span, side: str) -> None:
        """A reference asks for a side that `name` does not have."""
        self._none[name, span, side] = None

    def report(self, diagnostics: Diagnostics) -> None:
        """Tell each declaration that lacks its sides once; of references that ask for these sides nothing more."""
        in_doubt = {declared for declared, _ in self._needed}
        for references in self._needed.values():
            (rule, span, name), *others = references
            labels = [Label(place, f"`{other}` has two sides, too") for _, place, other in others]
            diagnostics.add_once(rule, span, labels=labels, name=name)
        for name, span, side in self._none:
            if name not in in_doubt:
                diagnostics.add("no-such-side", span, name=name, side=side)
